#pragma once

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <filesystem>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

#include "analysis/night/running_estimate.h"
#include "analysis/positions/spot_path.h"
#include "calibration/map/wall_map.h"
#include "tracker/run/file_mark.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/track_file.h"
#include "tracker/wall/camera_correction.h"
#include "tracker/watch/result_so_far.h"

namespace nightswing::tracker {

/// Reads a run folder as it grows and keeps the running estimate up to date: new lines of
/// track.csv, marks in events.csv whoever wrote them, the wall as soon as there is one, the
/// apparatus if an analysis has left it there (it says how the sides swing), the camera's motion.
/// What changes the positions that are in already (another map, a knock of the camera, a withdrawn
/// mark) has everything read again; so does another apparatus, and, whenever the night has grown by
/// a quarter, what changes slowly (direction of the path, creep of the camera). Between these, new
/// positions are corrected by what is known of the camera then.
class RunReader {
 public:
  RunReader(RunFolder run, double target_relative);

  /// Reads what is new, fits if that is due (about a second after twelve hours). Files that are not
  /// there yet are waited for; damaged lines are passed over, the analysis names them.
  /// throws InputError for files of another kind.
  [[nodiscard]] ResultSoFar look();

 private:
  void look_at_wall();
  void look_at_apparatus();
  void look_at_camera();
  void look_at_marks();
  void read_again();
  void fit_path();
  void feed_new();
  [[nodiscard]] std::optional<analysis::WallSample> on_wall(const TrackRow& row) const;

  RunFolder run_;
  analysis::RunningOptions options_;
  analysis::RunningEstimate estimate_;
  TrackTail tail_;
  std::optional<FileMark> wall_mark_{};
  std::optional<FileMark> apparatus_mark_{};
  std::optional<FileMark> camera_mark_{};
  std::optional<FileMark> events_mark_{};
  std::optional<calibration::WallMap> map_{};
  std::optional<CameraCorrection> correction_{};
  std::vector<analysis::SideChange> marks_{};
  analysis::SpotPath path_{};
  bool stale_ = false;  // the estimate is of other positions or marks than stand in the files
  bool has_rows_ = false;
  double last_t_s_ = 0.0;
  double next_camera_s_ = 0.0;
  double next_again_s_ = 0.0;
};

/// A RunReader in a thread of its own, so that a fit does not keep the camera waiting.
class ResultFollower {
 public:
  ResultFollower(const RunFolder& run,
                 double target_relative,
                 std::chrono::milliseconds every = std::chrono::milliseconds(1000));
  /// Waits for a fit that is under way.
  ~ResultFollower();
  ResultFollower(const ResultFollower&) = delete;
  ResultFollower& operator=(const ResultFollower&) = delete;

  /// As of the last look. What keeps it from looking stands in the sentence.
  [[nodiscard]] ResultSoFar latest() const;

 private:
  void run();

  RunReader reader_;
  std::chrono::milliseconds every_;
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  bool stop_ = false;
  ResultSoFar latest_;
  std::thread thread_;  // last: it uses all of the above
};

}  // namespace nightswing::tracker
