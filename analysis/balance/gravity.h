#pragma once

#include <string>
#include <vector>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/torque_model.h"
#include "analysis/positions/optical_lever.h"

/// From the balance and the night's swing to G.
///
/// At rest on one side the boom has turned by theta from midway, where the wire's torque balances
/// gravity; with g(theta) the torque per unit of G (torque_model.h) and I the boom's inertia
///   kappa theta = G g(theta).                                                               (1)
/// Small swings about that place feel the wire less the gradient of the pull. With T the observed
/// period and gamma the observed decay exp(-gamma t), w0^2 = (2 pi/T)^2 + gamma^2 and
///   I w0^2 = kappa - G g'(theta)   if the sources stand beside the boom,                    (2)
///   I w0^2 = kappa - G g_away'     if they are away, with no g_away if they are out of reach. (3)
/// (1) and (2), or (1) and (3), are linear in kappa and G:
///   beside   G = I w0^2 theta/(g(theta) - theta g'(theta))
///   away     G = I w0^2 theta/(g(theta) - theta g_away')
/// In the symmetric arrangement the two sides are mirror images, so that theta is half of the
/// rotation from one to the other. In any other, rotation 0 is midway between the places of rest,
/// the wire is at ease at some theta_w that drops out, and the two sides swing at frequencies of
/// their own:
///   kappa (theta - theta_w) = G g_plus(theta),  kappa (-theta - theta_w) = G g_minus(-theta),
///   I w_plus^2 = kappa - G g_plus'(theta),      I w_minus^2 = kappa - G g_minus'(-theta).
/// Half of the difference of the first two is (1), the mean of the last two is (2), with the mean
/// torque and slope of torque_model.h and w0^2 the mean of both sides' squares. With the sources
/// away the boom rests where
///   kappa (theta_away - theta_w) = G g_away(theta_away).
namespace nightswing::analysis {

/// Where the source masses stood while the period was measured.
enum class PeriodMeasured { kBesideSources, kSourcesAway };

/// What the fit of the swing found. Positions are readings of the scale, not straightened ones.
struct NightFindings {
  double x_plus_mm;      // equilibrium with the sources on side plus
  double x_minus_mm;     // ... on side minus
  double period_s;       // as observed, damped; of the mean square of both sides' frequencies
  double damping_per_s;  // gamma; the swing decays as exp(-gamma t)
  PeriodMeasured period_measured = PeriodMeasured::kBesideSources;
};

/// The change of G when one simplification of the textbook formula is given up.
struct Correction {
  std::string name;
  double percent;
};

/// How fast the balance swings on either side, over the frequency that the period stands for. Both
/// are 1 in the symmetric arrangement.
struct FrequencyRatios {
  double plus = 1.0;
  double minus = 1.0;
  [[nodiscard]] double of(Side side) const {
    return side == Side::kPlus ? plus : side == Side::kMinus ? minus : 1.0;
  }
};

enum class GravityStatus {
  kComputed,
  kMassesTouch  // the findings would press the test masses into the source masses; no G
};

struct GravityResult {
  GravityStatus status;
  std::string message;                    // what to check; empty if computed
  double g_m3_kg_s2;                      // G; 0 unless computed
  double theta_rad;                       // rotation from midway to one side
  double inertia_kg_m2;                   // I
  double kappa_n_m;                       // torsion constant; 0 unless computed
  BoomTorque torque_per_g;                // mean of the sides at theta; zero unless computed
  FrequencyRatios frequency_ratios = {};  // 1 unless computed
  /// Where the boom rests with the sources away, from midway towards plus: where the wire alone
  /// holds it, unless their pull still reaches it; 0 if symmetric.
  double away_rest_rad = 0.0;
  double textbook_m3_kg_s2;             // G of the textbook formula from the same findings
  std::vector<Correction> corrections;  // from the textbook value to G: the factors multiply
};

/// The lever of this balance. A foot that was not measured, and a laser whose place was not, are
/// taken at midway_mm, midway between the equilibria.
[[nodiscard]] OpticalLever optical_lever(const Apparatus& apparatus, double midway_mm);

/// Rotation [rad] from midway to one side, not negative: which way the spot moves depends on how
/// the scale is taped and says nothing about G.
[[nodiscard]] double half_rotation_rad(const Apparatus& apparatus, const NightFindings& findings);

/// G [m3 kg-1 s-2] by the formulas above and nothing else, for Monte Carlo runs and sensitivities.
/// throws   std::invalid_argument if the period is not above zero or the bodies overlap.
[[nodiscard]] double gravitational_constant(const Apparatus& apparatus,
                                            const NightFindings& findings);

/// G for point masses, a boom without mass, small angles and no damping:
///   G = pi^2 L b^2 S/(2 M T^2 D),  L = 2 arm, b = separation, S = |x_plus - x_minus|.
/// Where the places of the sources were given one by one b is the mean of the four distances from a
/// source mass to the test mass beside it, as somebody with a caliper and this formula would take.
[[nodiscard]] double textbook_gravity(const Apparatus& apparatus, const NightFindings& findings);

/// G with all that it was derived from, the textbook value, and the corrections that lead from one
/// to the other.
/// throws   std::invalid_argument if the period is not above zero.
[[nodiscard]] GravityResult gravity(const Apparatus& apparatus, const NightFindings& findings);

}  // namespace nightswing::analysis
