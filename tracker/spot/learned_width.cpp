#include "tracker/spot/learned_width.h"

#include <algorithm>
#include <cmath>

namespace nightswing::tracker {
namespace {

constexpr int kFirstWidths = 5;          // spots before the width counts as known
constexpr int kNewWidthFrames = 25;      // after which another one does
constexpr double kWidthTolerance = 0.3;  // of the logarithm
constexpr int kMostWidths = 50;          // length of the memory
constexpr int kWidthsForDoubt = 20;
constexpr double kLeastDoubt = 0.04;     // of the logarithm of a width
constexpr double kLeastFormDoubt = 0.1;  // of slant and halo, which come and go where faint
constexpr double kDoubt_scatters = 6.0;

}  // namespace

void LearnedWidth::learn(const SpotFit& fit) {
  spots_ = std::min(spots_ + 1, kMostWidths);
  const auto take_in = [this](double value, Running& running) {
    const double off = value - running.mean;
    if (spots_ > 1) running.variance += (off * off - running.variance) / (spots_ - 1);
    running.mean += off / spots_;
  };
  take_in(std::log(fit.shape.sigma_x_px), log_x_);
  take_in(std::log(fit.shape.sigma_y_px), log_y_);
  take_in(fit.shape.slant, slant_);
  take_in(fit.shape.halo_share, halo_share_);
  u_log_ += (fit.u_log_sigma - u_log_) / spots_;
  doubtful_ = 0;
  contrary_ = 0;
}

bool LearnedWidth::is_known() const {
  return spots_ >= kFirstWidths;
}

double LearnedWidth::sigma_x_px() const {
  return std::exp(log_x_.mean);
}

double LearnedWidth::sigma_y_px() const {
  return std::exp(log_y_.mean);
}

double LearnedWidth::width_px() const {
  return std::exp(0.5 * (log_x_.mean + log_y_.mean));
}

bool LearnedWidth::admits(const SpotShape& shape) const {
  if (!is_known()) return true;
  // That of good spots: a bad one's own uncertainty would excuse whatever it looks like.
  const double tolerance = kWidthTolerance + 3.0 * u_log_;
  return std::abs(std::log(shape.sigma_x_px) - log_x_.mean) < tolerance &&
         std::abs(std::log(shape.sigma_y_px) - log_y_.mean) < tolerance;
}

bool LearnedWidth::doubts(const SpotShape& shape) const {
  if (spots_ < kWidthsForDoubt) return false;
  const auto is_off = [](double value, const Running& running, double least) {
    return std::abs(value - running.mean) >
           std::max(least, kDoubt_scatters * std::sqrt(running.variance));
  };
  return is_off(std::log(shape.sigma_x_px), log_x_, kLeastDoubt) ||
         is_off(std::log(shape.sigma_y_px), log_y_, kLeastDoubt) ||
         is_off(shape.slant, slant_, kLeastFormDoubt) ||
         is_off(shape.halo_share, halo_share_, kLeastFormDoubt);
}

void LearnedWidth::note_doubtful(const SpotFit& fit) {
  if (++doubtful_ < kNewWidthFrames) return;
  forget();
  learn(fit);
}

void LearnedWidth::note_no_spot(bool other_width) {
  contrary_ = other_width ? contrary_ + 1 : 0;
  if (contrary_ >= kNewWidthFrames) forget();
}

}  // namespace nightswing::tracker
