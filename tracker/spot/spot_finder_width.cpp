// What SpotFinder learns of the spot's shape, and what it makes of another.
#include <algorithm>
#include <cmath>

#include "tracker/spot/spot_finder.h"

namespace nightswing::tracker {
namespace {

constexpr double kWidthTolerance = 0.3;  // of the logarithm
constexpr int kMostWidths = 50;          // length of the memory
constexpr int kWidthsForDoubt = 20;
constexpr double kLeastDoubt = 0.04;  // of the logarithm of a width
constexpr double kLeastFormDoubt =
    0.1;  // of slant and halo, which come and go where they are faint
constexpr double kDoubt_scatters = 6.0;

}  // namespace

bool SpotFinder::is_doubtful(const SpotFit& fit) const {
  if (width_.spots < kWidthsForDoubt) return false;
  const auto is_off = [](double value, double learned, double variance, double least) {
    return std::abs(value - learned) > std::max(least, kDoubt_scatters * std::sqrt(variance));
  };
  const SpotShape& shape = fit.shape;
  return is_off(std::log(shape.sigma_x_px), width_.log_x, width_.variance_x, kLeastDoubt) ||
         is_off(std::log(shape.sigma_y_px), width_.log_y, width_.variance_y, kLeastDoubt) ||
         is_off(shape.slant, width_.slant, width_.variance_slant, kLeastFormDoubt) ||
         is_off(shape.halo_share, width_.halo_share, width_.variance_halo, kLeastFormDoubt);
}

bool SpotFinder::has_learned_width(const SpotFit& fit) const {
  if (width_.spots < kFirstWidths) return true;
  // The scatter is that of good spots: a bad one's own would excuse whatever it looks like.
  const double tolerance = kWidthTolerance + 3.0 * width_.u_log;
  return std::abs(std::log(fit.shape.sigma_x_px) - width_.log_x) < tolerance &&
         std::abs(std::log(fit.shape.sigma_y_px) - width_.log_y) < tolerance;
}

void SpotFinder::learn_width(const SpotFit& fit) {
  width_.spots = std::min(width_.spots + 1, kMostWidths);
  const auto learn = [this](double value, double& learned, double& variance) {
    const double off = value - learned;
    if (width_.spots > 1) variance += (off * off - variance) / (width_.spots - 1);
    learned += off / width_.spots;
  };
  learn(std::log(fit.shape.sigma_x_px), width_.log_x, width_.variance_x);
  learn(std::log(fit.shape.sigma_y_px), width_.log_y, width_.variance_y);
  learn(fit.shape.slant, width_.slant, width_.variance_slant);
  learn(fit.shape.halo_share, width_.halo_share, width_.variance_halo);
  width_.doubtful = 0;
  width_.u_log += (fit.u_log_sigma - width_.u_log) / width_.spots;
  width_.contrary = 0;
}

void SpotFinder::consider_new_width(const Judged& judged) {
  const bool only_width =
      judged.fit.converged && judged.fit.misfit <= kMostMisfit && !has_learned_width(judged.fit);
  width_.contrary = only_width ? width_.contrary + 1 : 0;
  if (width_.contrary >= kNewWidthFrames) width_ = {};
}

}  // namespace nightswing::tracker
