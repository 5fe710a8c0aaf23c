#pragma once

#include <array>
#include <cstddef>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/torque_model.h"

namespace nightswing::analysis {

/// The pull of the source masses at the boom from midway to nearly contact, worked out once, as the
/// torque of extended bodies takes milliseconds: what wire holds it there is another question.
class PullCurve {
 public:
  /// time  49 torques at most, 0.1 to 1 s where neither masses are spheres
  explicit PullCurve(const Apparatus& apparatus);

  [[nodiscard]] double contact_rad() const { return contact_rad_; }
  /// Where the curve ends: contact itself has no torque to speak of.
  [[nodiscard]] double farthest_rad() const { return farthest_rad_; }
  /// Least stiffness over G [kg2/m] that holds the boom somewhere before contact. Each side by
  /// itself, with the wire at ease midway: the nearer source masses decide.
  [[nodiscard]] double critical_kappa_per_g() const { return critical_kappa_per_g_; }

  /// Mean torque of the sides (torque_model.h), 0 <= theta_rad <= farthest_rad: a cubic between
  /// angles at which it and its slope were worked out. Good to 1e-6 as long as the gap is not
  /// twice the size of the bodies or more, there to 1e-4 near contact.
  [[nodiscard]] TorquePerG at(double theta_rad) const;

 private:
  static constexpr std::size_t kSteps = 24;

  double contact_rad_;
  double farthest_rad_;
  double critical_kappa_per_g_ = 0.0;
  std::array<TorquePerG, kSteps + 1> mean_;
};

}  // namespace nightswing::analysis
