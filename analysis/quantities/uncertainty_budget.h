#pragma once

#include <cstddef>
#include <functional>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "analysis/quantities/measured.h"

namespace nightswing::analysis {

/// One measured quantity that a result depends on.
struct BudgetInput {
  std::string name;
  double value;
  double u;          // standard uncertainty (k = 1); 0 = none was given
  std::string unit;  // of value and u
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
  Distribution distribution = Distribution::kNormal;  // only a Monte Carlo run sees it
};

/// What one input contributes to the uncertainty of the result.
struct BudgetRow {
  BudgetInput input;
  double sensitivity;   // change of the result per unit of the input
  double contribution;  // sensitivity times u, with its sign
  double share;         // of the squared uncertainty; all add up to 1, a correlated one can be < 0
  double gain = 0.0;    // by how much of itself the result's u would fall if this u were halved
};

struct UncertaintyBudget {
  double value;
  double u;                                      // combined standard uncertainty (k = 1)
  double effective_degrees_of_freedom;           // infinity if no input limits it
  std::vector<BudgetRow> rows;                   // in the order of the inputs
  std::optional<std::size_t> dominating;         // row with the largest share; none if u is 0
  std::vector<std::string> without_uncertainty;  // names of the inputs with u = 0
};

/// Propagates standard uncertainties to first order:
///   u^2 = sum_ij c_i c_j u_i u_j r_ij         JCGM 100:2008, (10) and (13)
///   nu_eff = u^4 / sum_i (c_i u_i)^4 / nu_i   Welch-Satterthwaite, JCGM 100:2008, (G.2b)
/// The sensitivities c_i are central differences over the larger of 1e-3 u and 1e-4 |value|: small
/// enough for the curvature to cancel, wide enough for rounding. An input whose value and u are
/// both 0 is a constant. What first order cannot see (a sensitivity that vanishes at the value)
/// needs a Monte Carlo run.
///
/// function     of the inputs' values, in their order
/// correlation  r, symmetric with ones on its diagonal; empty = independent. nu_eff is derived for
///              independent inputs and only a guide when some are correlated.
/// throws       std::invalid_argument for a negative or non-finite u, degrees of freedom not above
///              zero, or a matrix that is no correlation matrix of that size.
[[nodiscard]] UncertaintyBudget propagate(
    const std::vector<BudgetInput>& inputs,
    const std::function<double(const Eigen::VectorXd&)>& function,
    const Eigen::MatrixXd& correlation = {});

/// What is most worth measuring better: the rows by falling gain, at most so many, none below half
/// a per cent.
[[nodiscard]] std::vector<BudgetRow> rows_by_gain(const UncertaintyBudget& budget,
                                                  std::size_t most);

/// What both ways of propagation ask of their inputs.
/// throws   std::invalid_argument, see propagate
void check_inputs(const std::vector<BudgetInput>& inputs);
/// The matrix, or the identity for an empty one.
[[nodiscard]] Eigen::MatrixXd checked_correlation(const Eigen::MatrixXd& correlation,
                                                  Eigen::Index count);

}  // namespace nightswing::analysis
