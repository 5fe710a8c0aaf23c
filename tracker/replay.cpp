#include "tracker/replay.h"

#include <future>

#include <fmt/format.h>

#include "analysis/input_error.h"
#include "tracker/camera_file.h"
#include "tracker/camera_watch.h"
#include "tracker/event_log.h"
#include "tracker/evidence_frames.h"
#include "tracker/frame_pump.h"
#include "tracker/progress.h"
#include "tracker/spot_finder.h"
#include "tracker/track_file.h"
#include "tracker/version.h"
#include "tracker/video_source.h"
#include "tracker/wall_calibration.h"
#include "tracker/wall_file.h"

namespace nightswing::tracker {
namespace {

/// So many frames in a row without a measured spot are an event; single ones only stand in the
/// track.
constexpr int kFramesToEvent = 3;

RunInfo info_of(const ReplayRequest& request, const VideoSource& source) {
  RunInfo info{.program = program_and_version(),
               .source = request.video.string(),
               .frame_width_px = source.width_px(),
               .frame_height_px = source.height_px(),
               .rotation_deg = source.rotation_deg(),
               .time_from = request.frame_every_s ? time_from_steps(*request.frame_every_s)
                                                  : "timestamps of the file",
               .start = request.start ? request.start : source.created(),
               .start_from = "not known: times are relative to the first frame"};
  if (request.start) {
    info.start_from = "option --start";
  } else if (info.start) {
    info.start_from = "creation time in the file";
  }
  return info;
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
  CameraLog(const ReplaySummary& summary, EventWriter& events)
      : start_(summary.info.start), file_(summary.run.camera()), events_(events) {}

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
    std::optional<UtcTime> utc;
    if (start_) utc = after(*start_, moved.t_s);
    events_.append({utc, moved.t_s, "camera moved", moved.detail});
  }

  std::optional<UtcTime> start_;
  CameraWatch watch_;
  CameraWriter file_;
  EventWriter& events_;
};

/// What the scale in view says of the wall; none, with the reason in `text`, if it cannot be read.
struct WallReading {
  std::optional<calibration::WallMap> map;
  std::string text;
};

WallReading read_wall(const cv::Mat& picture, const std::string& name) {
  try {
    WallReading reading{.map = map_from_picture(picture, name), .text = {}};
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
  explicit WallReader(std::string name) : name_(std::move(name)) {}

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
    reading_ = std::async(std::launch::async, read_wall, evidence.first_mean(), name_);
  }

  std::string name_;
  std::future<WallReading> reading_;
};

/// Everything that one pass over the frames writes and counts.
void track_frames(VideoSource& source,
                  const ReplayRequest& request,
                  EvidenceFrames& evidence,
                  WallReader& wall,
                  EventWriter& events,
                  ReplaySummary& summary) {
  TrackWriter track(summary.run.track());
  SpotFinder finder;
  SpotWatch watch;
  CameraLog camera(summary, events);
  Progress progress("frame", source.declared_frames(), request.quiet);
  FramePump frames(source);
  give_way_to_decoding();
  Frame frame;
  while (frames.next(frame)) {
    evidence.see(frame.picture, frame.t_s);
    wall.see(evidence);
    if (camera.see(frame)) finder.camera_moved();
    TrackRow row{.utc = {}, .t_s = frame.t_s, .spot = finder.measure(frame.picture)};
    if (summary.info.start) row.utc = after(*summary.info.start, frame.t_s);
    track.append(row);
    watch.see(row, events);
    camera.note(row.spot, evidence);
    summary.frames_by_state.add(row.spot.state);
    summary.last_t_s = frame.t_s;
    progress.step(++summary.frames);
  }
  evidence.finish();
  camera.finish();
}

void note_wall(const WallReading& reading, EventWriter& events, ReplaySummary& summary) {
  if (reading.map) write_wall_map(summary.run.wall(), *reading.map);
  summary.calibrated = reading.map.has_value();
  summary.wall = reading.text;
  events.append({{}, {}, summary.calibrated ? "calibrated" : "warning", summary.wall});
}

}  // namespace

ReplaySummary replay(const ReplayRequest& request) {
  VideoSource source(request.video, {.frame_every_s = request.frame_every_s});
  ReplaySummary summary{.run = create_run_folder(request.run), .info = info_of(request, source)};
  write_run_info(summary.run, summary.info);
  EventWriter events(summary.run.events());
  events.append({summary.info.start, 0.0, "started", summary.info.source});

  EvidenceFrames evidence(summary.run);
  WallReader wall(summary.run.first_frame().string());
  track_frames(source, request, evidence, wall, events, summary);
  if (summary.frames == 0) {
    throw InputError(fmt::format("{} holds no frame that can be read", request.video.string()));
  }
  note_wall(wall.finish(evidence), events, summary);
  summary.warnings = source.warnings();
  for (const std::string& warning : summary.warnings) events.append({{}, {}, "warning", warning});
  std::optional<UtcTime> end;
  if (summary.info.start) end = after(*summary.info.start, summary.last_t_s);
  events.append({end, summary.last_t_s, "ended", fmt::format("{} frames", summary.frames)});

  if (summary.frames_by_state.measured() == 0) {
    throw InputError(
        fmt::format("no spot was found in any of the {} frames of {}; look at {} and check that "
                    "the laser spot is "
                    "in the picture and brighter than the wall",
                    summary.frames,
                    request.video.string(),
                    summary.run.first_frame().string()));
  }
  return summary;
}

}  // namespace nightswing::tracker
