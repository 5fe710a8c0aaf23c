#include "tracker/swing_pace.h"

#include <algorithm>
#include <cmath>

#include "analysis/period_scan.h"
#include "analysis/track_cleaning.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kMostPositions = 6000;  // 100 s at 60 frames a second: five such periods
constexpr std::size_t kMostScanned = 1500;
constexpr double kShortest_s = 20.0;  // real balances: minutes (common practice, no source)
constexpr double kMostOfMotion = 0.5;
constexpr double kFewestPeriods = 3.0;
constexpr std::size_t kFewest = 60;  // positions
constexpr std::size_t kMostParts = 4;

using Samples = std::vector<analysis::SwingSample>;

double deviation(Samples::const_iterator begin, Samples::const_iterator end) {
  const auto n = static_cast<double>(end - begin);
  double mean = 0.0;
  for (auto sample = begin; sample != end; ++sample) mean += sample->x_mm / n;
  double squares = 0.0;
  for (auto sample = begin; sample != end; ++sample) squares += std::pow(sample->x_mm - mean, 2);
  return std::sqrt(squares / n);
}

/// How far the spot usually moves within one period, over how far it moves at all: a boom's quick
/// wobble on its slow swing is a small part.
double share_of_motion(const Samples& samples, double period_s) {
  std::vector<double> within;
  for (auto begin = samples.begin(); begin != samples.end();) {
    const auto end = std::find_if(begin, samples.end(), [&](const auto& sample) {
      return sample.t_s > begin->t_s + period_s;
    });
    within.push_back(deviation(begin, end));
    begin = end;
  }
  return analysis::median_of(within) / deviation(samples.begin(), samples.end());
}

std::optional<double> impossible_period_in(const Samples& samples) {
  if (samples.size() < kFewest) return std::nullopt;
  const auto swing = analysis::scan_period(samples);
  if (!swing || swing->period_s >= kShortest_s) return std::nullopt;
  const double length_s = samples.back().t_s - samples.front().t_s;
  if (length_s < kFewestPeriods * swing->period_s) return std::nullopt;
  if (share_of_motion(samples, swing->period_s) < kMostOfMotion) return std::nullopt;
  return swing->period_s;
}

}  // namespace

void SwingPace::see(const TrackRow& row) {
  if (!is_measured(row.spot.state) || positions_.size() >= kMostPositions) return;
  const SpotPosition& spot = *row.spot.position;
  positions_.push_back({row.t_s, spot.x_px, spot.y_px, spot.u_x_px, spot.u_y_px});
}

std::optional<double> SwingPace::impossible_period_s() const {
  const Samples along = analysis::along_path(analysis::fit_path(positions_), positions_);
  const Samples samples = analysis::thinned(analysis::without_spikes(along), kMostScanned);
  // A move of the sources is much of the motion, and no swing: one of the parts has none.
  for (std::size_t parts = 1; parts <= kMostParts; ++parts) {
    for (std::size_t k = 0; k < parts; ++k) {
      const auto at = [&](std::size_t part) {
        return samples.begin() + static_cast<std::ptrdiff_t>(samples.size() * part / parts);
      };
      if (const auto period_s = impossible_period_in({at(k), at(k + 1)})) return period_s;
    }
  }
  return std::nullopt;
}

}  // namespace nightswing::tracker
