#include "analysis/night/second_opinions.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <utility>

#include <fmt/format.h>

namespace nightswing::analysis {
namespace {

constexpr double kFarSigmas = 3.0;
constexpr double kApartSigmas = 2.0;  ///< chance alone has one in twenty so far off

/// Relative u of G by the shift and the period: G goes with the shift and the inverse square of the
/// period.
double night_relative_u(const Measured& shift_mm, const Measured& period_s) {
  return std::hypot(shift_mm.u / shift_mm.value, 2.0 * period_s.u / period_s.value);
}

/// The findings with another shift about the same middle.
NightFindings with_shift(const OpticalLever& lever,
                         const SwingFit& fit,
                         double shift_mm,
                         NightFindings findings) {
  const double middle_mm = 0.5 * (fit.plus_mm.value + fit.minus_mm.value);
  findings.x_plus_mm = x_mm_from_straightened(lever, middle_mm + 0.5 * shift_mm);
  findings.x_minus_mm = x_mm_from_straightened(lever, middle_mm - 0.5 * shift_mm);
  return findings;
}

Opinion opinion_of(std::string method,
                   const Apparatus& apparatus,
                   const NightFindings& findings,
                   double relative_u) {
  const double g = gravitational_constant(apparatus, findings);
  return {std::move(method), {g, g * relative_u}};
}

/// Chi-square of some values about their weighted mean.
double chi2_of(const std::vector<Measured>& values) {
  double weight = 0.0;
  double sum = 0.0;
  for (const Measured& v : values) {
    weight += 1.0 / (v.u * v.u);
    sum += v.value / (v.u * v.u);
  }
  double chi2 = 0.0;
  for (const Measured& v : values) chi2 += std::pow((v.value - sum / weight) / v.u, 2);
  return chi2;
}

/// Each pair of neighbouring near segments on opposite sides, fitted alone.
std::vector<Opinion> pairs_of(const Apparatus& apparatus,
                              const OpticalLever& lever,
                              const NightFindings& findings,
                              const SwingFit& fit,
                              std::span<const SwingSample> series,
                              const SwingStart& start) {
  std::vector<Segment> near;
  for (const SegmentSwing& s : fit.segments) {
    if (s.segment.side != Side::kAway) near.push_back(s.segment);
  }
  std::vector<Opinion> opinions;
  if (near.size() < 3) return opinions;
  for (std::size_t k = 0; k + 1 < near.size(); ++k) {
    if (near[k].side == near[k + 1].side) continue;
    const std::vector<Segment> pair{near[k], near[k + 1]};
    const SwingFit part = fit_swing(series, pair, start, {.drift_order = 1});
    if (part.status != FitStatus::kConverged) continue;
    // The period is the whole night's: what shall be compared is the shift.
    opinions.push_back(opinion_of(fmt::format("segments {} and {} alone", k + 1, k + 2),
                                  apparatus,
                                  with_shift(lever, fit, part.shift_mm.value, findings),
                                  part.shift_mm.u / std::abs(part.shift_mm.value)));
  }
  return opinions;
}

/// G by the first acceleration: each move counts with its weight. G goes with the acceleration, so
/// that its relative u is that of G.
std::optional<Opinion> by_first_acceleration(const Apparatus& apparatus,
                                             const OpticalLever& lever,
                                             const NightFindings& findings,
                                             const SwingFit& fit,
                                             std::span<const SourceMove> moves) {
  double weight = 0.0;
  double sum = 0.0;
  for (const SourceMove& move : moves) {
    const Measured& a = move.acceleration_mm_per_s2;
    weight += 1.0 / (a.u * a.u);
    sum += (move.after.side == Side::kPlus ? a.value : -a.value) / (a.u * a.u);
  }
  if (!(weight > 0.0) || sum == 0.0) return std::nullopt;
  const double acceleration_mm_per_s2 = sum / weight;
  const double omega_per_s = 2.0 * std::numbers::pi / fit.period_s.value;
  const double stiffness_per_s2 =
      omega_per_s * omega_per_s + fit.damping_per_s.value * fit.damping_per_s.value;
  return opinion_of(
      fmt::format("first acceleration after {}", moves.size() == 1 ? "the move" : "each move"),
      apparatus,
      with_shift(lever, fit, acceleration_mm_per_s2 / stiffness_per_s2, findings),
      1.0 / std::sqrt(weight) / std::abs(acceleration_mm_per_s2));
}

/// About the 99 % quantile of chi-square, by Wilson and Hilferty's cube (from memory).
double chi2_bound(int freedom) {
  const double n = freedom;
  return n * std::pow(1.0 - 2.0 / (9.0 * n) + 2.326 * std::sqrt(2.0 / (9.0 * n)), 3);
}

void conclude(double g, const std::vector<Opinion>& pairs, Consistency& result) {
  const Opinion* farthest = nullptr;
  double distance = 0.0;
  for (const Opinion& o : result.opinions) {
    // The ways share the night's data: the larger u bounds what they may differ by.
    const double u = std::max(o.g_m3_kg_s2.u, result.main_u_m3_kg_s2);
    const double difference = std::abs(o.g_m3_kg_s2.value - g);
    const double off = difference / u;
    if (off > kApartSigmas) result.apart_relative = std::max(result.apart_relative, difference / g);
    if (farthest == nullptr || off > distance) {
      farthest = &o;
      distance = off;
    }
  }
  std::vector<Measured> values;
  for (const Opinion& o : pairs) values.push_back(o.g_m3_kg_s2);
  if (values.size() > 1) {
    result.freedom = static_cast<int>(values.size()) - 1;
    result.chi2 = chi2_of(values);
  }
  const bool scattered = result.freedom > 0 && result.chi2 > chi2_bound(result.freedom);
  result.consistent = distance <= kFarSigmas && !scattered;
  if (farthest == nullptr) return;
  result.statement =
      fmt::format("{}: the farthest ({}) lies {:.1f} standard uncertainties off, {:.2g} % of G",
                  result.consistent ? "the ways agree within the night's noise"
                                    : "the ways differ by more than the night's noise",
                  farthest->method,
                  distance,
                  100.0 * std::abs(farthest->g_m3_kg_s2.value / g - 1.0));
  if (distance > kFarSigmas) {
    result.statement +=
        "; what pulled the spot so makes the u of period, damping, drift and equilibria too small "
        "as well";
  }
  if (result.freedom > 0) {
    result.statement +=
        fmt::format("; pairs of segments scatter with chi2 = {:.1f} for {} degrees of freedom",
                    result.chi2,
                    result.freedom);
  }
}

}  // namespace

Consistency second_opinions(const Apparatus& apparatus,
                            const OpticalLever& lever,
                            const NightFindings& findings,
                            const SwingFit& fit,
                            std::span<const SwingSample> series,
                            const SwingStart& start,
                            std::span<const SourceMove> moves) {
  Consistency result;
  const double g = gravitational_constant(apparatus, findings);
  const double relative_u = night_relative_u(fit.shift_mm, fit.period_s);
  result.main_u_m3_kg_s2 = g * relative_u;
  const Measured& ls = fit.least_squares_shift_mm;
  if (ls.value != 0.0) {
    result.opinions.push_back(opinion_of("shift by least squares",
                                         apparatus,
                                         with_shift(lever, fit, ls.value, findings),
                                         std::hypot(ls.u / ls.value, relative_u)));
  }
  const auto pairs = pairs_of(apparatus, lever, findings, fit, series, start);
  result.opinions.insert(result.opinions.end(), pairs.begin(), pairs.end());
  if (auto opinion = by_first_acceleration(apparatus, lever, findings, fit, moves)) {
    result.opinions.push_back(std::move(*opinion));
  }
  if (fit.away_period_s) {
    NightFindings away = findings;
    away.period_s = fit.away_period_s->value;
    away.period_measured = PeriodMeasured::kSourcesAway;
    result.opinions.push_back(opinion_of("period with the sources away",
                                         apparatus,
                                         away,
                                         night_relative_u(fit.shift_mm, *fit.away_period_s)));
  }
  conclude(g, pairs, result);
  return result;
}

}  // namespace nightswing::analysis
