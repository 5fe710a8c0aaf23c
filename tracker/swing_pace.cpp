#include "tracker/swing_pace.h"

#include <algorithm>
#include <cmath>

#include "analysis/positions/period_scan.h"
#include "analysis/positions/track_cleaning.h"
#include "analysis/quantities/median.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kMostPositions = 6000;  // 100 s at 60 frames a second: five such periods
constexpr std::size_t kMostScanned = 1500;
constexpr double kShortest_s = 20.0;  // real balances: minutes (common practice, no source)
constexpr double kMostOfMotion = 0.5;
constexpr double kSteady = 0.08;
constexpr std::size_t kFewestSteps = 3;
constexpr std::size_t kFewest = 60;  // positions
constexpr std::size_t kMostParts = 4;

using Samples = std::vector<analysis::SwingSample>;

struct Spread {
  double mean;
  double deviation;
};

Spread spread_of(Samples::const_iterator begin, Samples::const_iterator end) {
  const auto n = static_cast<double>(end - begin);
  double mean = 0.0;
  for (auto sample = begin; sample != end; ++sample) mean += sample->x_mm / n;
  double squares = 0.0;
  for (auto sample = begin; sample != end; ++sample) squares += std::pow(sample->x_mm - mean, 2);
  return {mean, std::sqrt(squares / n)};
}

/// Whether a swing of this period is the motion, and not a boom's quick wobble on its slow swing:
/// how far the spot usually moves within one period is much of how far it moves at all; or, if the
/// sources are moved meanwhile, the mean over a period usually stays where it was in the one
/// before.
bool is_the_motion(const Samples& samples, double period_s) {
  std::vector<double> within;
  std::vector<double> steps;
  std::optional<double> mean_before;
  for (auto begin = samples.begin(); begin != samples.end();) {
    const auto end = std::find_if(begin, samples.end(), [&](const auto& sample) {
      return sample.t_s >= begin->t_s + period_s;
    });
    if (end == samples.end()) break;  // not a whole one
    const Spread spread = spread_of(begin, end);
    within.push_back(spread.deviation);
    if (mean_before) steps.push_back(std::abs(spread.mean - *mean_before));
    mean_before = spread.mean;
    begin = end;
  }
  if (within.empty()) return false;
  const double usual = analysis::median_of(within);
  if (usual > kMostOfMotion * spread_of(samples.begin(), samples.end()).deviation) return true;
  return steps.size() >= kFewestSteps && analysis::median_of(steps) < kSteady * usual;
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
  // A move of the sources hides the period from a scan; one of the parts has none.
  for (std::size_t parts = 1; parts <= kMostParts; ++parts) {
    for (std::size_t k = 0; k < parts; ++k) {
      const auto at = [&](std::size_t part) {
        return samples.begin() + static_cast<std::ptrdiff_t>(samples.size() * part / parts);
      };
      const Samples part(at(k), at(k + 1));
      if (part.size() < kFewest) return std::nullopt;
      const auto swing = analysis::scan_period(part);
      if (!swing || swing->period_s >= kShortest_s) continue;
      if (is_the_motion(samples, swing->period_s)) return swing->period_s;
    }
  }
  return std::nullopt;
}

}  // namespace nightswing::tracker
