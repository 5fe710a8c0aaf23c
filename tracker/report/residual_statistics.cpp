#include "tracker/report/residual_statistics.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "analysis/quantities/median.h"

namespace nightswing::tracker {
namespace {

constexpr double kBin_sigma = 0.5;  // width of a bar, in standard deviations

struct Residual {
  double t_s;
  double r_mm;
};

std::vector<Residual> residuals_of(const ShownNight& night) {
  std::vector<Residual> list;
  for (const ShownSample& s : night.samples) {
    if (s.residual_mm) list.push_back({s.t_s, *s.residual_mm});
  }
  return list;
}

double mean_of(const std::vector<Residual>& list) {
  double sum = 0.0;
  for (const Residual& one : list) sum += one.r_mm;
  return sum / static_cast<double>(list.size());
}

double variance_of(const std::vector<Residual>& list, double mean) {
  double sum = 0.0;
  for (const Residual& one : list) sum += (one.r_mm - mean) * (one.r_mm - mean);
  return sum / static_cast<double>(list.size());
}

double usual_step_s(const std::vector<Residual>& list) {
  std::vector<double> steps_s;
  for (std::size_t i = 1; i < list.size(); ++i) steps_s.push_back(list[i].t_s - list[i - 1].t_s);
  return analysis::median_of(std::move(steps_s));
}

/// Share of a normal distribution below z standard deviations.
double normal_below(double z) {
  return 0.5 * std::erfc(-z / std::numbers::sqrt2);
}

/// Amplitude of the swing at t, by the damping.
double amplitude_mm(const ShownNight& night, const ShownSegment& segment, double t_s) {
  return segment.amplitude_from_mm * std::exp(-night.damping_per_s * (t_s - segment.from_s));
}

}  // namespace

std::vector<ResidualBin> residual_distribution(const ShownNight& night) {
  constexpr int kBins = 18;
  constexpr double kFirst_sigma = -0.5 * kBins * kBin_sigma;
  const auto list = residuals_of(night);
  if (list.size() < 2) return {};
  const double mean = mean_of(list);
  const double sigma = std::sqrt(variance_of(list, mean));
  if (!(sigma > 0.0)) return {};
  std::vector<ResidualBin> bins;
  for (int k = 0; k < kBins; ++k) {
    const double from = kFirst_sigma + k * kBin_sigma;
    const double below = k == 0 ? 0.0 : normal_below(from);
    const double to_here = k == kBins - 1 ? 1.0 : normal_below(from + kBin_sigma);
    bins.push_back({.from_mm = mean + from * sigma,
                    .to_mm = mean + (from + kBin_sigma) * sigma,
                    .count = 0,
                    .normal_count = static_cast<double>(list.size()) * (to_here - below)});
  }
  for (const Residual& one : list) {
    const double place = std::floor(((one.r_mm - mean) / sigma - kFirst_sigma) / kBin_sigma);
    ++bins[static_cast<std::size_t>(std::clamp(place, 0.0, kBins - 1.0))].count;
  }
  return bins;
}

std::vector<NormalPoint> normal_curve(const std::vector<ResidualBin>& bins) {
  constexpr int kPointsPerBin = 20;
  std::vector<NormalPoint> curve;
  if (bins.empty()) return curve;
  double readings = 0.0;
  for (const ResidualBin& bin : bins) readings += static_cast<double>(bin.count);
  const double width_mm = bins.front().to_mm - bins.front().from_mm;
  const double sigma_mm = width_mm / kBin_sigma;
  const double mean_mm = 0.5 * (bins.front().from_mm + bins.back().to_mm);
  const int points = kPointsPerBin * static_cast<int>(bins.size());
  for (int k = 0; k <= points; ++k) {
    const double at_mm = bins.front().from_mm + width_mm * k / kPointsPerBin;
    const double z = (at_mm - mean_mm) / sigma_mm;
    const double share = normal_below(z + 0.5 * kBin_sigma) - normal_below(z - 0.5 * kBin_sigma);
    curve.push_back({at_mm, readings * share});
  }
  return curve;
}

std::vector<LagCorrelation> residual_autocorrelation(const ShownNight& night) {
  constexpr double kMostSteps = 400.0;
  const auto list = residuals_of(night);
  if (list.size() < 3 || !(night.period_s > 0.0)) return {};
  const double mean = mean_of(list);
  const double variance = variance_of(list, mean);
  if (!(variance > 0.0)) return {};
  const double longest_s = 2.0 * night.period_s;
  const double step_s = std::max(usual_step_s(list), longest_s / kMostSteps);
  const auto steps = static_cast<std::size_t>(longest_s / step_s) + 1;
  std::vector<LagCorrelation> result;
  for (std::size_t k = 0; k < steps; ++k) result.push_back({step_s * static_cast<double>(k), 0, 0});
  for (std::size_t i = 0; i < list.size(); ++i) {
    for (std::size_t j = i; j < list.size(); ++j) {
      const auto k = static_cast<std::size_t>(std::lround((list[j].t_s - list[i].t_s) / step_s));
      if (k >= steps) break;
      result[k].correlation += (list[i].r_mm - mean) * (list[j].r_mm - mean) / variance;
      ++result[k].pairs;
    }
  }
  std::erase_if(result, [](const LagCorrelation& one) { return one.pairs == 0; });
  for (auto& one : result) one.correlation /= static_cast<double>(one.pairs);
  return result;
}

std::vector<FoldedReading> folded_swing(const ShownNight& night) {
  constexpr double kLeastOfScatter = 10.0;
  std::vector<FoldedReading> folded;
  if (!(night.period_s > 0.0)) return folded;
  const double omega = 2.0 * std::numbers::pi / night.period_s;
  for (const ShownSegment& segment : night.segments) {
    if (segment.side == "away") continue;
    if (segment.amplitude_to_mm < kLeastOfScatter * night.residual_rms_mm) continue;
    std::vector<std::array<double, 2>> angle_and_relative;
    double cosine = 0.0;
    double sine = 0.0;
    for (const ShownSample& s : night.samples) {
      if (!s.residual_mm || segment_at(night, s.t_s) != &segment) continue;
      const double angle = omega * (s.t_s - segment.from_s);
      const double relative =
          (s.x_mm - segment.rest_mm(s.t_s)) / amplitude_mm(night, segment, s.t_s);
      cosine += relative * std::cos(angle);
      sine += relative * std::sin(angle);
      angle_and_relative.push_back({angle, relative});
    }
    const double at_largest = std::atan2(sine, cosine);
    for (const auto& [angle, relative] : angle_and_relative) {
      const double turns = (angle - at_largest) / (2.0 * std::numbers::pi);
      folded.push_back({turns - std::floor(turns), relative, segment.side == "plus"});
    }
  }
  return folded;
}

std::vector<DriftPoint> drift_points(const ShownNight& night) {
  std::vector<DriftPoint> points;
  if (!(night.period_s > 0.0) || night.segments.empty()) return points;
  for (const ShownSegment& segment : night.segments) {
    const auto periods = static_cast<int>(segment.periods);
    for (int k = 0; k < periods; ++k) {
      const double from_s = segment.from_s + k * night.period_s;
      double sum = 0.0;
      int count = 0;
      for (const ShownSample& s : night.samples) {
        if (!s.residual_mm || s.t_s < from_s || s.t_s >= from_s + night.period_s) continue;
        sum += *s.residual_mm;
        ++count;
      }
      if (count == 0) continue;
      const double t_s = from_s + 0.5 * night.period_s;
      const double fitted_mm = segment.rest_mm(t_s) - segment.without_drift_mm;
      points.push_back({t_s, fitted_mm, fitted_mm + sum / count});
    }
  }
  return points;
}

}  // namespace nightswing::tracker
