#pragma once

#include <functional>
#include <limits>
#include <vector>

#include <Eigen/Core>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/gravity.h"
#include "analysis/positions/wall_doubt.h"
#include "analysis/quantities/uncertainty_budget.h"

/// Everything that G rests on as inputs with standard uncertainties.
namespace nightswing::analysis {

struct NightUncertainty {
  /// Covariance of x_plus_mm, x_minus_mm, period_s, damping_per_s, in this order and these units.
  Eigen::Matrix4d covariance;
  WallDoubt wall;  ///< of the distance of the equilibria
  double degrees_of_freedom = std::numeric_limits<double>::infinity();  // of the four findings
};

/// Inputs of G, how they are correlated, and G as a function of their values.
struct GravityInputs {
  std::vector<BudgetInput> inputs;
  Eigen::MatrixXd correlation;
  std::function<double(const Eigen::VectorXd&)> gravitational_constant;
  std::size_t first_finding = 0;  ///< place of the first of the night's four findings
  bool cheap = true;              ///< spheres only: microseconds, not milliseconds, for one G
};

/// The inputs, named like the keys of the apparatus file, in SI units (foot and positions in mm).
/// Both source masses count as one input, and so do both test masses: what is wrong with one is
/// taken to be wrong with both. Coordinates of `sides` count one by one. Left out: the diameter of
/// spherical source masses, a rod, mirror inertia or foot that the apparatus does not have, and the
/// wire. The two rows of the wall map are factors of 1 on the shift. For Monte Carlo runs draw from
/// `inputs` and `correlation` and call the function. throws  std::invalid_argument for a covariance
/// with negative variances or a negative relative u.
[[nodiscard]] GravityInputs gravity_inputs(const Apparatus& apparatus,
                                           const NightFindings& findings,
                                           const NightUncertainty& uncertainty);

/// First-order budget of G over these inputs, see propagate().
[[nodiscard]] UncertaintyBudget gravity_budget(const Apparatus& apparatus,
                                               const NightFindings& findings,
                                               const NightUncertainty& uncertainty);

}  // namespace nightswing::analysis
