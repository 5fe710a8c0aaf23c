#include "analysis/night/night_segments.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "analysis/positions/mark_check.h"
#include "analysis/quantities/input_error.h"
#include "analysis/quantities/quantity.h"

namespace nightswing::analysis {
namespace {

constexpr std::ptrdiff_t kLeastInSegment = 8;
constexpr double kLeastOfPeriod = 0.1;
constexpr double kMoveReachPeriods = 0.1;
constexpr double kJustAfter_s = 1e-6;  // segments end before their to_s

/// The moves by the track alone.
FoundSides found_in(const std::vector<SwingSample>& series, const SwingStart& start) {
  FoundSides found = find_sides(series, start);
  if (found.changes.size() > 1) {
    // Once more with the period and damping of a joint fit, which the moves do not blur.
    const auto segments = segments_between(found.changes, series.back().t_s + 1.0, 0.0);
    const SwingFit fit = fit_swing(series, segments, start);
    // Of a spot that rests the fit has no period.
    if (fit.status == FitStatus::kConverged || fit.status == FitStatus::kTooShort) {
      found = find_sides(series,
                         {.period_s = fit.period_s.value,
                          .damping_per_s = std::max(0.0, fit.damping_per_s.value),
                          .explained = start.explained,
                          .residual_mm = fit.residual_rms_mm});
    }
  }
  return found;
}

/// A knock ends one segment and begins another on the same side.
std::vector<SideChange> with_disturbances(const NightResult& result) {
  std::vector<SideChange> changes = result.sides;
  for (const double t_s : result.disturbances_s) {
    const auto after = std::ranges::upper_bound(changes, t_s, {}, &SideChange::t_s);
    if (after == changes.begin()) continue;
    changes.insert(after, {std::prev(after)->side, t_s});
  }
  return changes;
}

/// Whether the track has ended or is still growing: then the last segment may just have begun.
enum class Present { kIsOver, kGoesOn };

/// Cuts the segments to what was watched of them, so that a side that was marked hours before the
/// first frame does not count as watched for hours, and leaves out what was hardly watched.
std::vector<Segment> watched_part(const std::vector<Segment>& segments,
                                  const std::vector<SwingSample>& series,
                                  double period_s,
                                  Present present,
                                  NightResult& result) {
  std::vector<Segment> watched;
  const auto leave_out = [&](const Segment& segment, const std::string& why) {
    if (present == Present::kGoesOn && &segment == &segments.back()) return;
    result.warnings.push_back(fmt::format("side {} from {:.0f} s to {:.0f} s {}",
                                          name_of(segment.side),
                                          segment.from_s,
                                          segment.to_s,
                                          why));
  };
  for (const SideChange& change : result.sides) {
    if (change.t_s <= series.back().t_s) continue;
    result.warnings.push_back(fmt::format(
        "side {} at {:.0f} s was marked after the last position of the track ({:.0f} s)",
        name_of(change.side),
        change.t_s,
        series.back().t_s));
  }
  for (const Segment& segment : segments) {
    const auto first = std::ranges::lower_bound(series, segment.from_s, {}, &SwingSample::t_s);
    const auto end = std::ranges::lower_bound(series, segment.to_s, {}, &SwingSample::t_s);
    if (end - first < kLeastInSegment) {
      leave_out(
          segment,
          fmt::format("holds {} measured positions and was left out; check when it was marked",
                      end - first));
      continue;
    }
    const Segment seen{segment.side,
                       std::max(segment.from_s, first->t_s),
                       std::min(segment.to_s, std::prev(end)->t_s + kJustAfter_s)};
    if (seen.to_s - seen.from_s < kLeastOfPeriod * period_s) {
      leave_out(segment, "was watched for less than a tenth of a period and was left out");
      continue;
    }
    watched.push_back(seen);
  }
  return watched;
}

void check_sides(const std::vector<Segment>& segments, const NightResult& result) {
  const auto has = [&](Side side) {
    return std::ranges::any_of(segments, [&](const Segment& s) { return s.side == side; });
  };
  if (has(Side::kPlus) && has(Side::kMinus)) return;
  std::string what = "no segment with the sources near the boom";
  if (has(Side::kPlus) || has(Side::kMinus)) {
    const Side side = has(Side::kPlus) ? Side::kPlus : Side::kMinus;
    what = fmt::format("one side only ({} from {:.0f} s to {:.0f} s)",
                       name_of(side),
                       segments.front().from_s,
                       segments.back().to_s);
  }
  if (!result.warnings.empty()) what += fmt::format("; {}", fmt::join(result.warnings, "; "));
  throw InputError(fmt::format(
      "the night has {}; G needs plus and minus: name each move with 'nightswing mark RUN minus "
      "--at "
      "2h5m' or --side minus@2h5m, or give no sides at all to have them found from the track",
      what));
}

/// A move that was found may have gone on for half of the settling time before the moment that
/// stands for it.
std::vector<SideChange> begun_before(std::vector<SideChange> changes, double lead_s) {
  for (std::size_t k = 1; k < changes.size(); ++k) changes[k].t_s -= lead_s;
  return changes;
}

std::vector<Segment> segments_of(std::span<const SideChange> marks,
                                 const std::vector<SwingSample>& series,
                                 double period_s,
                                 double settle_s,
                                 Present present,
                                 NightResult& result) {
  const double end_s = series.back().t_s + kJustAfter_s;
  const double lead_s = marks.empty() ? 0.5 * settle_s : 0.0;
  const auto changes = begun_before(with_disturbances(result), lead_s);
  for (const Segment& whole : segments_between(changes, end_s, 0.0)) {
    if (whole.from_s + settle_s < whole.to_s) continue;
    if (whole.to_s == end_s && present == Present::kGoesOn) continue;
    result.warnings.push_back(fmt::format(
        "side {} from {:.0f} s to {:.0f} s lasted no longer than the settling time of {:.0f} s "
        "that is left out after each move, and was left out; a shorter --settle keeps it",
        name_of(whole.side),
        whole.from_s,
        whole.to_s,
        settle_s));
  }
  return watched_part(
      segments_between(changes, end_s, settle_s), series, period_s, present, result);
}

}  // namespace

void choose_sides(std::span<const SideChange> marks,
                  const std::vector<SwingSample>& series,
                  const SwingStart& start,
                  double settle_s,
                  NightResult& result) {
  if (!marks.empty()) {
    result.sides.assign(marks.begin(), marks.end());
    result.sides_from = "sides as marked";
    const FoundSides found = find_sides(series, start);
    result.warnings = contradicted_marks(marks,
                                         found,
                                         {Side::kPlus, series.front().t_s, series.back().t_s},
                                         start.period_s,
                                         settle_s);
    result.marks_doubted = !result.warnings.empty() && found.changes.size() > 1;
    return;
  }
  const FoundSides found = found_in(series, start);
  result.sides = found.changes;
  result.disturbances_s = found.disturbances_s;
  result.sides_from = found.message;
}

std::vector<Segment> segments_between(const std::vector<SideChange>& sides,
                                      double end_s,
                                      double settle_s) {
  std::vector<Segment> segments;
  for (std::size_t k = 0; k < sides.size(); ++k) {
    const double to_s = k + 1 < sides.size() ? sides[k + 1].t_s : end_s;
    const double from_s = sides[k].t_s + settle_s;
    if (from_s < to_s) segments.push_back({sides[k].side, from_s, to_s});
  }
  return segments;
}

std::vector<Segment> segments_so_far(std::span<const SideChange> marks,
                                     const std::vector<SwingSample>& series,
                                     double period_s,
                                     double settle_s,
                                     NightResult& result) {
  return segments_of(marks, series, period_s, settle_s, Present::kGoesOn, result);
}

std::vector<Segment> watched_segments(std::span<const SideChange> marks,
                                      const std::vector<SwingSample>& series,
                                      double period_s,
                                      double settle_s,
                                      NightResult& result) {
  auto segments = segments_of(marks, series, period_s, settle_s, Present::kIsOver, result);
  check_sides(segments, result);
  return segments;
}

std::vector<SourceMove> single_moves(const std::vector<SwingSample>& series,
                                     const SwingFit& fit,
                                     std::span<const WideSwing> taken_off) {
  std::vector<SourceMove> moves;
  for (std::size_t k = 0; k + 1 < fit.segments.size(); ++k) {
    const Side before = fit.segments[k].segment.side;
    const Side after = fit.segments[k + 1].segment.side;
    if (before == after || before == Side::kAway || after == Side::kAway) continue;
    if (auto move =
            fit_source_move(series, fit, k, kMoveReachPeriods * fit.period_s.value, taken_off)) {
      moves.push_back(*move);
    }
  }
  return moves;
}

bool time_found_moves(const std::vector<SwingSample>& series, NightResult& result) {
  if (result.fit.status != FitStatus::kConverged || !result.fit.has_both_sides) return false;
  std::vector<std::string> times;
  for (const SourceMove& move : single_moves(series, result.fit)) {
    const auto change = std::ranges::min_element(
        result.sides.begin() + 1, result.sides.end(), {}, [&](const SideChange& c) {
          return std::abs(c.t_s - move.t_s.value);
        });
    if (change == result.sides.end() || change->side != move.after.side) continue;
    change->t_s = move.t_s.value;
    times.push_back(format_quantity(move.t_s, "s"));
  }
  if (times.empty()) return false;
  result.sides_from += fmt::format("; by the fall of the spot: {}", fmt::join(times, ", "));
  return true;
}

}  // namespace nightswing::analysis
