#include "tracker/page/thinned_track.h"

#include <cmath>
#include <stdexcept>

namespace nightswing::tracker {

ThinnedTrack::ThinnedTrack(double step_s, std::size_t most) : step_s_(step_s), most_(most) {
  if (!(step_s > 0.0) || most < 2) throw std::invalid_argument("a step and two points at least");
  steps_.reserve(most + 1);
}

void ThinnedTrack::add(const TrackPoint& measured) {
  const long number = std::lround(std::floor(measured.t_s / step_s_));
  if (!steps_.empty() && number < steps_.back().number) return;
  if (steps_.empty() || number > steps_.back().number) steps_.push_back({number, 0.0, {}});
  Step& last = steps_.back();
  last.count += 1.0;
  last.sum.t_s += measured.t_s;
  last.sum.x_px += measured.x_px;
  last.sum.y_px += measured.y_px;
  while (steps_.size() > most_) thin();
}

std::vector<TrackPoint> ThinnedTrack::points() const {
  std::vector<TrackPoint> points;
  points.reserve(steps_.size());
  for (const Step& step : steps_) {
    points.push_back(
        {step.sum.t_s / step.count, step.sum.x_px / step.count, step.sum.y_px / step.count});
  }
  return points;
}

void ThinnedTrack::thin() {
  step_s_ *= 2.0;
  std::size_t kept = 0;
  for (const Step& step : steps_) {
    const long number = step.number >> 1;  // rounds down, below zero too
    if (kept > 0 && steps_[kept - 1].number == number) {
      Step& into = steps_[kept - 1];
      into.count += step.count;
      into.sum.t_s += step.sum.t_s;
      into.sum.x_px += step.sum.x_px;
      into.sum.y_px += step.sum.y_px;
    } else {
      steps_[kept] = step;
      steps_[kept++].number = number;
    }
  }
  steps_.resize(kept);
}

}  // namespace nightswing::tracker
