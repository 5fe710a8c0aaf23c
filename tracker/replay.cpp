#include "tracker/replay.h"

#include <algorithm>
#include <future>
#include <utility>

#include <fmt/format.h>

#include "analysis/input_error.h"
#include "tracker/calibration_picture.h"
#include "tracker/camera_file.h"
#include "tracker/camera_watch.h"
#include "tracker/event_log.h"
#include "tracker/evidence_frames.h"
#include "tracker/frame_pump.h"
#include "tracker/frame_source.h"
#include "tracker/picture_file.h"
#include "tracker/progress.h"
#include "tracker/spot_finder.h"
#include "tracker/swing_pace.h"
#include "tracker/track_average.h"
#include "tracker/track_file.h"
#include "tracker/version.h"
#include "tracker/wall_calibration.h"
#include "tracker/wall_file.h"

namespace nightswing::tracker {
namespace {

/// So many frames in a row without a measured spot are an event; single ones only stand in the
/// track.
constexpr int kFramesToEvent = 3;

constexpr double kMostAverage_s = 10.0;  // a swing of 600 s is then flattened by 5e-4

std::unique_ptr<FrameSource> open(const ReplayRequest& request) {
  if (request.average_s && (*request.average_s <= 0.0 || *request.average_s > kMostAverage_s)) {
    throw InputError(
        fmt::format("--average {} s: give more than 0 and at most {} s, or the swing "
                    "itself is averaged out",
                    *request.average_s,
                    kMostAverage_s));
  }
  SourceOptions options{.frame_every_s = request.frame_every_s, .whole_s = {}};
  if (request.end) {
    if (!request.start || request.frame_every_s || *request.end <= *request.start) {
      throw InputError("--end belongs to an earlier --start and replaces --frame-every");
    }
    options.whole_s = seconds_between(*request.start, *request.end);
  }
  if (request.resume && is_stream(request.source)) {
    throw InputError(
        fmt::format("the stream {} cannot be resumed: what it sent is gone; track into "
                    "a new folder",
                    request.source));
  }
  return open_source(request.source, options);
}

RunInfo info_of(const ReplayRequest& request, const SourceFacts& source) {
  const std::string averages =
      request.average_s ? fmt::format(", averages over {} s", *request.average_s) : "";
  return {.program = program_and_version(),
          .source = request.source,
          .frame_width_px = source.width_px,
          .frame_height_px = source.height_px,
          .rotation_deg = source.rotation_deg,
          .time_from = source.time_from + averages,
          .start = request.start ? request.start : source.start,
          .start_from = request.start ? "option --start" : source.start_from};
}

std::optional<UtcTime> time_of(const RunInfo& info, double t_s) {
  if (!info.start) return std::nullopt;
  return after(*info.start, t_s);
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

/// Writes to the log when the spot goes missing for several frames and when it comes back.
class SpotWatch {
 public:
  void see(const TrackRow& row, EventWriter& events) {
    if (is_measured(row.spot.state)) {
      if (reported_) {
        events.append({row.utc, row.t_s, "spot found", fmt::format("after {} frames", missing_)});
      }
      missing_ = 0;
      reported_ = false;
      return;
    }
    if (missing_ == 0) since_ = row;
    if (++missing_ == kFramesToEvent) {
      reported_ = true;
      events.append({since_.utc,
                     since_.t_s,
                     "spot lost",
                     fmt::format("state {}", word_for(since_.spot.state))});
    }
  }

 private:
  long missing_ = 0;
  bool reported_ = false;
  TrackRow since_;
};

/// Keeps camera.csv and the knocks in the log; says whether the camera was knocked in this frame.
class CameraLog {
 public:
  CameraLog(const ReplaySummary& summary, StandingLines standing, EventWriter& events)
      : info_(summary.info), file_(summary.run.camera(), standing), events_(events) {}

  bool see(const Frame& frame) {
    const CameraWatch::Look look = watch_.look(frame.picture, frame.t_s);
    if (look.row) file_.append(*look.row);
    if (look.moved) report(*look.moved);
    return look.row && look.row->state == CameraState::kMoved;
  }

  void note(const SpotMeasurement& spot, const EvidenceFrames& evidence) {
    watch_.note_spot(spot);
    if (!watch_.is_started() && evidence.has_first_mean()) watch_.start(evidence.first_mean());
  }

  void finish() {
    if (const auto moved = watch_.finish()) report(*moved);
    if (watch_.failed() == 0) return;
    events_.append({{},
                    {},
                    "warning",
                    fmt::format("in {} of {} looks it could not be seen whether the camera had "
                                "moved: too little of the wall's texture in view",
                                watch_.failed(),
                                watch_.looks())});
  }

 private:
  void report(const CameraWatch::Event& moved) {
    events_.append({time_of(info_, moved.t_s), moved.t_s, "camera moved", moved.detail});
  }

  const RunInfo& info_;
  CameraWatch watch_;
  CameraWriter file_;
  EventWriter& events_;
};

/// What the scale in view says of the wall; none, with the reason in `text`, if it cannot be read.
struct WallReading {
  std::optional<calibration::WallMap> map;
  std::string text;
};

WallReading read_wall(const cv::Mat& picture, const RunFolder& run, const ScaleInView& scale) {
  try {
    WallReading reading{.map = map_from_picture(picture, run.first_frame().string(), scale),
                        .text = {}};
    write_picture(run.calibration_picture(), calibration_picture(picture, *reading.map));
    reading.text = describe(*reading.map);
    return reading;
  } catch (const InputError& error) {
    // No scale in view is no fault of the track: it can be calibrated later.
    return {.map = {}, .text = error.what()};
  }
}

/// Reads the wall on a thread of its own, beginning as soon as the picture for it is there.
class WallReader {
 public:
  WallReader(RunFolder run, ScaleInView scale) : run_(std::move(run)), scale_(std::move(scale)) {}

  void see(const EvidenceFrames& evidence) {
    if (!reading_.valid() && evidence.has_first_mean()) start(evidence);
  }

  /// Waits for the reading. A film shorter than the usual mean is read from what it holds.
  WallReading finish(const EvidenceFrames& evidence) {
    if (!reading_.valid()) start(evidence);
    return reading_.get();
  }

 private:
  void start(const EvidenceFrames& evidence) {
    reading_ = std::async(std::launch::async, read_wall, evidence.first_mean(), run_, scale_);
  }

  RunFolder run_;
  ScaleInView scale_;
  std::future<WallReading> reading_;
};

StandingLines standing_lines(const ReplayRequest& request) {
  return request.resume ? StandingLines::kRepeated : StandingLines::kKept;
}

/// track.csv: a line a frame, or one for each window of time.
class TrackLog {
 public:
  TrackLog(const ReplayRequest& request, const ReplaySummary& summary, EventWriter& events)
      : file_(summary.run.track(), standing_lines(request)), events_(events) {
    if (request.average_s) average_.emplace(*request.average_s);
  }

  void see(const TrackRow& row) {
    ++frames_;
    if (!average_) {
      write(row);
    } else if (const auto over = average_->add(row)) {
      write(*over);
    }
  }

  /// Frames before and after do not belong together.
  void part() {
    if (!average_) return;
    if (const auto over = average_->finish()) write(*over);
  }

  /// throws InputError if the file holds more than this film gives.
  void finish() {
    part();
    if (!file_.is_repeating()) return;
    throw InputError(fmt::format(
        "the track goes on after the {} frames of this film; it is another one's", frames_));
  }

 private:
  void write(const TrackRow& row) {
    if (repeating_ && !file_.is_repeating()) {
      events_.append({row.utc, row.t_s, "resumed", fmt::format("after {} lines", lines_)});
    }
    repeating_ = file_.is_repeating();
    file_.append(row);
    ++lines_;
  }

  TrackWriter file_;
  EventWriter& events_;
  std::optional<TrackAverage> average_;
  bool repeating_ = false;  // the last line stood in the file already
  long frames_ = 0;
  long lines_ = 0;
};

/// Everything that one pass over the frames writes and counts.
void track_frames(FrameSource& source,
                  const ReplayRequest& request,
                  EvidenceFrames& evidence,
                  WallReader& wall,
                  EventWriter& events,
                  SwingPace& pace,
                  ReplaySummary& summary) {
  TrackLog track(request, summary, events);
  SpotFinder finder;
  SpotWatch watch;
  CameraLog camera(summary, standing_lines(request), events);
  Progress progress("frame", source.declared_frames(), request.quiet);
  FramePump frames(source);
  give_way_to_decoding();
  Frame frame;
  while (frames.next(frame)) {
    evidence.see(frame.picture, frame.t_s);
    wall.see(evidence);
    const std::optional<UtcTime> utc = time_of(summary.info, frame.t_s);
    if (!frame.gap.empty()) events.append({utc, frame.t_s, "gap", frame.gap});
    if (camera.see(frame)) {
      finder.camera_moved();
      track.part();
    }
    const TrackRow row{.utc = utc, .t_s = frame.t_s, .spot = finder.measure(frame.picture)};
    track.see(row);
    watch.see(row, events);
    pace.see(row);
    camera.note(row.spot, evidence);
    summary.frames_by_state.add(row.spot.state);
    summary.last_t_s = frame.t_s;
    progress.step(++summary.frames);
  }
  track.finish();
  evidence.finish();
  camera.finish();
}

void note_wall(const WallReading& reading, EventWriter& events, ReplaySummary& summary) {
  // One that stands there is of an earlier try, the same, or was calibrated by hand since.
  const bool stands = std::filesystem::exists(summary.run.wall());
  if (reading.map && !stands) write_wall_map(summary.run.wall(), *reading.map);
  summary.calibrated = reading.map || stands;
  summary.wall = reading.text;
  events.append({{}, {}, reading.map ? "calibrated" : "warning", summary.wall});
}

void check_spot(const ReplayRequest& request, const ReplaySummary& summary) {
  if (summary.frames_by_state.measured() > 0) return;
  throw InputError(
      fmt::format("no spot was found in any of the {} frames of {}; look at {} and check that the "
                  "laser spot is in the picture and brighter than the wall",
                  summary.frames,
                  request.source,
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
      request.source,
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

  EvidenceFrames evidence(summary.run);
  WallReader wall(summary.run, request.scale);
  SwingPace pace;
  track_frames(*source, request, evidence, wall, events, pace, summary);
  if (summary.frames == 0) {
    throw InputError(fmt::format("{} holds no frame that can be read", request.source));
  }
  note_wall(wall.finish(evidence), events, summary);
  summary.warnings = source->warnings();
  for (const std::string& warning : summary.warnings) events.append({{}, {}, "warning", warning});
  events.append({time_of(summary.info, summary.last_t_s),
                 summary.last_t_s,
                 "ended",
                 fmt::format("{} frames", summary.frames)});
  check_spot(request, summary);
  if (!request.frame_every_s && !request.end && !is_stream(request.source)) {
    check_pace(pace, request, summary);
  }
  return summary;
}

}  // namespace nightswing::tracker
