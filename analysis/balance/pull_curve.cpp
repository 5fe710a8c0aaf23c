#include "analysis/balance/pull_curve.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "analysis/apparatus/source_places.h"

namespace nightswing::analysis {

PullCurve::PullCurve(const Apparatus& apparatus)
    : contact_rad_(analysis::contact_rad(apparatus)), farthest_rad_(0.99 * contact_rad_) {
  const auto towards = [&](Side side, double theta_rad) {
    const double turn = turn_towards(apparatus, side);
    const TorquePerG torque = boom_torque(apparatus, side, turn * theta_rad).total();
    return TorquePerG{turn * torque.torque, torque.slope};
  };
  double least_plus = std::numeric_limits<double>::infinity();
  double least_minus = least_plus;
  for (std::size_t k = 0; k <= kSteps; ++k) {
    const double theta_rad = farthest_rad_ * static_cast<double>(k) / kSteps;
    const TorquePerG plus = towards(Side::kPlus, theta_rad);
    // In the symmetric arrangement one side is the other's mirror image.
    const TorquePerG minus = apparatus.sides ? towards(Side::kMinus, theta_rad) : plus;
    mean_[k] = {(plus.torque + minus.torque) / 2, (plus.slope + minus.slope) / 2};
    if (k == 0) continue;
    least_plus = std::min(least_plus, plus.torque / theta_rad);
    least_minus = std::min(least_minus, minus.torque / theta_rad);
  }
  critical_kappa_per_g_ = std::max(least_plus, least_minus);
}

TorquePerG PullCurve::at(double theta_rad) const {
  if (!(theta_rad >= 0.0 && theta_rad <= farthest_rad_)) {
    throw std::invalid_argument("PullCurve: no torque is known at that rotation");
  }
  const double step_rad = farthest_rad_ / kSteps;
  const double place = theta_rad / step_rad;
  const auto k = std::min(static_cast<std::size_t>(place), kSteps - 1);
  const double t = place - static_cast<double>(k);
  const TorquePerG& from = mean_[k];
  const TorquePerG& to = mean_[k + 1];
  // Hermite's cubic: torque from -> to with the slopes at both ends.
  const double rise = to.torque - from.torque;
  const double bend_from = step_rad * from.slope - rise;
  const double bend_to = step_rad * to.slope - rise;
  const double torque = from.torque + t * rise + t * (1 - t) * ((1 - t) * bend_from - t * bend_to);
  const double slope = (rise + (1 - t) * (1 - 3 * t) * bend_from + t * (3 * t - 2) * bend_to);
  return {torque, slope / step_rad};
}

}  // namespace nightswing::analysis
