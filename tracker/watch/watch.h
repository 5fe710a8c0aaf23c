#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>

#include <opencv2/core.hpp>

#include "tracker/camera/frame_grabber.h"
#include "tracker/run/frame_counts.h"
#include "tracker/run/run_folder.h"
#include "tracker/spot/spot_measurement.h"
#include "tracker/wall/wall_calibration.h"
#include "tracker/watch/result_so_far.h"

namespace nightswing::tracker {

struct WatchRequest {
  std::filesystem::path run;
  double every_s = 1.0;              ///< one line of the track for so much time
  std::string every = "1s";          ///< the same as the user wrote it
  std::optional<double> for_s{};     ///< ends so long after the first picture of the run
  std::optional<UtcTime> end_utc{};  ///< ends at that time of the wall clock
  std::string end{};                 ///< how the user wrote either
  ScaleInView scale{};
  std::string scale_text{};                    ///< what the user said of the scale
  double target_relative = 0.01;               ///< u of the shift that is wanted, over the shift
  std::optional<std::uint64_t> video_bytes{};  ///< keep a video of the strip, at most so large
  FrameGrabberOptions grabber{};
  std::chrono::milliseconds first_picture_patience{20'000};
  std::chrono::milliseconds sync_every{1000};  ///< what was written is on the disk after so long
};

/// What a watch sees at the moment.
struct WatchStatus {
  double t_s = 0.0;          ///< now
  double picture_t_s = 0.0;  ///< when the last picture was taken, as in the track
  std::optional<UtcTime> utc{};
  SpotMeasurement spot{SpotState::kLost, std::nullopt};
  long pictures = 0;
  std::string camera_fault{};  ///< why there are no pictures; empty if there are
  std::uint64_t free_bytes = 0;
  ResultSoFar so_far{};
};

struct WatchHooks {
  /// Asked several times a second, also while the camera is being opened: why to end now, in words;
  /// empty to go on.
  std::function<std::string()> why_stop;
  /// After each picture, and each second without one; the picture is empty then.
  std::function<void(const WatchStatus& status, const cv::Mat& picture)> see;
  /// After each line of the log.
  std::function<void(const std::string& event, const std::string& detail)> tell;
};

struct WatchSummary {
  RunFolder run;
  double last_t_s = 0.0;   ///< of the last picture
  double ended_t_s = 0.0;  ///< when it ended
  long pictures = 0;
  FrameCounts pictures_by_state{};
  std::string ended{};    ///< why
  bool was_over = false;  ///< before it was gone on with
  bool calibrated = false;
};

/// Tracks the spot of a live camera into a run folder, until the end that was asked for. The same
/// request goes on with a run that was interrupted, by whatever; the gap stands in the log.
///
/// The track has priority over everything: room for it is set aside on the disk, a camera that is
/// lost is waited for, a disk that gets full stops the video first and the evidence frames next.
/// Time is that of the steady clock from the first picture on; over a restart of the computer it is
/// carried by the wall clock.
///
///   open   opens the camera (camera_opener); must outlive the call
///   clock  must outlive the call
/// throws InputError if the camera cannot be opened at the beginning, the run is another one's
///        (another camera, picture size, pace or scale, another view), another program is tracking
///        into it, or the disk takes no more. What was written stays.
[[nodiscard]] WatchSummary watch(const WatchRequest& request,
                                 const OpenCamera& open,
                                 const Clock& clock,
                                 const WatchHooks& hooks);

}  // namespace nightswing::tracker
