#include "analysis/swing/swing_track.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace nightswing::analysis {

std::vector<PlacedSample> placed_samples(std::span<const SwingSample> samples,
                                         std::span<const Segment> segments) {
  std::vector<PlacedSample> placed;
  std::size_t k = 0;
  for (const SwingSample& sample : samples) {
    while (k < segments.size() && sample.t_s >= segments[k].to_s) ++k;
    if (k < segments.size() && sample.t_s >= segments[k].from_s) placed.push_back({sample, k});
  }
  return placed;
}

std::string DriftModel::name() const {
  constexpr const char* kOrders[] = {"none", "linear", "quadratic", "cubic"};
  std::string text = kOrders[std::clamp(order, 0, 3)];
  if (relaxation_s) text += fmt::format(" and relaxation over {:.0f} s", *relaxation_s);
  return text;
}

std::vector<Side> sides_of(std::span<const Segment> segments) {
  std::vector<Side> sides;
  for (const Side side : {Side::kPlus, Side::kMinus, Side::kAway}) {
    if (std::ranges::count(segments, side, &Segment::side) > 0) sides.push_back(side);
  }
  return sides;
}

std::array<double, 3> legendre_terms(std::span<const Segment> segments, double t_s) {
  const double from_s = segments.front().from_s;
  const double span_s = segments.back().to_s - from_s;
  const double u = 2.0 * (t_s - from_s) / span_s - 1.0;
  return {u, 0.5 * (3.0 * u * u - 1.0), 0.5 * u * (5.0 * u * u - 3.0)};
}

std::vector<double> drift_terms(const DriftModel& drift,
                                std::span<const Segment> segments,
                                double t_s) {
  const auto legendre = legendre_terms(segments, t_s);
  std::vector<double> terms(legendre.begin(), legendre.begin() + drift.order);
  if (drift.relaxation_s) {
    const double from_s = segments.front().from_s;
    const double span_s = segments.back().to_s - from_s;
    const double tau = *drift.relaxation_s / span_s;
    const double mean = tau * (1.0 - std::exp(-1.0 / tau));
    terms.push_back(std::exp(-(t_s - from_s) / *drift.relaxation_s) - mean);
  }
  return terms;
}

std::vector<PlacedSample> averaged(std::span<const PlacedSample> samples, double over_s) {
  std::vector<PlacedSample> means;
  std::size_t begin = 0;
  while (begin < samples.size()) {
    const double limit_s = samples[begin].sample.t_s + over_s * (1.0 - 1e-6);
    double weight = 0.0;
    double time = 0.0;
    double position = 0.0;
    std::size_t end = begin;
    while (end < samples.size() && samples[end].segment == samples[begin].segment &&
           (end == begin || samples[end].sample.t_s < limit_s)) {
      const SwingSample& s = samples[end].sample;
      const double w = 1.0 / (s.u_mm * s.u_mm);
      weight += w;
      time += w * (s.t_s - samples[begin].sample.t_s);
      position += w * s.x_mm;
      ++end;
    }
    means.push_back({{.t_s = samples[begin].sample.t_s + time / weight,
                      .x_mm = position / weight,
                      .u_mm = 1.0 / std::sqrt(weight)},
                     samples[begin].segment});
    begin = end;
  }
  return means;
}

FilterTrack filter_track(std::span<const PlacedSample> readings,
                         std::span<const Segment> segments,
                         const DriftModel& drift,
                         double omega_per_s) {
  FilterTrack track;
  track.omega_per_s = omega_per_s;
  const std::vector<Side> sides = sides_of(segments);
  const auto levels = std::ssize(sides);
  track.design = Eigen::MatrixXd::Zero(std::ssize(readings), levels + drift.columns());
  double mean_square = 0.0;
  for (const PlacedSample& r : readings) mean_square += r.sample.u_mm * r.sample.u_mm;
  mean_square /= static_cast<double>(readings.size());
  for (std::size_t i = 0; i < readings.size(); ++i) {
    const auto& [sample, segment] = readings[i];
    const bool starts = i == 0 || readings[i - 1].segment != segment;
    track.segments += starts ? 1 : 0;
    track.points.push_back({.t_s = sample.t_s,
                            .x_mm = sample.x_mm,
                            .variance_ratio = sample.u_mm * sample.u_mm / mean_square,
                            .slow_step = i > 0 ? sample.t_s - readings[i - 1].sample.t_s : 0.0,
                            .starts_segment = starts,
                            .away = segments[segment].side == Side::kAway,
                            .frequency_ratio = segments[segment].frequency_ratio});
    const auto row = static_cast<Eigen::Index>(i);
    track.design(row, std::ranges::find(sides, segments[segment].side) - sides.begin()) = 1.0;
    const std::vector<double> terms = drift_terms(drift, segments, sample.t_s);
    for (std::size_t k = 0; k < terms.size(); ++k) {
      track.design(row, levels + static_cast<Eigen::Index>(k)) = terms[k];
    }
  }
  return track;
}

}  // namespace nightswing::analysis
