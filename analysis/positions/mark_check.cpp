#include "analysis/positions/mark_check.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace nightswing::analysis {
namespace {

/// A move by the marks, judged or not.
struct MarkedMove {
  SideChange to;
  bool judged;
  double reach_s;  ///< how far off what was found may lie
};

std::vector<MarkedMove> marked_moves(std::span<const SideChange> marks,
                                     const Segment& watched,
                                     double period_s,
                                     double reach_s) {
  std::vector<MarkedMove> moves;
  for (std::size_t k = 1; k < marks.size(); ++k) {
    if (marks[k].side == marks[k - 1].side) continue;
    const double since_s = std::max(watched.from_s, marks[k - 1].t_s);
    const double until_s = k + 1 < marks.size() ? marks[k + 1].t_s : watched.to_s;
    const bool near = marks[k].side != Side::kAway && marks[k - 1].side != Side::kAway;
    // What is found has a period on either side: of a move with less, it is that far off.
    const bool whole = marks[k].t_s - since_s >= period_s && until_s - marks[k].t_s >= period_s;
    moves.push_back({marks[k], near && whole, whole ? reach_s : reach_s + period_s});
  }
  return moves;
}

std::string apart(double later_s) {
  const double minutes = std::abs(later_s) / 60.0;
  return fmt::format("{:.1f} minutes {}", minutes, later_s > 0.0 ? "later" : "earlier");
}

}  // namespace

std::vector<std::string> contradicted_marks(std::span<const SideChange> marks,
                                            const FoundSides& found,
                                            const Segment& watched,
                                            double period_s,
                                            double settle_s) {
  const std::vector<MarkedMove> moves =
      marked_moves(marks, watched, period_s, found.u_time_s + settle_s);
  std::vector<double> unmarked_s;
  for (std::size_t k = 1; k < found.changes.size(); ++k) {
    const double t_s = found.changes[k].t_s;
    if (std::ranges::none_of(
            moves, [&](const MarkedMove& m) { return std::abs(m.to.t_s - t_s) <= m.reach_s; })) {
      unmarked_s.push_back(t_s);
    }
  }
  const auto seen = [&](const MarkedMove& move) {
    return std::ranges::any_of(found.changes, [&](const SideChange& change) {
      return &change != &found.changes.front() &&
             std::abs(change.t_s - move.to.t_s) <= move.reach_s;
    });
  };
  std::vector<std::string> sentences;
  for (const MarkedMove& move : moves) {
    if (!move.judged || seen(move)) continue;
    const auto nearest = std::ranges::min_element(
        unmarked_s, {}, [&](double t_s) { return std::abs(t_s - move.to.t_s); });
    if (nearest == unmarked_s.end()) {
      sentences.push_back(fmt::format(
          "side {} was marked at {:.0f} s, but the track shows no change of its rest position "
          "there; check the mark",
          name_of(move.to.side),
          move.to.t_s));
      continue;
    }
    sentences.push_back(fmt::format(
        "side {} was marked at {:.0f} s, but the rest position changes at {:.0f} s (within about "
        "{:.0f} s), {}; if the sources were moved then, withdraw the mark and set it there",
        name_of(move.to.side),
        move.to.t_s,
        *nearest,
        found.u_time_s,
        apart(*nearest - move.to.t_s)));
    unmarked_s.erase(nearest);
  }
  for (const double t_s : unmarked_s) {
    sentences.push_back(fmt::format(
        "the rest position changes at {:.0f} s (within about {:.0f} s), where no move of the "
        "sources is marked; mark it if they were moved",
        t_s,
        found.u_time_s));
  }
  return sentences;
}

}  // namespace nightswing::analysis
