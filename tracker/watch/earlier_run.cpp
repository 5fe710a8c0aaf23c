#include "tracker/watch/earlier_run.h"

#include <algorithm>
#include <cmath>
#include <string_view>
#include <vector>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "calibration/motion/frame_registration.h"
#include "tracker/frames/mean_picture.h"
#include "tracker/frames/picture_file.h"
#include "tracker/run/track_file.h"
#include "tracker/text/time_text.h"
#include "tracker/wall/camera_watch.h"
#include "tracker/wall/wall_calibration.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kRowsOfFirstPicture = MeanPicture::kPictures;

std::vector<calibration::IgnoredCircle> circles(const std::vector<SpotMeasurement>& spots) {
  std::vector<calibration::IgnoredCircle> ignored;
  for (const SpotMeasurement& spot : spots) {
    if (spot.position) ignored.push_back(hidden_by(*spot.position));
  }
  return ignored;
}

bool has_scale(const cv::Mat& picture) {
  try {
    static_cast<void>(map_from_picture(picture, "the camera's picture"));
    return true;
  } catch (const InputError&) {
    return false;
  }
}

void check_same(const RunFolder& run,
                std::string_view what,
                const std::string& before,
                const std::string& now) {
  if (before == now) return;
  throw InputError(fmt::format(
      "{} was begun with {} '{}', not '{}'; give --run another folder to begin a new run",
      run.path.string(),
      what,
      before,
      now));
}

}  // namespace

std::optional<EarlierRun> read_earlier_run(const RunFolder& run) {
  if (!std::filesystem::exists(run.track())) return std::nullopt;
  if (!std::filesystem::exists(run.watch())) {
    throw InputError(
        fmt::format("{} holds a track that was not made by watching; give --run another folder",
                    run.path.string()));
  }
  const Track track = read_track(run.track());
  if (track.rows.empty()) return std::nullopt;
  EarlierRun earlier{.info = read_run_info(run),
                     .watch = read_watch_file(run.watch()),
                     .last_t_s = track.rows.back().t_s,
                     .last_utc = track.rows.back().utc,
                     .view = {}};
  const cv::Mat first = read_picture(run.first_frame());
  if (first.empty()) return earlier;
  earlier.view = EarlierView{.first = first, .spots = {}};
  for (std::size_t k = 0; k < std::min(kRowsOfFirstPicture, track.rows.size()); ++k) {
    earlier.view->spots.push_back(track.rows[k].spot);
  }
  return earlier;
}

void check_same_request(const RunFolder& run,
                        const EarlierRun& begun,
                        const std::string& every,
                        const std::string& scale) {
  // 1s and 1000ms are the same, and 0.7s and 700ms though their last bits differ.
  const auto in_us = [](const std::string& text) {
    return std::llround(1e6 * parse_duration_s(text).value_or(0.0));
  };
  if (in_us(begun.watch.every) != in_us(every)) {
    check_same(run, "--every", begun.watch.every, every);
  }
  const auto bar = [](const std::string& text) {
    return text.empty() ? std::string("none") : text;
  };
  check_same(run, "--bar", bar(begun.watch.scale), bar(scale));
}

void check_same_camera(const RunFolder& run, const EarlierRun& begun, const CameraFacts& now) {
  const auto size = [](int width, int height) { return fmt::format("{} x {}", width, height); };
  check_same(run, "the camera", begun.watch.camera, now.identity);
  check_same(run,
             "pictures of",
             size(begun.info.frame_width_px, begun.info.frame_height_px),
             size(now.width_px, now.height_px));
}

ViewCheck check_view(const EarlierView& earlier, const cv::Mat& now) {
  if (now.size() != earlier.first.size()) {
    return {ViewVerdict::kOther,
            fmt::format("pictures of {} x {} instead of {} x {}",
                        now.cols,
                        now.rows,
                        earlier.first.cols,
                        earlier.first.rows)};
  }
  calibration::FrameRegistration registration(earlier.first, circles(earlier.spots));
  const auto found = registration.find(now, {}, {});
  if (found.status == calibration::RegistrationStatus::kRegistered) {
    return {ViewVerdict::kSame, "the same view"};
  }
  if (has_scale(now) && has_scale(earlier.first)) {
    return {ViewVerdict::kOther, "a scale, but not at the wall as it was"};
  }
  return {ViewVerdict::kUnknown,
          "too little of the wall to tell whether the camera stands as it did"};
}

std::string check_same_view(const RunFolder& run, const EarlierView& earlier, const cv::Mat& now) {
  const ViewCheck view = check_view(earlier, now);
  if (view.verdict == ViewVerdict::kSame) return {};
  if (view.verdict == ViewVerdict::kUnknown) return "the camera shows " + view.text;
  throw InputError(fmt::format(
      "the camera shows {}: this is not the view of {} (see {}); give --run another folder, or put "
      "the camera back",
      view.text,
      run.path.string(),
      run.first_frame().string()));
}

}  // namespace nightswing::tracker
