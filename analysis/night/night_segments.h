#pragma once

#include <span>
#include <vector>

#include "analysis/night/night.h"
#include "analysis/night/source_move.h"

/// From marks and track to the segments of a night.
namespace nightswing::analysis {

/// Sides as marked, compared with the track (mark_check.h); without marks as found in the track.
/// Fills sides, sides_from, disturbances_s and warnings.
///   marks  time-ordered
void choose_sides(std::span<const SideChange> marks,
                  const std::vector<SwingSample>& series,
                  const SwingStart& start,
                  double settle_s,
                  NightResult& result);

/// The segments between the sides of the result, cut to what was watched of them; a move that was
/// found is cut out about its time, a marked one after it. May be none, or of one side only.
[[nodiscard]] std::vector<Segment> segments_so_far(std::span<const SideChange> marks,
                                                   const std::vector<SwingSample>& series,
                                                   double period_s,
                                                   double settle_s,
                                                   NightResult& result);

/// The same. throws InputError if they do not hold both sides
[[nodiscard]] std::vector<Segment> watched_segments(std::span<const SideChange> marks,
                                                    const std::vector<SwingSample>& series,
                                                    double period_s,
                                                    double settle_s,
                                                    NightResult& result);

/// Each move between plus and minus by itself, where enough was watched around it.
///   taken_off  from each segment of the series (source_move.h)
[[nodiscard]] std::vector<SourceMove> single_moves(const std::vector<SwingSample>& series,
                                                   const SwingFit& fit,
                                                   std::span<const WideSwing> taken_off = {});

/// Puts the moves that were found from the track to the times at which the spot began to fall, and
/// says these with their uncertainty.
///   returns  whether any was put
[[nodiscard]] bool time_found_moves(const std::vector<SwingSample>& series, NightResult& result);

}  // namespace nightswing::analysis
