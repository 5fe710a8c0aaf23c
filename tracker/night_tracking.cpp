#include "tracker/night_tracking.h"

#include <algorithm>
#include <chrono>
#include <exception>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/frames/picture_file.h"
#include "tracker/run/wall_file.h"
#include "tracker/wall/calibration_picture.h"

namespace nightswing::tracker {
namespace {

/// So many frames in a row without a measured spot are an event; single ones only stand in the
/// track.
constexpr int kFramesToEvent = 3;
constexpr double kLongestWait_s = 1800.0;  // between two attempts to read the wall

WallReading read_wall(const cv::Mat& picture,
                      double t_s,
                      const RunFolder& run,
                      const ScaleInView& scale) {
  try {
    WallReading reading{.map = map_from_picture(picture, run.first_frame().string(), scale),
                        .text = {},
                        .command = scale.command,
                        .t_s = t_s};
    reading.text = describe(*reading.map);
    try {
      write_picture(run.calibration_picture(), calibration_picture(picture, *reading.map));
    } catch (const InputError& error) {
      reading.text += fmt::format("; {}", error.what());  // the map is right without it
    }
    return reading;
  } catch (const std::exception& error) {
    // No scale in view is no fault of the track: it can be calibrated later. Nor is anything else
    // that goes wrong here a reason to end a night.
    return {.map = {}, .text = error.what(), .command = scale.command, .t_s = t_s};
  }
}

}  // namespace

void WallReader::see(const EvidenceFrames& evidence) {
  if (!started_ && evidence.has_first_mean()) start(evidence.first_mean(), 0.0);
}

void WallReader::look_again(const Frame& frame) {
  if (!failed_) return;
  if (!again_s_) again_s_ = frame.t_s + wait_s_;
  if (frame.t_s < *again_s_) return;
  again_.add(frame.picture.bgr());
  if (!again_.is_whole()) return;
  start(again_.mean(), *again_s_);
  again_ = {};
  again_s_.reset();
  wait_s_ = std::min(2.0 * wait_s_, kLongestWait_s);
}

std::optional<WallReading> WallReader::take_if_read() {
  if (!reading_.valid() ||
      reading_.wait_for(std::chrono::seconds(0)) != std::future_status::ready) {
    return std::nullopt;
  }
  return taken();
}

std::optional<WallReading> WallReader::take() {
  if (!reading_.valid()) return std::nullopt;
  return taken();
}

WallReading WallReader::finish(const EvidenceFrames& evidence) {
  if (!reading_.valid()) start(evidence.first_mean(), 0.0);
  return taken();
}

WallReading WallReader::taken() {
  WallReading reading = reading_.get();
  failed_ = !reading.map;
  return reading;
}

void WallReader::start(const cv::Mat& mean, double t_s) {
  started_ = true;
  failed_ = false;
  reading_ = std::async(std::launch::async, read_wall, mean, t_s, run_, scale_);
}

bool note_wall(const WallReading& reading,
               const RunFolder& run,
               const UtcOf& utc_of,
               EventWriter& events) {
  const bool stands = std::filesystem::exists(run.wall());
  if (reading.map && !stands) write_wall_map(run.wall(), *reading.map);
  events.append({utc_of(reading.t_s),
                 reading.t_s,
                 reading.map ? "calibrated" : "warning",
                 reading.map ? calibrated_text(reading.text, reading.command) : reading.text});
  return reading.map || stands;
}

void SpotWatch::see(const TrackRow& row, EventWriter& events) {
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

CameraLog::CameraLog(const RunFolder& run,
                     StandingLines standing,
                     UtcOf utc_of,
                     EventWriter& events)
    : utc_of_(std::move(utc_of)), file_(run.camera(), standing), events_(events) {}

void CameraLog::go_on(const EarlierView& earlier) {
  for (const SpotMeasurement& spot : earlier.spots) watch_.note_spot(spot);
  watch_.start(earlier.first);
}

bool CameraLog::see(const Frame& frame) {
  const CameraWatch::Look look = watch_.look(frame.picture, frame.t_s);
  if (look.row) file_.append(*look.row);
  if (look.moved) report(*look.moved);
  const bool moved = look.row && look.row->state == CameraState::kMoved;
  was_knocked_ = was_knocked_ || moved;
  return moved;
}

void CameraLog::note(const SpotMeasurement& spot, const EvidenceFrames& evidence) {
  watch_.note_spot(spot);
  if (!watch_.is_started() && evidence.has_first_mean()) watch_.start(evidence.first_mean());
}

void CameraLog::finish() {
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

void CameraLog::report(const CameraWatch::Event& moved) {
  events_.append({utc_of_(moved.t_s), moved.t_s, "camera moved", moved.detail});
}

TrackLog::TrackLog(const RunFolder& run,
                   StandingLines standing,
                   std::optional<double> average_s,
                   EventWriter& events)
    : file_(run.track(), standing), events_(events) {
  if (average_s) average_.emplace(*average_s);
}

void TrackLog::see(const TrackRow& row) {
  ++frames_;
  if (!average_) {
    write(row);
  } else if (const auto over = average_->add(row)) {
    write(*over);
  }
}

void TrackLog::part() {
  if (!average_) return;
  if (const auto over = average_->finish()) write(*over);
}

void TrackLog::finish() {
  part();
  if (!file_.is_repeating()) return;
  throw InputError(fmt::format(
      "the track goes on after the {} frames of this film; it is another one's", frames_));
}

void TrackLog::write(const TrackRow& row) {
  if (repeating_ && !file_.is_repeating()) {
    events_.append({row.utc, row.t_s, "resumed", fmt::format("after {} lines", lines_)});
  }
  repeating_ = file_.is_repeating();
  file_.append(row);
  ++lines_;
}

NightTracking::NightTracking(const RunFolder& run,
                             const NightTrackingOptions& options,
                             UtcOf utc_of,
                             EventWriter& events)
    : run_(run),
      utc_of_(utc_of),
      events_(events),
      evidence_(run),
      wall_(run, options.scale),
      wall_again_(options.wall_again),
      camera_(run, options.standing, std::move(utc_of), events),
      track_(run, options.standing, options.average_s, events) {}

void NightTracking::go_on(const EarlierView& earlier, double t_s) {
  evidence_.go_on(earlier.first, t_s);
  camera_.go_on(earlier);
}

void NightTracking::keep_evidence(const Frame& frame) {
  try {
    evidence_.see(frame.picture, frame.t_s);
  } catch (const InputError& error) {
    // A picture to look at is not worth the night; but without the first one it has no scale.
    if (!std::filesystem::exists(run_.first_frame())) throw;
    evidence_.stop();
    events_.append({utc_of_(frame.t_s),
                    frame.t_s,
                    "warning",
                    fmt::format("no more pictures are kept: {}", error.what())});
  }
  wall_.see(evidence_);
  if (wall_again_ && !camera_.was_knocked()) wall_.look_again(frame);
}

SpotMeasurement NightTracking::see(const Frame& frame) {
  keep_evidence(frame);
  const std::optional<UtcTime> utc = utc_of_(frame.t_s);
  if (!frame.gap.empty()) events_.append({utc, frame.t_s, "gap", frame.gap});
  if (camera_.see(frame)) {
    finder_.camera_moved();
    track_.part();
  }
  const TrackRow row{.utc = utc, .t_s = frame.t_s, .spot = finder_.measure(frame.picture)};
  track_.see(row);
  watch_.see(row, events_);
  camera_.note(row.spot, evidence_);
  return row.spot;
}

void NightTracking::finish() {
  track_.finish();
  evidence_.finish();
  camera_.finish();
}

bool NightTracking::reserve(long lines) {
  constexpr std::int64_t kBytesOfLine = 120;  // of either file
  const bool of_track = track_.reserve(kBytesOfLine * lines);
  const bool of_camera = camera_.reserve(kBytesOfLine * lines / 4);  // fewer looks than lines
  return of_track && of_camera;
}

void NightTracking::sync() {
  track_.sync();
  camera_.sync();
}

}  // namespace nightswing::tracker
