#include "tracker/replay.h"

#include <algorithm>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/frames/frame_pump.h"
#include "tracker/frames/frame_source.h"
#include "tracker/night_tracking.h"
#include "tracker/run/event_log.h"
#include "tracker/swing_pace.h"
#include "tracker/text/pace_text.h"
#include "tracker/text/progress.h"
#include "tracker/text/usage_error.h"
#include "tracker/version.h"

namespace nightswing::tracker {
namespace {

/// The pace is told by --start and --end, or by --frame-every.
void check_end(const ReplayRequest& request) {
  if (!request.start) {
    throw UsageError("--end tells the pace only with --start: give both, or --frame-every");
  }
  if (request.frame_every_s) {
    throw UsageError(
        "--frame-every tells the pace, and so does --end with --start: leave one of them out");
  }
  if (*request.end > *request.start) return;
  throw UsageError(
      fmt::format("--end {} is not later than --start {}: a night that goes past midnight ends on "
                  "the next day",
                  iso_text(*request.end),
                  iso_text(*request.start)));
}

/// As it is logged and shown.
std::string shown_source(const ReplayRequest& request) {
  return is_stream(request.source) ? without_password(request.source) : request.source;
}

std::unique_ptr<FrameSource> open(const ReplayRequest& request) {
  if (request.average_s && (*request.average_s <= 0.0 || *request.average_s > kMostAverage_s)) {
    throw UsageError(
        fmt::format("--average {} s: give more than 0 and at most {} s, or the swing "
                    "itself is averaged out",
                    *request.average_s,
                    kMostAverage_s));
  }
  SourceOptions options{.frame_every_s = request.frame_every_s, .whole_s = {}};
  if (request.end) {
    check_end(request);
    options.whole_s = seconds_between(*request.start, *request.end);
  }
  if (request.resume && is_stream(request.source)) {
    throw UsageError(
        fmt::format("the stream {} cannot be resumed: what it sent is gone; track into "
                    "a new folder",
                    shown_source(request)));
  }
  if (request.why_stop) options.gives_up = [&request] { return !request.why_stop().empty(); };
  return open_source(request.source, options);
}

RunInfo info_of(const ReplayRequest& request, const SourceFacts& source) {
  const std::string averages = request.average_s ? averages_text(*request.average_s) : "";
  return {.program = program_and_version(),
          .source = shown_source(request),
          .frame_width_px = source.width_px,
          .frame_height_px = source.height_px,
          .rotation_deg = source.rotation_deg,
          .time_from = source.time_from + averages,
          .start = request.start ? request.start : source.start,
          .start_from = request.start ? kStartFromOption : source.start_from};
}

/// throws InputError if the run was begun with something else than what is asked for now.
void check_same_run(const RunFolder& run, const RunInfo& begun, const RunInfo& now) {
  const auto check = [&](const std::string& before, const std::string& after) {
    if (before == after) return;
    throw InputError(fmt::format(
        "{} was begun with '{}', not '{}'; give the same film and options to resume it, or "
        "--run another folder",
        run.path.string(),
        before,
        after));
  };
  const auto picture = [](const RunInfo& info) {
    return fmt::format("{} x {} pixels", info.frame_width_px, info.frame_height_px);
  };
  const auto start = [](const RunInfo& info) {
    return info.start ? "start " + iso_text(*info.start) : "start not known";
  };
  check(begun.program, now.program);
  check(picture(begun), picture(now));
  check(begun.time_from, now.time_from);
  check(start(begun), start(now));
}

/// run.yaml of a new run; of a resumed one it is checked, and its way to name the source kept.
void begin(const ReplayRequest& request, ReplaySummary& summary) {
  if (request.resume && std::filesystem::exists(summary.run.run_yaml())) {
    const RunInfo begun = read_run_info(summary.run);
    check_same_run(summary.run, begun, summary.info);
    summary.info.source = begun.source;
  } else {
    write_run_info(summary.run, summary.info);
  }
}

StandingLines standing_lines(const ReplayRequest& request) {
  return request.resume ? StandingLines::kRepeated : StandingLines::kKept;
}

/// One pass over the frames.
/// Returns who stopped it, or nothing.
std::string track_frames(FrameSource& source,
                         const ReplayRequest& request,
                         NightTracking& night,
                         SwingPace& pace,
                         ReplaySummary& summary) {
  Progress progress("frame", source.declared_frames(), request.quiet);
  FramePump frames(source);
  give_way_to_decoding();
  Frame frame;
  std::string stopped_by;
  while (stopped_by.empty() && frames.next(frame)) {
    const SpotMeasurement spot = night.see(frame);
    pace.see({.utc = {}, .t_s = frame.t_s, .spot = spot});
    summary.frames_by_state.add(spot.state);
    summary.last_t_s = frame.t_s;
    progress.step(++summary.frames);
    if (request.why_stop) stopped_by = request.why_stop();
  }
  night.finish();
  return stopped_by;
}

void check_spot(const ReplayRequest& request, const ReplaySummary& summary) {
  if (summary.frames_by_state.measured() > 0) return;
  throw InputError(
      fmt::format("no spot was found in any of the {} frames of {}; look at {} and check that the "
                  "laser spot is in the picture and brighter than the wall",
                  summary.frames,
                  shown_source(request),
                  summary.run.first_frame().string()));
}

/// Asks for the pace of what cannot be a film in real time.
void check_pace(const SwingPace& pace, const ReplayRequest& request, const ReplaySummary& summary) {
  const auto period_s = pace.impossible_period_s();
  if (!period_s) return;
  const double frame_s = summary.last_t_s / static_cast<double>(std::max(summary.frames - 1, 1L));
  throw InputError(fmt::format(
      "by the clock of {} the spot swings once in {:.1f} s, so it is a time-lapse; remove {} and "
      "say how much real time lies between two frames, such as --frame-every 5s, or when it began "
      "and ended with --start and --end (if it is true, --frame-every {:.3g}ms)",
      shown_source(request),
      *period_s,
      summary.run.path.string(),
      1e3 * frame_s));
}

}  // namespace

ReplaySummary replay(const ReplayRequest& request) {
  const auto source = open(request);
  ReplaySummary summary{
      .run = request.resume ? resume_run_folder(request.run) : create_run_folder(request.run),
      .info = info_of(request, source->facts())};
  const RunLock lock(summary.run);
  begin(request, summary);
  EventWriter events(summary.run.events(),
                     request.resume ? StandingLines::kMixed : StandingLines::kKept);
  events.append({summary.info.start, 0.0, "started", summary.info.source});

  NightTracking night(
      summary.run,
      {.average_s = request.average_s, .standing = standing_lines(request), .scale = request.scale},
      [&](double t_s) { return utc_at(summary.info, t_s); },
      events);
  SwingPace pace;
  const std::string stopped_by = track_frames(*source, request, night, pace, summary);
  if (summary.frames == 0) {
    throw InputError(fmt::format("{} holds no frame that can be read", shown_source(request)));
  }
  const WallReading wall = night.finish_wall();
  summary.calibrated = note_wall(
      wall, summary.run, [&](double t_s) { return utc_at(summary.info, t_s); }, events);
  summary.wall = wall.text;
  summary.warnings = source->warnings();
  for (const std::string& warning : summary.warnings) events.append({{}, {}, "warning", warning});
  events.append({utc_at(summary.info, summary.last_t_s),
                 summary.last_t_s,
                 "ended",
                 fmt::format("{} frames ({}){}",
                             summary.frames,
                             counts_text(summary.frames_by_state),
                             stopped_by.empty() ? "" : ", stopped by " + stopped_by)});
  check_spot(request, summary);
  if (!request.frame_every_s && !request.end && !is_stream(request.source)) {
    check_pace(pace, request, summary);
  }
  return summary;
}

}  // namespace nightswing::tracker
