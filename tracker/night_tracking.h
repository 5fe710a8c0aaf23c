#pragma once

#include <cstdint>
#include <functional>
#include <future>
#include <optional>
#include <string>

#include "tracker/frames/frame_source.h"
#include "tracker/frames/mean_picture.h"
#include "tracker/run/camera_file.h"
#include "tracker/run/event_log.h"
#include "tracker/run/evidence_frames.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/track_average.h"
#include "tracker/run/track_file.h"
#include "tracker/spot/spot_finder.h"
#include "tracker/wall/camera_watch.h"
#include "tracker/wall/wall_calibration.h"

namespace nightswing::tracker {

/// The longest window of an average: a swing of 600 s is then flattened by 5e-4.
constexpr double kMostAverage_s = 10.0;

/// Wall clock of a moment of the run; nothing if it is not known.
using UtcOf = std::function<std::optional<UtcTime>(double t_s)>;

/// What the scale in view says of the wall; none, with the reason in `text`, if it cannot be read.
struct WallReading {
  std::optional<calibration::WallMap> map;
  std::string text;
  std::string command{};  ///< that said something of the scale
  double t_s = 0.0;       ///< of the first frame of the picture
};

/// Reads the wall on a thread of its own, beginning as soon as the picture for it is there; and
/// again, if it could not be read, from later pictures, longer and longer after each other.
class WallReader {
 public:
  WallReader(RunFolder run, ScaleInView scale) : run_(std::move(run)), scale_(std::move(scale)) {}

  void see(const EvidenceFrames& evidence);
  /// A later frame, of a camera that stands as it did.
  void look_again(const Frame& frame);

  /// The reading, once, as soon as it is there.
  [[nodiscard]] std::optional<WallReading> take_if_read();
  /// The same, and waits if it is being read.
  [[nodiscard]] std::optional<WallReading> take();

  /// Waits for the reading. A film shorter than the usual mean is read from what it holds.
  [[nodiscard]] WallReading finish(const EvidenceFrames& evidence);

 private:
  void start(const cv::Mat& mean, double t_s);
  [[nodiscard]] WallReading taken();

  RunFolder run_;
  ScaleInView scale_;
  std::future<WallReading> reading_;
  bool started_ = false;
  bool failed_ = false;  // and nothing is being read
  std::optional<double> again_s_{};
  double wait_s_ = 60.0;
  MeanPicture again_{};
};

/// Puts the reading into the run: wall.yaml, unless one stands there (an earlier one, or calibrated
/// by hand since), and a line of the log. Returns whether the run has a map.
bool note_wall(const WallReading& reading,
               const RunFolder& run,
               const UtcOf& utc_of,
               EventWriter& events);

/// What a run that is gone on with has seen: the picture that its camera.csv refers to, and the
/// spot in it.
struct EarlierView {
  cv::Mat first;
  std::vector<SpotMeasurement> spots;
};

/// Writes to the log when the spot goes missing for several frames and when it comes back.
class SpotWatch {
 public:
  void see(const TrackRow& row, EventWriter& events);

 private:
  long missing_ = 0;
  bool reported_ = false;
  TrackRow since_;
};

/// Keeps camera.csv and the knocks in the log; says whether the camera was knocked in this frame.
class CameraLog {
 public:
  CameraLog(const RunFolder& run, StandingLines standing, UtcOf utc_of, EventWriter& events);

  void go_on(const EarlierView& earlier);
  [[nodiscard]] bool see(const Frame& frame);
  void note(const SpotMeasurement& spot, const EvidenceFrames& evidence);
  void finish();
  /// Whether it was knocked since the first picture, as far as could be seen.
  [[nodiscard]] bool was_knocked() const { return was_knocked_; }
  void sync() { file_.sync(); }
  [[nodiscard]] bool reserve(std::int64_t bytes) { return file_.reserve(bytes); }

 private:
  void report(const CameraWatch::Event& moved);

  UtcOf utc_of_;
  CameraWatch watch_;
  CameraWriter file_;
  EventWriter& events_;
  bool was_knocked_ = false;
};

/// track.csv: a line a frame, or one for each window of time.
class TrackLog {
 public:
  TrackLog(const RunFolder& run,
           StandingLines standing,
           std::optional<double> average_s,
           EventWriter& events);

  void see(const TrackRow& row);
  /// Frames before and after do not belong together.
  void part();
  /// throws InputError if the file holds more than these frames give.
  void finish();
  void sync() { file_.sync(); }
  [[nodiscard]] bool reserve(std::int64_t bytes) { return file_.reserve(bytes); }
  [[nodiscard]] const std::string& torn_line() const { return file_.torn_line(); }

 private:
  void write(const TrackRow& row);

  TrackWriter file_;
  EventWriter& events_;
  std::optional<TrackAverage> average_;
  bool repeating_ = false;  // the last line stood in the file already
  long frames_ = 0;
  long lines_ = 0;
};

struct NightTrackingOptions {
  std::optional<double> average_s{};  ///< one line for each such window; nothing: one a frame
  StandingLines standing = StandingLines::kKept;  ///< of track.csv and camera.csv
  ScaleInView scale{};                            ///< what is known of the scale on the wall
  bool wall_again = false;  ///< read it later if the first pictures show no scale; not repeatable
};

/// What is done with every frame of a night, whether it comes from a film or from a camera: finds
/// the spot, watches the camera, has the wall read, and writes track.csv, camera.csv, the events
/// that come of it and the evidence frames.
class NightTracking {
 public:
  /// `events` must outlive this.
  NightTracking(const RunFolder& run,
                const NightTrackingOptions& options,
                UtcOf utc_of,
                EventWriter& events);

  /// Goes on with a run by a new program; `t_s` is where it goes on. Before the first frame.
  void go_on(const EarlierView& earlier, double t_s);

  /// The next frame. throws InputError if a file cannot be written.
  SpotMeasurement see(const Frame& frame);

  /// Something parts the frames before and after: they share no line.
  void part() { track_.part(); }

  /// What became of the wall, once, as soon as it is known.
  [[nodiscard]] std::optional<WallReading> take_wall() { return wall_.take_if_read(); }
  /// The same, and waits if it is being read.
  [[nodiscard]] std::optional<WallReading> await_wall() { return wall_.take(); }

  /// Writes what is left; waits for nothing.
  void finish();

  /// Waits for the wall's reading.
  [[nodiscard]] WallReading finish_wall() { return wall_.finish(evidence_); }

  [[nodiscard]] EvidenceFrames& evidence() { return evidence_; }
  [[nodiscard]] const std::string& torn_line() const { return track_.torn_line(); }
  /// Sees to it that what was written is on the disk; may be called from another thread.
  /// throws InputError if the disk refuses.
  void sync();
  /// Sets room on the disk aside for so many lines more. throws InputError if there is not so much.
  [[nodiscard]] bool reserve(long lines);

 private:
  void keep_evidence(const Frame& frame);

  RunFolder run_;
  UtcOf utc_of_;
  EventWriter& events_;
  EvidenceFrames evidence_;
  WallReader wall_;
  bool wall_again_;
  SpotFinder finder_;
  SpotWatch watch_;
  CameraLog camera_;
  TrackLog track_;
};

}  // namespace nightswing::tracker
