#include "calibration/ruler/ruler_search.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "calibration/map/median.h"
#include "calibration/ruler/tick_base.h"
#include "calibration/ruler/tick_comb.h"
#include "calibration/ruler/tick_grid.h"

namespace nightswing::calibration {
namespace {

constexpr double kLeastDivision_px = 2.3;
constexpr int kMostBands = 10;
constexpr int kLeastFoundTicks = 20;
constexpr double kLeastShare = 0.3;    // of the ticks between the outermost ones must be seen
constexpr double kMostScatter = 0.12;  // of a division
constexpr double kOutlying = 5.0;      // robust standard deviations
constexpr double kLeastScatter_px = 0.02;

/// What became of one row of strokes.
struct Outcome {
  RulerStatus status = RulerStatus::kNoRuler;
  double division_px = 0.0;
  std::optional<MeasuredRuler> ruler;
};

/// How much an outcome tells the user; the most telling refusal is reported.
int telling(RulerStatus status) {
  switch (status) {
    case RulerStatus::kNoRuler:
      return 0;
    case RulerStatus::kNoPattern:
      return 1;
    case RulerStatus::kTooFine:
      return 2;
    case RulerStatus::kAmbiguous:
      return 3;
    case RulerStatus::kInconsistent:
      return 4;
    case RulerStatus::kLabelsDisagree:
      return 5;
    case RulerStatus::kRead:
      return 6;
  }
  return 0;
}

std::vector<TickPoint> points_of(const std::vector<MeasuredTick>& ticks, double division_mm) {
  std::vector<TickPoint> points;
  for (const MeasuredTick& tick : ticks) {
    for (const PixelPoint& pixel : {tick.near, tick.far}) {
      points.push_back({.pixel = pixel, .x_mm = tick.index * division_mm, .u_px = tick.u_px});
    }
  }
  return points;
}

/// Leaves out the ticks that lie farther from the fit than five robust standard deviations of all
/// (a scratch, a compressed-away tick) and returns that standard deviation.
double leave_out_outlying_ticks(const WallMap& map,
                                double division_mm,
                                std::vector<MeasuredTick>& ticks) {
  const auto off_px = [&](const MeasuredTick& tick) {
    double most_px = 0.0;
    for (const PixelPoint& pixel : {tick.near, tick.far}) {
      const double off_mm = wall_from_pixel(map, pixel).x_mm - tick.index * division_mm;
      most_px = std::max(most_px, std::abs(off_mm) / mm_per_px(map, pixel));
    }
    return most_px;
  };
  std::vector<double> all_px;
  for (const MeasuredTick& tick : ticks) all_px.push_back(off_px(tick));
  // The larger of two Gaussian amounts has its median at 1.05 standard deviations.
  const double scatter_px = upper_median_of(std::move(all_px)) / 1.05;
  std::erase_if(ticks, [&](const MeasuredTick& tick) {
    return off_px(tick) > kOutlying * std::max(scatter_px, kLeastScatter_px);
  });
  return scatter_px;
}

Outcome measure_ruler(const cv::Mat& values, const TickPattern& decided) {
  const TickPattern pattern = with_exact_base(values, decided);
  Outcome outcome{.status = RulerStatus::kInconsistent,
                  .division_px = pattern.grid.division_px(),
                  .ruler = std::nullopt};
  std::vector<MeasuredTick> ticks = measure_ticks(values, pattern);
  if (static_cast<int>(ticks.size()) < kLeastFoundTicks) return outcome;
  const int expected = ticks.back().index - ticks.front().index + 1;
  if (static_cast<double>(ticks.size()) < kLeastShare * expected) return outcome;
  const FrameSize frame{values.cols, values.rows};
  const double division = division_mm(pattern.division);
  const MapFit first_fit = fit_ruler_map(points_of(ticks, division), frame);
  if (first_fit.status != MapStatus::kFitted) return outcome;
  const double scatter_px = leave_out_outlying_ticks(first_fit.map, division, ticks);
  if (scatter_px > kMostScatter * outcome.division_px ||
      static_cast<int>(ticks.size()) < kLeastFoundTicks) {
    return outcome;
  }
  const MapFit fit = fit_ruler_map(points_of(ticks, division), frame);
  if (fit.status != MapStatus::kFitted) return outcome;
  outcome.status = RulerStatus::kRead;
  const PixelPoint first = ticks.front().near;
  const PixelPoint last = ticks.back().near;
  outcome.ruler =
      MeasuredRuler{.pattern = pattern,
                    .ticks = std::move(ticks),
                    .map = fit.map,
                    .length_px = std::hypot(last.x_px - first.x_px, last.y_px - first.y_px)};
  return outcome;
}

Outcome try_comb(const cv::Mat& values, const StrokeBand& band, const TickComb& comb) {
  Outcome outcome;
  const TickGrid counted(aligned(values, band, comb), comb, 1.0, 0.0);
  const PatternDecision decision = decide_pattern(values, counted, kLeastDivision_px);
  outcome.division_px = decision.division_px;
  switch (decision.status) {
    case PatternStatus::kDecided:
      return measure_ruler(values, *decision.pattern);
    case PatternStatus::kNoPattern:
      outcome.status = RulerStatus::kNoPattern;
      if (counted.division_px() < kLeastDivision_px) {
        outcome.status = RulerStatus::kTooFine;
        outcome.division_px = counted.division_px();
      }
      break;
    case PatternStatus::kAmbiguous:
      outcome.status = RulerStatus::kAmbiguous;
      break;
    case PatternStatus::kInconsistent:
      outcome.status = RulerStatus::kInconsistent;
      break;
    case PatternStatus::kTooFine:
      outcome.status = RulerStatus::kTooFine;
      break;
  }
  return outcome;
}

/// Whether two readings are of the same ruler: the middle tick of one lies on ticks of the other.
bool same_ruler(const MeasuredRuler& a, const MeasuredRuler& b) {
  const PixelPoint middle = b.ticks[b.ticks.size() / 2].near;
  const double reach_px = 3.0 * std::max(a.pattern.grid.division_px(), 3.0);
  return std::ranges::any_of(a.ticks, [&](const MeasuredTick& tick) {
    return std::min(std::hypot(tick.near.x_px - middle.x_px, tick.near.y_px - middle.y_px),
                    std::hypot(tick.far.x_px - middle.x_px, tick.far.y_px - middle.y_px)) <
           reach_px;
  });
}

/// Whether a row of strokes lies on a ruler already read, near both its ends.
bool is_read(const MeasuredRuler& ruler, const StrokeBand& band) {
  const double reach_px = 4.0 * ruler.pattern.grid.division_px();
  const double tenth_px = 0.1 * (band.to_px - band.from_px);
  const auto near_a_tick = [&](cv::Point2d place) {
    return std::ranges::any_of(ruler.ticks, [&](const MeasuredTick& tick) {
      return std::hypot(tick.near.x_px - place.x, tick.near.y_px - place.y) < reach_px;
    });
  };
  return near_a_tick(pixel_at(band, band.from_px + tenth_px, 0.0)) &&
         near_a_tick(pixel_at(band, band.to_px - tenth_px, 0.0));
}

/// Adds a ruler, or puts it in the place of the same one measured with fewer ticks.
void add_ruler(const MeasuredRuler& ruler, std::vector<MeasuredRuler>& rulers) {
  const auto same = std::ranges::find_if(rulers, [&](const MeasuredRuler& known) {
    return same_ruler(known, ruler) || same_ruler(ruler, known);
  });
  if (same == rulers.end()) {
    rulers.push_back(ruler);
  } else if (ruler.ticks.size() > same->ticks.size()) {
    *same = ruler;
  }
}

}  // namespace

RulerSearch search_rulers(const cv::Mat& values, const std::optional<RulerHint>& hint) {
  RulerSearch result;
  for (const StrokeBand& band : find_stroke_bands(values, hint, kMostBands)) {
    const bool known = std::ranges::any_of(
        result.rulers, [&](const MeasuredRuler& ruler) { return is_read(ruler, band); });
    if (known) continue;
    for (const TickComb& comb : find_combs(values, band)) {
      const Outcome outcome = try_comb(values, band, comb);
      if (outcome.ruler) {
        add_ruler(*outcome.ruler, result.rulers);
        break;
      }
      if (telling(outcome.status) > telling(result.refusal)) {
        result.refusal = outcome.status;
        result.refused_division_px = outcome.division_px;
      }
    }
  }
  std::ranges::sort(result.rulers, std::greater{}, &MeasuredRuler::length_px);
  return result;
}

}  // namespace nightswing::calibration
