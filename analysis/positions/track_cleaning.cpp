#include "analysis/positions/track_cleaning.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "analysis/quantities/median.h"

namespace nightswing::analysis {
namespace {

constexpr double kSpike = 8.0;  // times the usual distance

/// Distance of sample i from the median of the five samples around it (fewer at the ends).
double distance_from_neighbours(std::span<const SwingSample> samples, std::size_t i) {
  const std::size_t first = std::clamp<std::size_t>(i, 2, samples.size() - 3) - 2;
  std::array<double, 5> around{};
  for (std::size_t k = 0; k < around.size(); ++k) around[k] = samples[first + k].x_mm;
  std::ranges::nth_element(around, around.begin() + 2);
  return std::abs(samples[i].x_mm - around[2]);
}

/// What is usual in a track [mm], so that a few false readings do not count. Of the distances the
/// upper quarter, since half of the samples or, where the spot runs fast, nearly all are their own
/// median and lie at 0; there the usual step counts, which the first and last samples lie off by.
double usual_distance_mm(std::span<const SwingSample> samples,
                         const std::vector<double>& distances_mm) {
  std::vector<double> sorted = distances_mm;
  const auto quartile = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() * 3 / 4);
  std::nth_element(sorted.begin(), quartile, sorted.end());
  std::vector<double> steps_mm;
  std::vector<double> u_mm;
  for (std::size_t i = 0; i + 1 < samples.size(); ++i) {
    steps_mm.push_back(std::abs(samples[i + 1].x_mm - samples[i].x_mm));
    u_mm.push_back(samples[i].u_mm);
  }
  return std::max({*quartile, median_of(std::move(steps_mm)), median_of(std::move(u_mm))});
}

}  // namespace

std::vector<SwingSample> without_spikes(std::span<const SwingSample> samples) {
  if (samples.size() < 5) return {samples.begin(), samples.end()};
  std::vector<double> distances;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    distances.push_back(distance_from_neighbours(samples, i));
  }
  const double limit = kSpike * usual_distance_mm(samples, distances);
  std::vector<SwingSample> kept;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    if (distances[i] <= limit) kept.push_back(samples[i]);
  }
  return kept;
}

std::vector<SwingSample> thinned(std::span<const SwingSample> samples, std::size_t most) {
  if (samples.size() <= most || most == 0) return {samples.begin(), samples.end()};
  const std::size_t group = (samples.size() + most - 1) / most;
  std::vector<SwingSample> thin;
  for (std::size_t begin = 0; begin < samples.size(); begin += group) {
    const auto part = samples.subspan(begin, std::min(group, samples.size() - begin));
    SwingSample sum{.t_s = 0.0, .x_mm = 0.0, .u_mm = part.front().u_mm};
    for (const SwingSample& sample : part) {
      sum.t_s += sample.t_s / static_cast<double>(part.size());
      sum.x_mm += sample.x_mm / static_cast<double>(part.size());
    }
    thin.push_back(sum);
  }
  return thin;
}

}  // namespace nightswing::analysis
