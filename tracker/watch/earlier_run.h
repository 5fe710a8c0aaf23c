#pragma once

#include <optional>
#include <string>

#include <opencv2/core.hpp>

#include "tracker/camera/camera.h"
#include "tracker/night_tracking.h"
#include "tracker/run/run_folder.h"
#include "tracker/text/time_text.h"
#include "tracker/watch/watch_file.h"

namespace nightswing::tracker {

/// A watch that was interrupted, as it stands on the disk.
struct EarlierRun {
  RunInfo info;
  WatchFile watch;
  double last_t_s = 0.0;
  std::optional<UtcTime> last_utc;
  std::optional<EarlierView> view;  ///< none if it was interrupted before first.png was written
};

/// What stands in the folder; nothing if no line was written yet.
/// throws InputError if a track stands there that no watch has made, or a file cannot be read.
[[nodiscard]] std::optional<EarlierRun> read_earlier_run(const RunFolder& run);

/// throws InputError unless the run was begun with the same pace and scale as are asked for now.
void check_same_request(const RunFolder& run,
                        const EarlierRun& begun,
                        const std::string& every,
                        const std::string& scale);

/// throws InputError unless the run was begun with this camera and its size of pictures.
void check_same_camera(const RunFolder& run, const EarlierRun& begun, const CameraFacts& now);

/// Whether a camera shows the view that a run was begun with.
enum class ViewVerdict {
  kSame,
  kOther,    ///< surely another one
  kUnknown,  ///< too little can be seen to tell
};

struct ViewCheck {
  ViewVerdict verdict;
  std::string text;  ///< what was seen, a clause
};

/// now  mean of some pictures
/// The wall's texture is registered to that of the run's first picture. Where that fails, the view
/// is another one only if a scale can be read in both: nobody shall lose a night because the light
/// has changed.
[[nodiscard]] ViewCheck check_view(const EarlierView& earlier, const cv::Mat& now);

/// The same for a run that is to go on: throws InputError if it is another view; returns what is in
/// doubt, a clause, or nothing.
[[nodiscard]] std::string check_same_view(const RunFolder& run,
                                          const EarlierView& earlier,
                                          const cv::Mat& now);

}  // namespace nightswing::tracker
