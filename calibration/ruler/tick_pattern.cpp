#include "calibration/ruler/tick_pattern.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

#include "calibration/map/median.h"
#include "calibration/ruler/tick_lengths.h"

namespace nightswing::calibration {
namespace {

constexpr double kEndsReach = 14.0;  // divisions to both sides in which ticks must end
constexpr int kMostEndsReach_px = 260;
constexpr int kLeastPatternTicks = 25;
constexpr int kLeastAlternating = 16;
constexpr double kNarrow = 0.4;  // strokes five divisions apart fill less of the space between them
constexpr double kClassSpread = 0.4;  // of the step to the next class
constexpr double kOneKind = 0.35;     // of the last step: longest ticks differ by less
constexpr int kStretch = 30;          // ticks

/// The rank of each place in a pattern, 0 for the shortest; place 0 is the longest.
std::vector<int> ranks_of(Division division) {
  const int period = division == Division::kMillimetre ? 10 : 16;
  std::vector<int> ranks;
  for (int k = 0; k < period; ++k) ranks.push_back(length_class(division, k));
  return ranks;
}

/// Lengths by rank, of ticks whose numbers, less `phase`, lie in the pattern of the ranks.
std::vector<std::vector<double>> by_rank(const std::vector<double>& lengths_px,
                                         const std::vector<int>& ranks,
                                         std::size_t phase) {
  const int most = *std::ranges::max_element(ranks);
  std::vector<std::vector<double>> groups(static_cast<std::size_t>(most) + 1);
  for (std::size_t k = 0; k < ranks.size(); ++k) {
    groups[static_cast<std::size_t>(ranks[k])].push_back(
        lengths_px[(k + phase) % lengths_px.size()]);
  }
  return groups;
}

/// Whether steps from rank to rank are alike within what rulers have: no step is lost in the
/// scatter, and none so large that something else (a numeral) must have lengthened a tick.
bool plausible_steps(const std::vector<double>& medians_px) {
  std::vector<double> steps_px;
  for (std::size_t i = 1; i < medians_px.size(); ++i) {
    steps_px.push_back(medians_px[i] - medians_px[i - 1]);
  }
  const auto [least, most] = std::ranges::minmax_element(steps_px);
  const double usual_px = upper_median_of(steps_px);
  return *least >= std::max({0.7, 0.07 * medians_px.front(), 0.35 * usual_px}) &&
         *most <= 4.0 * *least;
}

/// The length of each rank if the lengths, turned by `phase`, rise from rank to rank and are alike
/// within each; else empty. One place in eight may stand out: a numeral or a stain that returns.
std::vector<double> lengths_of_ranks(const std::vector<double>& lengths_px,
                                     const std::vector<int>& ranks,
                                     std::size_t phase) {
  const auto groups = by_rank(lengths_px, ranks, phase);
  std::vector<double> medians_px;
  for (const auto& group : groups) medians_px.push_back(upper_median_of(group));
  if (!plausible_steps(medians_px)) return {};
  for (std::size_t i = 0; i < groups.size(); ++i) {
    const double below_px = i > 0 ? medians_px[i] - medians_px[i - 1] : 1e9;
    const double above_px = i + 1 < groups.size() ? medians_px[i + 1] - medians_px[i] : 1e9;
    const double reach_px = std::max(0.5, kClassSpread * std::min(below_px, above_px));
    const auto standing_out = std::ranges::count_if(groups[i], [&](double length_px) {
      return std::abs(length_px - medians_px[i]) > reach_px;
    });
    if (standing_out > static_cast<std::ptrdiff_t>(groups[i].size() / 8)) return {};
  }
  return medians_px;
}

/// Whether every other repetition of the pattern shows it by itself: then no rank is long by
/// chance, and the longest ticks are not of two kinds, which would make the division half of what
/// it seems.
bool holds_in_halves(const cv::Mat& depths,
                     int first_tick,
                     const std::vector<int>& ranks,
                     const std::vector<double>& lengths_px) {
  const int period = static_cast<int>(ranks.size());
  const auto ticks = fold_ticks(depths, first_tick, 2 * period);
  if (!ticks) return false;
  std::vector<double> longest_px;
  for (const int half : {0, period}) {
    const auto groups = by_rank(ticks->lengths_px, ranks, static_cast<std::size_t>(half));
    for (std::size_t i = 1; i < groups.size(); ++i) {
      const double step_px = lengths_px[i] - lengths_px[i - 1];
      const double off_px = upper_median_of(groups[i]) - lengths_px[i];
      if (std::abs(off_px) > std::max(0.7, 0.5 * step_px)) return false;
    }
    longest_px.push_back(upper_median_of(groups.back()));
  }
  const double last_step_px = lengths_px.back() - lengths_px[lengths_px.size() - 2];
  return std::abs(longest_px[0] - longest_px[1]) < std::max(1.0, kOneKind * last_step_px);
}

/// Where the strokes of a grid lie (offset in divisions) and which way they differ from the ground:
/// phase of the strongest row at one cycle a division. The first offset is for dark strokes.
double dark_offset(const cv::Mat& rows, double first_x) {
  std::vector<std::complex<double>> wave;
  for (int j = 0; j < rows.cols; ++j) {
    const double x = first_x + static_cast<double>(j) / kSamplesPerDivision;
    wave.push_back(std::polar(1.0, -2.0 * std::numbers::pi * x));
  }
  std::complex<double> strongest = 0.0;
  for (int r = 0; r < rows.rows; ++r) {
    const std::complex<double> sum = part_along(wave, rows.ptr<float>(r));
    if (std::abs(sum) > std::abs(strongest)) strongest = sum;
  }
  // value ~ cos(2 pi x + arg): brightest where x = -arg / 2 pi, darkest half a division farther.
  return -std::arg(strongest) / (2.0 * std::numbers::pi) + 0.5;
}

/// How much deeper, summed over the rows in which only longer ticks still are, the ticks of each
/// phase are than the rest, in a stretch of the ruler: the phase that the stretch by itself shows,
/// and by how many standard deviations it beats the given one.
double contradiction(const cv::Mat& depths,
                     int first_tick,
                     cv::Range ticks,
                     const std::vector<int>& ranks,
                     const std::vector<cv::Range>& rank_rows) {
  const int period = static_cast<int>(ranks.size());
  // For tick i and rank q: mean depth over the rows that ticks of rank q reach but those of q - 1
  // do not, cut at its robust spread so that a stain counts as one tick.
  std::vector<double> score(static_cast<std::size_t>(period), 0.0);
  double variance = 0.0;
  for (std::size_t q = 1; q <= rank_rows.size(); ++q) {
    const cv::Range rows = rank_rows[q - 1];
    if (rows.size() < 1) continue;
    std::vector<double> energy;
    std::vector<int> tick;
    for (int i = ticks.start; i < ticks.end; ++i) {
      const double value = cv::mean(depths.col(i).rowRange(rows))[0];
      if (std::isnan(value)) continue;
      energy.push_back(value);
      tick.push_back(first_tick + i);
    }
    if (energy.size() < static_cast<std::size_t>(period)) continue;
    const double centre = upper_median_of(energy);
    std::vector<double> off;
    for (const double value : energy) off.push_back(std::abs(value - centre));
    const double spread = std::max(1e-6, scatter_of(std::move(off)));
    for (std::size_t n = 0; n < energy.size(); ++n) {
      const double value = std::clamp((energy[n] - centre) / spread, -4.0, 4.0);
      for (int phase = 0; phase < period; ++phase) {
        const int place = ((tick[n] - phase) % period + period) % period;
        const bool reaches = ranks[static_cast<std::size_t>(place)] >= static_cast<int>(q);
        score[static_cast<std::size_t>(phase)] += reaches ? value : 0.0;
      }
      variance += 1.0 / period;
    }
  }
  const double best = *std::ranges::max_element(score);
  return variance > 0.0 ? (best - score[0]) / std::sqrt(2.0 * variance) : 0.0;
}

/// Whether each stretch of the ruler by itself agrees where the longest ticks are.
bool agrees_throughout(const cv::Mat& depths,
                       int first_tick,
                       const std::vector<int>& ranks,
                       const std::vector<cv::Range>& rank_rows) {
  const int stretch = std::max(kStretch, 2 * static_cast<int>(ranks.size()));
  for (int start = 0; start + stretch <= depths.cols; start += stretch / 2) {
    const double against =
        contradiction(depths, first_tick, cv::Range(start, start + stretch), ranks, rank_rows);
    if (against > 5.0) return false;
  }
  return true;
}

struct Attempt {
  std::vector<TickPattern> holding;
  bool inconsistent = false;
  bool alternating = false;
};

/// The straightened picture of a grid and what is read from it.
struct Straightened {
  TickGrid grid;
  int polarity;
  int reach_px;
  cv::Mat rows;
  cv::Mat depths;
};

int reach_of(const TickGrid& grid) {
  return std::clamp(cvRound(kEndsReach * grid.division_px()), 24, kMostEndsReach_px);
}

/// Rows in which ticks of each rank from 1 on still are, but those of the rank below are not.
std::vector<cv::Range> rows_of_ranks(const FoldedTicks& ticks,
                                     const std::vector<double>& lengths_px,
                                     int rows) {
  std::vector<cv::Range> result;
  const double sign = ticks.upwards ? 1.0 : -1.0;
  for (std::size_t q = 1; q < lengths_px.size(); ++q) {
    const double a = ticks.base_row + sign * lengths_px[q - 1];
    const double b = ticks.base_row + sign * lengths_px[q];
    result.emplace_back(std::clamp(cvRound(std::min(a, b) + 0.5), 0, rows - 1),
                        std::clamp(cvRound(std::max(a, b) + 0.5), 0, rows));
  }
  return result;
}

/// Whether hardly a stroke is missing in the rows that all are said to have in common.
bool nearly_all_there(const cv::Mat& depths, cv::Range common_rows) {
  std::vector<double> all;
  for (int i = 0; i < depths.cols; ++i) {
    const double depth = cv::mean(depths.col(i).rowRange(common_rows))[0];
    all.push_back(std::isnan(depth) ? 0.0 : depth);
  }
  const double least = 0.4 * upper_median_of(all);
  const auto there = std::ranges::count_if(all, [least](double depth) { return depth > least; });
  return 5 * there >= 4 * depths.cols;
}

/// Whether every second stroke is longer, all of either kind being alike: the 5 mm and 10 mm
/// strokes of a ruler between which nothing can be made out.
bool alternates(const Straightened& ruler) {
  const std::vector<int> ranks{1, 0};
  const int first = ruler.grid.first();
  if (ruler.grid.count() < kLeastAlternating) return false;
  const auto ticks = fold_ticks(ruler.depths, first, 2);
  if (!ticks || ticks->open || !nearly_all_there(ruler.depths, ticks->common_rows)) return false;
  for (const int phase : {0, 1}) {
    const auto lengths_px =
        lengths_of_ranks(ticks->lengths_px, ranks, static_cast<std::size_t>(phase));
    if (!lengths_px.empty() && holds_in_halves(ruler.depths, first - phase, ranks, lengths_px)) {
      return width_of_single_strokes(ruler.rows, ruler.grid.division_px(), *ticks, ruler.polarity)
          .has_value();
    }
  }
  return false;
}

/// Tries one division at all phases.
void try_division(const Straightened& ruler, Division division, Attempt& attempt) {
  const std::vector<int> ranks = ranks_of(division);
  const int period = static_cast<int>(ranks.size());
  const int first = ruler.grid.first();
  if (ruler.grid.count() < std::max(kLeastPatternTicks, 2 * period)) return;
  const auto ticks = fold_ticks(ruler.depths, first, period);
  if (!ticks || ticks->open) return;
  std::optional<double> width;
  for (int phase = 0; phase < period; ++phase) {
    const auto lengths_px =
        lengths_of_ranks(ticks->lengths_px, ranks, static_cast<std::size_t>(phase));
    if (lengths_px.empty()) continue;
    if (!width) {
      width = width_of_single_strokes(ruler.rows, ruler.grid.division_px(), *ticks, ruler.polarity);
    }
    if (!width || !holds_in_halves(ruler.depths, first - phase, ranks, lengths_px)) continue;
    const auto rank_rows = rows_of_ranks(*ticks, lengths_px, ruler.depths.rows);
    if (!agrees_throughout(ruler.depths, first - phase, ranks, rank_rows)) {
      attempt.inconsistent = true;
      continue;
    }
    TickPattern pattern{.division = division,
                        .grid = ruler.grid.recounted(1.0, phase),
                        .polarity = ruler.polarity,
                        .base_h_px = ticks->base_row - ruler.reach_px,
                        .end_h_px = {},
                        .width = *width};
    for (const double length_px : lengths_px) {
      pattern.end_h_px.push_back(pattern.base_h_px + (ticks->upwards ? length_px : -length_px));
    }
    attempt.holding.push_back(pattern);
  }
}

/// Tries one grid with strokes of one polarity at its whole numbers.
Attempt try_reading(const cv::Mat& values, const TickGrid& grid, int polarity) {
  Attempt attempt;
  Straightened ruler{.grid = grid,
                     .polarity = polarity,
                     .reach_px = reach_of(grid),
                     .rows = straightened(values, grid, reach_of(grid), kSamplesPerDivision),
                     .depths = {}};
  ruler.depths = stroke_depths(ruler.rows, polarity);
  attempt.alternating = alternates(ruler);
  try_division(ruler, Division::kMillimetre, attempt);
  try_division(ruler, Division::kSixteenthInch, attempt);
  return attempt;
}

}  // namespace

double division_mm(Division division) {
  // One inch = 25.4 mm exactly (NIST SP 811, 2008, appendix B).
  return division == Division::kMillimetre ? 1.0 : 25.4 / 16.0;
}

std::string division_name(Division division) {
  return division == Division::kMillimetre ? "1 mm" : "1/16 inch";
}

int length_class(Division division, int i) {
  if (division == Division::kMillimetre) return i % 10 == 0 ? 2 : i % 5 == 0 ? 1 : 0;
  for (const int rank : {4, 3, 2, 1}) {
    if (i % (1 << rank) == 0) return rank;
  }
  return 0;
}

PatternDecision decide_pattern(const cv::Mat& values,
                               const TickGrid& counted,
                               double least_division_px) {
  PatternDecision decision;
  std::vector<TickPattern> holding;
  for (const double step : {1.0, 0.5, 2.0, 1.0 / 3.0, 3.0, 0.25, 4.0, 0.2, 5.0, 0.1, 10.0}) {
    const TickGrid plain = counted.recounted(step, 0.0);
    if (plain.division_px() < least_division_px || plain.count() < 8) continue;
    const cv::Mat rows = straightened(values, plain, reach_of(plain), kSamplesPerDivision);
    const double dark = dark_offset(rows, plain.first() - 0.5);
    std::vector<TickPattern> here;
    for (const int polarity : {1, -1}) {
      const TickGrid grid = plain.recounted(1.0, polarity > 0 ? dark : dark + 0.5);
      const Attempt attempt = try_reading(values, grid, polarity);
      if (attempt.inconsistent) decision.status = PatternStatus::kInconsistent;
      if (attempt.alternating && grid.division_px() / 5.0 < least_division_px &&
          decision.status == PatternStatus::kNoPattern) {
        decision.status = PatternStatus::kTooFine;
        decision.division_px = grid.division_px() / 5.0;
      }
      here.insert(here.end(), attempt.holding.begin(), attempt.holding.end());
    }
    // The gaps between dark ticks can pass for bright ticks of the same division; of the two, ticks
    // are the narrower.
    if (here.size() == 2 && here[0].division == here[1].division &&
        here[0].polarity != here[1].polarity) {
      here.erase(here.begin() + (here[0].width < here[1].width ? 1 : 0));
    }
    holding.insert(holding.end(), here.begin(), here.end());
  }
  if (holding.empty()) return decision;
  decision.division_px = holding.front().grid.division_px();
  if (holding.size() > 1) {
    decision.status = PatternStatus::kAmbiguous;
    return decision;
  }
  decision.status = PatternStatus::kDecided;
  decision.pattern = holding.front();
  return decision;
}

}  // namespace nightswing::calibration
