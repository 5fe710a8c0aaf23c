#pragma once

#include <array>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/positions/swing_series.h"
#include "analysis/swing/swing_filter.h"

/// From samples to what the filter runs over.
namespace nightswing::analysis {

/// A sample and the number of its segment.
struct PlacedSample {
  SwingSample sample;
  std::size_t segment;
};

/// The samples that lie in a segment, in order.
[[nodiscard]] std::vector<PlacedSample> placed_samples(std::span<const SwingSample> samples,
                                                       std::span<const Segment> segments);

/// How the rest position drifts: Legendre polynomials of time scaled to -1..1 over the night, of
/// order 1 to `order`, and a relaxation exp(-(t - t_start)/tau) less its mean.
struct DriftModel {
  int order = 1;
  std::optional<double> relaxation_s;

  [[nodiscard]] int columns() const { return order + (relaxation_s ? 1 : 0); }
  /// "linear", "linear and relaxation over 2400 s", ...
  [[nodiscard]] std::string name() const;
  bool operator==(const DriftModel&) const = default;
};

/// The sides that the segments have, in the order plus, minus, away: the first columns of the
/// design. The drift follows.
[[nodiscard]] std::vector<Side> sides_of(std::span<const Segment> segments);

/// The Legendre polynomials of order 1 to 3 of time scaled to -1..1 from the first segment's start
/// to the last one's end: none of them moves the mean rest position.
[[nodiscard]] std::array<double, 3> legendre_terms(std::span<const Segment> segments, double t_s);

/// Values of the drift's columns at a time.
[[nodiscard]] std::vector<double> drift_terms(const DriftModel& drift,
                                              std::span<const Segment> segments,
                                              double t_s);

/// Neighbouring samples of a segment taken together over `over_s`: weighted mean time and position.
/// u_mm is that of the mean.
///   source  the swing's turn by `over_s` costs (w over)^2/24 of its amplitude, nothing of the rest
///           position (integral of a cosine)
[[nodiscard]] std::vector<PlacedSample> averaged(std::span<const PlacedSample> samples,
                                                 double over_s);

/// A filter track with the design of `drift`; slow noise counts in seconds.
[[nodiscard]] FilterTrack filter_track(std::span<const PlacedSample> readings,
                                       std::span<const Segment> segments,
                                       const DriftModel& drift,
                                       double omega_per_s);

}  // namespace nightswing::analysis
