#pragma once

#include <filesystem>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "calibration/map/wall_map.h"
#include "tracker/camera/clock.h"
#include "tracker/page/live_page.h"
#include "tracker/page/newest_picture.h"
#include "tracker/page/thinned_track.h"
#include "tracker/run/file_mark.h"
#include "tracker/run/run_folder.h"
#include "tracker/wall/camera_correction.h"
#include "tracker/watch/watch.h"

namespace nightswing::tracker {

/// The live page of a watch: how it goes, the newest picture, the night until now, the running
/// estimate, the log; and where the sources are can be noted. Log and wall are read from the run
/// folder, by the page's thread, when somebody looks.
///
/// The thread that tracks calls `see`; it never waits for the page: if the page's thread is just
/// taking what it was given (pointers and at most 4096 points), the next picture brings it. Only
/// its first call writes, the token to the run folder that is there by then.
class WatchPage {
 public:
  ///   run    need not be there yet; the night is gone on with if it is
  ///   clock  that of the watch; must outlive this
  /// throws InputError if nothing can be served at the address.
  WatchPage(const PageAddress& address,
            const std::filesystem::path& run,
            const Clock& clock,
            const std::string& cautions);

  /// After each picture, and now and then without one; the picture is empty then.
  void see(const WatchStatus& status, const cv::Mat& picture);

  [[nodiscard]] const LivePage& page() const { return page_; }

 private:
  /// What the tracking thread hands over.
  struct Seen {
    std::optional<WatchStatus> status{};
    double status_steady_s = 0.0;
    SeenPicture picture{};
  };

  // in the page's thread
  [[nodiscard]] Seen seen();
  [[nodiscard]] PageState state();
  [[nodiscard]] std::string track(const std::string& held_edition, std::optional<double> since_s);
  [[nodiscard]] std::string mark(analysis::Side side);
  [[nodiscard]] std::vector<PageValue> values_of(const Seen& seen) const;
  void read_run();
  void read_wall();
  void read_camera();
  /// Takes what camera.csv says now, if it makes a difference to the eye.
  void take(std::optional<CameraCorrection> correction);
  /// Where a spot of the picture at t_s stands in the first picture.
  [[nodiscard]] calibration::PixelPoint steady(double t_s, calibration::PixelPoint pixel) const;
  /// The same in mm on the scale, or in px without one; nothing beyond the map's horizon.
  [[nodiscard]] std::optional<double> place(double t_s, calibration::PixelPoint pixel) const;
  [[nodiscard]] ThinnedTrack track_so_far();

  RunFolder run_;
  const Clock& clock_;

  // of the page's thread
  NewestPicture newest_;
  EventLog log_{};
  std::optional<FileMark> log_mark_{};
  std::string fault_{};  // why the log or the wall cannot be read
  std::optional<calibration::WallMap> map_{};
  std::optional<FileMark> map_mark_{};
  std::optional<CameraCorrection> correction_{};
  std::vector<std::string> camera_faults_{};  // what of camera.csv cannot be read
  std::optional<FileMark> camera_mark_{};
  double next_camera_s_ = 0.0;
  int edition_ = 0;  // grows with whatever changes what is shown of the past

  // of the tracking thread
  /// So that a watch that is gone on with has its page at the same address.
  void keep_token();
  bool is_token_kept_ = false;
  std::vector<TrackPoint> waiting_{};
  long pictures_ = 0;

  // shared
  std::mutex mutex_;
  Seen shared_{};
  ThinnedTrack track_{};

  LivePage page_;  // last: its thread uses all of the above
};

}  // namespace nightswing::tracker
