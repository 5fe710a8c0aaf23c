#include "analysis/positions/period_scan.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <utility>
#include <vector>

#include <Eigen/Dense>

#include "analysis/positions/track_cleaning.h"
#include "analysis/quantities/median.h"

namespace nightswing::analysis {
namespace {

constexpr std::size_t kScanSamples = 3000;
constexpr std::size_t kLeastSamples = 12;
constexpr double kChunkPeriods = 3.0;
constexpr int kChunkParameters = 4;
constexpr double kSamplesPerParameter = 6.0;
/// Where a period has few samples. Five parameters a chunk and two for all want 30 of them and
/// some.
constexpr double kChunkSamples = 36.0;
/// Four parameters explain anything of fewer.
constexpr double kTellingSamples = 12.0;
constexpr double kPeriodStep = 1.01;
/// Hundreds of trial periods are compared, so that the criterion's own 0 would let noise through.
constexpr double kLeastGain = 20.0;
constexpr double kLeastExplained = 0.5;
constexpr double kClearlyExplained = 0.9;
/// Trials of damping times period; 0.1 is Q = 31, 1.5 is Q = 2.
constexpr double kDampingTimesPeriod[] = {0.0, 0.05, 0.15, 0.4, 1.0};

/// What is left of one chunk by rest position + slope + damped swing, and by rest position + slope.
struct ChunkFit {
  double count = 0.0;
  double residual_square = 0.0;
  double line_square = 0.0;
};

/// A damped swing of amplitude 1 followed from sample to sample. Where they are evenly spaced, as
/// those of a film are, each is the one before turned alike, which spares its exp, sin and cos.
class FollowedSwing {
 public:
  FollowedSwing(double omega, double damping) : omega_(omega), damping_(damping) {}

  void go_on(double by_s) {
    if (std::abs(by_s - step_s_) > kSameStep * by_s) {
      step_s_ = by_s;
      turn_ = std::polar(std::exp(-damping_ * by_s), omega_ * by_s);
    }
    now_ *= turn_;
  }

  [[nodiscard]] double cosine() const { return now_.real(); }
  [[nodiscard]] double sine() const { return now_.imag(); }

 private:
  static constexpr double kSameStep = 1e-9;  // relative; so much of a chunk's phase is nothing

  double omega_;
  double damping_;
  double step_s_ = 0.0;
  std::complex<double> turn_ = 1.0;
  std::complex<double> now_ = 1.0;
};

ChunkFit fit_chunk(std::span<const SwingSample> chunk, double omega, double damping) {
  Eigen::Matrix4d normal = Eigen::Matrix4d::Zero();
  Eigen::Vector4d right = Eigen::Vector4d::Zero();
  double square = 0.0;
  const double origin_s = chunk.front().t_s;
  const double length_s = std::max(chunk.back().t_s - origin_s, 1e-9);
  FollowedSwing followed(omega, damping);
  double last_s = origin_s;
  for (const SwingSample& sample : chunk) {
    followed.go_on(sample.t_s - last_s);
    last_s = sample.t_s;
    const Eigen::Vector4d row(
        1.0, (sample.t_s - origin_s) / length_s, followed.cosine(), followed.sine());
    const double x = sample.x_mm - chunk.front().x_mm;
    normal += row * row.transpose();
    right += x * row;
    square += x * x;
  }
  const Eigen::Vector4d swing = normal.ldlt().solve(right);
  const Eigen::Matrix2d line_normal = normal.topLeftCorner<2, 2>();
  const Eigen::Vector2d line = line_normal.ldlt().solve(right.head<2>());
  return {.count = static_cast<double>(chunk.size()),
          .residual_square = std::max(0.0, square - swing.dot(right)),
          .line_square = std::max(0.0, square - line.dot(right.head<2>()))};
}

struct Stretches {
  std::vector<std::span<const SwingSample>> between_moves;
  double least_chunk_s;
};

/// Adds the chunks of one stretch.
void fit_chunks(std::span<const SwingSample> samples,
                double least_chunk_s,
                double period_s,
                double damping_per_s,
                std::vector<ChunkFit>& fits) {
  const double omega = 2.0 * std::numbers::pi / period_s;
  const double span_s = samples.back().t_s - samples.front().t_s;
  const double wanted_s = std::max(kChunkPeriods * period_s, least_chunk_s);
  const double chunk_s = span_s / std::max(1.0, std::floor(span_s / wanted_s));
  std::size_t begin = 0;
  while (begin < samples.size()) {
    const double index = std::floor((samples[begin].t_s - samples.front().t_s) / chunk_s);
    const double end_s = samples.front().t_s + (index + 1.0) * chunk_s;
    std::size_t end = begin + 1;
    while (end < samples.size() && samples[end].t_s < end_s) ++end;
    if (end - begin > kChunkParameters) {  // fewer samples than parameters say nothing
      fits.push_back(fit_chunk(samples.subspan(begin, end - begin), omega, damping_per_s));
    }
    begin = end;
  }
}

std::vector<ChunkFit> fit_chunks(const Stretches& stretches,
                                 double period_s,
                                 double damping_per_s) {
  std::vector<ChunkFit> fits;
  for (const auto& samples : stretches.between_moves) {
    fit_chunks(samples, stretches.least_chunk_s, period_s, damping_per_s, fits);
  }
  return fits;
}

Stretches stretches_between(std::span<const SwingSample> samples,
                            std::span<const SideChange> moves,
                            double least_chunk_s) {
  Stretches stretches{{}, least_chunk_s};
  for (const SideChange& move : moves) {
    const auto end = std::ranges::lower_bound(samples, move.t_s, {}, &SwingSample::t_s);
    const auto count = static_cast<std::size_t>(end - samples.begin());
    if (count > 0) stretches.between_moves.push_back(samples.first(count));
    samples = samples.subspan(count);
  }
  if (!samples.empty()) stretches.between_moves.push_back(samples);
  return stretches;
}

struct Trial {
  /// Criterion of the chunks as straight lines minus that with the swing: trials of different
  /// periods cut different chunks, so that only what the swing adds within the same chunks
  /// compares.
  double gain = -std::numeric_limits<double>::infinity();
  SwingStart start{};
};

/// Every chunk has a noise of its own, so that the one with the move in it counts for little.
Trial try_swing(const Stretches& stretches, double period_s, double damping_per_s) {
  const std::vector<ChunkFit> fits = fit_chunks(stretches, period_s, damping_per_s);
  double n = 0.0;
  for (const auto& samples : stretches.between_moves) n += static_cast<double>(samples.size());
  const double parameters = (kChunkParameters + 1.0) * static_cast<double>(fits.size()) + 2.0;
  Trial trial;
  // The criterion holds for many samples a parameter; chunks of a dozen could be fitted to
  // anything.
  if (fits.empty() || parameters > n / kSamplesPerParameter) return trial;
  double log_likelihood = 0.0;
  double log_likelihood_line = 0.0;
  std::vector<double> variance;
  for (const ChunkFit& fit : fits) {
    // The floor: a noiseless chunk has no logarithm.
    const double residual_square = std::max(fit.residual_square, 1e-12 * fit.line_square + 1e-12);
    log_likelihood -= 0.5 * fit.count * std::log(residual_square / fit.count);
    log_likelihood_line -=
        0.5 * fit.count * std::log(std::max(fit.line_square, residual_square) / fit.count);
    if (fit.count >= kTellingSamples) {
      trial.start.explained =
          std::max(trial.start.explained, 1.0 - residual_square / std::max(fit.line_square, 1e-12));
    }
    variance.push_back(residual_square / (fit.count - kChunkParameters));
  }
  const double swing_parameters = 2.0 * static_cast<double>(fits.size()) + 2.0;
  trial.gain = 2.0 * (log_likelihood - log_likelihood_line) - swing_parameters * std::log(n);
  trial.start.period_s = period_s;
  trial.start.damping_per_s = damping_per_s;
  trial.start.residual_mm = std::sqrt(median_of(std::move(variance)));
  return trial;
}

/// Walks from the best trial of the grid to the largest gain nearby, with ever smaller steps.
Trial refined(const Stretches& stretches, Trial best) {
  double period_step = 0.5 * (kPeriodStep - 1.0);
  double damping_step = 0.3 / best.start.period_s;
  for (int halving = 0; halving < 12; ++halving) {
    for (const auto& [period_move, damping_move] :
         {std::pair{1.0, 0.0}, std::pair{-1.0, 0.0}, std::pair{0.0, 1.0}, std::pair{0.0, -1.0}}) {
      const Trial trial =
          try_swing(stretches,
                    best.start.period_s * (1.0 + period_move * period_step),
                    std::max(0.0, best.start.damping_per_s + damping_move * damping_step));
      if (trial.gain > best.gain) best = trial;
    }
    period_step *= 0.6;
    damping_step *= 0.6;
  }
  return best;
}

}  // namespace

std::optional<SwingStart> scan_period(std::span<const SwingSample> all_samples,
                                      std::span<const SideChange> moves) {
  if (all_samples.size() < kLeastSamples) return std::nullopt;
  const std::vector<SwingSample> samples = thinned(without_spikes(all_samples), kScanSamples);
  const double span_s = samples.back().t_s - samples.front().t_s;
  std::vector<double> steps_s;
  for (std::size_t i = 1; i < samples.size(); ++i) {
    steps_s.push_back(samples[i].t_s - samples[i - 1].t_s);
  }
  const double step_s = median_of(std::move(steps_s));
  const double shortest_s = 4.0 * step_s;
  const Stretches stretches = stretches_between(samples, moves, kChunkSamples * step_s);
  // A swing stands out clearly in some chunk; a move of the sources, taken for half a wave of a
  // very long period, never does, though it may gain more over all.
  Trial clear;
  Trial best;
  const int trials = static_cast<int>(std::log(span_s / shortest_s) / std::log(kPeriodStep)) + 1;
  for (int k = 0; k < trials; ++k) {
    const double period_s = shortest_s * std::pow(kPeriodStep, k);
    for (const double product : kDampingTimesPeriod) {
      const Trial trial = try_swing(stretches, period_s, product / period_s);
      if (trial.gain > best.gain) best = trial;
      if (trial.gain > clear.gain && trial.start.explained > kClearlyExplained) clear = trial;
    }
  }
  if (clear.gain > kLeastGain) best = clear;
  if (!(best.gain > kLeastGain && best.start.explained > kLeastExplained)) return std::nullopt;
  return refined(stretches, best).start;
}

}  // namespace nightswing::analysis
