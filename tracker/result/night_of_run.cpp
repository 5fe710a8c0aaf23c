#include "tracker/result/night_of_run.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <numbers>
#include <utility>

#include <fmt/format.h>
#include <Eigen/Core>

#include "analysis/quantities/input_error.h"
#include "calibration/map/map_quality.h"
#include "calibration/map/wall_map.h"
#include "tracker/run/event_log.h"
#include "tracker/run/track_file.h"
#include "tracker/run/wall_file.h"

namespace nightswing::tracker {
namespace {

constexpr double kTiltToMention = 1e-3;  // of the length: 2.6 degrees

using calibration::PixelPoint;
using calibration::WallMap;

void check_frame_size(const WallMap& map, const RunFolder& run, const RunInfo& info) {
  const bool stated = map.frame.width_px > 0;
  if (!stated ||
      (map.frame.width_px == info.frame_width_px && map.frame.height_px == info.frame_height_px)) {
    return;
  }
  throw InputError(fmt::format(
      "{}: the map is for pictures of {} x {} pixels, the run has {} x {}; calibrate the run again",
      run.wall().string(),
      map.frame.width_px,
      map.frame.height_px,
      info.frame_width_px,
      info.frame_height_px));
}

/// A line map knows nothing beside the line. How far the path is tilted to it is judged as if the
/// camera looked straight at the wall: the distance from the line in pixels, at the line's scale.
double height_over_line_mm(const WallMap& map, PixelPoint pixel) {
  const double below_px = (pixel.y_px - map.centre.y_px) * map.direction_x -
                          (pixel.x_px - map.centre.x_px) * map.direction_y;
  return -below_px * calibration::mm_per_px(map, pixel);
}

/// The length along a tilted path is that along the ruler over cos(tilt). Without a plane map the
/// tilt is only as good as the view is straight: half of the correction is taken for its relative
/// uncertainty, which is returned.
double judge_tilt(const WallMap& map, double tilt_rad, std::vector<std::string>& warnings) {
  if (map.kind == calibration::MapKind::kPlane) return 0.0;
  const double correction = 1.0 / std::cos(tilt_rad) - 1.0;
  if (correction > kTiltToMention) {
    warnings.push_back(fmt::format(
        "the spot's path is tilted by {:.1f} degrees to the ruler, which makes the shift {:.2f} % "
        "longer; a ruler cannot tell this well, a printed scale can",
        tilt_rad * 180.0 / std::numbers::pi,
        100.0 * correction));
  }
  return 0.5 * correction;
}

SpotPosition moved_to(const SteadyPixel& steady, SpotPosition spot) {
  spot.x_px = steady.pixel.x_px;
  spot.y_px = steady.pixel.y_px;
  spot.u_x_px = std::hypot(spot.u_x_px, steady.u_px);
  spot.u_y_px = std::hypot(spot.u_y_px, steady.u_px);
  return spot;
}

constexpr double kShiftToTell_px = 0.3;

/// The camera's part of reading a night: positions as if it had stood still.
class SteadyTrack {
 public:
  SteadyTrack(const RunFolder& run, const RunInfo& info, std::vector<std::string>& warnings) {
    CameraReading reading = read_camera_correction(run, info);
    correction_ = std::move(reading.correction);
    warnings.insert(warnings.end(), reading.warnings.begin(), reading.warnings.end());
  }

  SpotPosition steady(double t_s, SpotPosition spot) {
    if (!correction_) return spot;
    const SteadyPixel steady = correction_->steady(t_s, {spot.x_px, spot.y_px});
    max_shift_px_ = std::max(
        max_shift_px_, std::hypot(steady.pixel.x_px - spot.x_px, steady.pixel.y_px - spot.y_px));
    max_u_px_ = std::max(max_u_px_, steady.u_px);
    return moved_to(steady, spot);
  }

  void tell(NightOfRun& result) const {
    if (!correction_) return;
    const CameraOfRun camera{.looks = correction_->looks(),
                             .failed = correction_->failed(),
                             .bumps = correction_->bumps(),
                             .max_shift_px = max_shift_px_,
                             .max_u_px = max_u_px_};
    result.camera = camera;
    if (camera.max_shift_px > kShiftToTell_px) {
      result.warnings.push_back(
          fmt::format("the camera did not stand still (knocks: {}, else creep): positions were "
                      "taken back to the first picture by up to {:.2f} px",
                      camera.bumps,
                      camera.max_shift_px));
    }
    if (camera.failed > 0) {
      result.warnings.push_back(
          fmt::format("whether the camera moved could not be seen in {} of {} looks (camera.csv)",
                      camera.failed,
                      camera.looks));
    }
  }

 private:
  std::optional<CameraCorrection> correction_;
  double max_shift_px_ = 0.0;
  double max_u_px_ = 0.0;
};

/// A measured pixel and where it lies along the path.
struct PathPixel {
  double s_mm;
  PixelPoint pixel;
};

/// The pixels in the order along the path.
std::vector<PathPixel> pixels_along(const analysis::SpotPath& path,
                                    const std::vector<analysis::WallSample>& samples,
                                    const std::vector<PixelPoint>& pixels) {
  const auto positions = analysis::along_path(path, samples);
  std::vector<PathPixel> along;
  for (std::size_t i = 0; i < pixels.size(); ++i) along.push_back({positions[i].x_mm, pixels[i]});
  std::ranges::sort(along, {}, &PathPixel::s_mm);
  return along;
}

/// Answers what the map leaves in doubt about the distance of two places on the path.
class MapDoubt {
 public:
  /// other_relative_u  beside that of the map itself, of all lengths along the path alike.
  MapDoubt(WallMap map, std::vector<PathPixel> along, double other_relative_u)
      : map_(std::move(map)), along_(std::move(along)), other_relative_u_(other_relative_u) {
    if (!has_length()) return;
    // Two opinions, the wider one counts: the covariance of the fit, and what leaving out one
    // marker at a time changes, which sees a bent paper that the model does not know.
    jackknife_relative_ = calibration::assess_map(map_, along_.front().pixel, along_.back().pixel)
                              .jackknife_relative.value_or(0.0);
  }

  [[nodiscard]] analysis::WallDoubt operator()(double from_mm, double to_mm) const {
    const PixelPoint from = nearest(from_mm);
    const PixelPoint to = nearest(to_mm);
    if (!has_length() || from == to) return {};
    const auto doubt =
        calibration::path_uncertainty(map_, along_.front().pixel, along_.back().pixel, from, to);
    const double left_out = std::hypot(
        jackknife_relative_, map_.print_relative_u, calibration::sheet_doubt_relative(map_));
    return {.scale_relative_u =
                std::hypot(std::max(doubt.scale_relative_u, left_out), other_relative_u_),
            .nonlinearity_relative_u = doubt.nonlinearity_relative_u,
            .correlation = doubt.correlation};
  }

 private:
  [[nodiscard]] bool has_length() const { return along_.front().s_mm < along_.back().s_mm; }

  [[nodiscard]] PixelPoint nearest(double s_mm) const {
    const auto above = std::ranges::lower_bound(along_, s_mm, {}, &PathPixel::s_mm);
    if (above == along_.begin()) return above->pixel;
    const auto below = above - 1;
    if (above == along_.end()) return below->pixel;
    return s_mm - below->s_mm < above->s_mm - s_mm ? below->pixel : above->pixel;
  }

  WallMap map_;
  std::vector<PathPixel> along_;
  double other_relative_u_;
  double jackknife_relative_ = 0.0;
};

/// Whether the tracking began, or was gone on with, and has not ended since.
bool is_unfinished(const EventLog& log) {
  bool goes_on = false;
  for (const Event& event : log.events) {
    if (event.event == "started" || event.event == "resumed") goes_on = true;
    if (event.event == "ended") goes_on = false;
  }
  return goes_on;
}

/// What the map leaves in doubt, over the whole travel of the spot.
void judge_map(const WallMap& map, const std::vector<PixelPoint>& pixels, NightOfRun& result) {
  const analysis::SpotPath path = analysis::fit_path(result.night.samples);
  std::vector<PathPixel> along = pixels_along(path, result.night.samples, pixels);
  const PixelPoint from = along.front().pixel;
  const PixelPoint to = along.back().pixel;
  const double tilt_relative_u = judge_tilt(map, path.tilt_rad, result.warnings);
  result.night.wall_doubt = MapDoubt(map, std::move(along), tilt_relative_u);
  result.mm_per_px =
      calibration::mm_per_px(map, {0.5 * (from.x_px + to.x_px), 0.5 * (from.y_px + to.y_px)});
  if (calibration::extrapolates(map, from) || calibration::extrapolates(map, to)) {
    result.warnings.push_back(
        "the spot leaves the part of the wall that the reference points cover; there the map is "
        "extrapolated and less certain");
  }
  if (!map.note.empty()) result.warnings.push_back("wall.yaml: " + map.note);
}

}  // namespace

analysis::WallSample sample_on_wall(const WallMap& map, double t_s, const SpotPosition& spot) {
  const PixelPoint pixel{spot.x_px, spot.y_px};
  const calibration::WallPoint wall = calibration::wall_from_pixel(map, pixel);
  const Eigen::Matrix2d slope = calibration::jacobian(map, pixel);
  const bool plane = map.kind == calibration::MapKind::kPlane;
  return {.t_s = t_s,
          .x_mm = wall.x_mm,
          .y_mm = plane ? wall.y_mm : height_over_line_mm(map, pixel),
          .u_x_mm = std::hypot(slope(0, 0) * spot.u_x_px, slope(0, 1) * spot.u_y_px),
          .u_y_mm = std::hypot(slope(1, 0) * spot.u_x_px, slope(1, 1) * spot.u_y_px)};
}

SpotPosition steady_spot(const CameraCorrection& correction, double t_s, SpotPosition spot) {
  return moved_to(correction.steady(t_s, {spot.x_px, spot.y_px}), spot);
}

CameraReading read_camera_correction(const RunFolder& run, const RunInfo& info) {
  auto record = read_camera(run.camera());
  if (!record) return {};
  CameraReading reading{.correction = {}, .warnings = std::move(record->warnings)};
  if (record->rows.empty()) return reading;
  reading.correction.emplace(
      record->rows,
      calibration::FrameSize{.width_px = info.frame_width_px, .height_px = info.frame_height_px});
  return reading;
}

NightOfRun read_night(const RunFolder& run) {
  NightOfRun result;
  result.info = read_run_info(run);
  result.map = read_wall_map(run.wall());
  const WallMap& map = result.map;
  check_frame_size(map, run, result.info);
  Track track = read_track(run.track());
  EventLog log = read_events(run.events());
  result.night.sides = side_changes_in(log);
  result.passed_over = track.warnings;
  result.passed_over.insert(result.passed_over.end(), log.warnings.begin(), log.warnings.end());
  result.warnings = result.passed_over;

  if (is_unfinished(log)) {
    result.warnings.push_back(fmt::format(
        "the track has no end in the log: it is still being made, or was broken off (the "
        "same command{} goes on with it)",
        std::filesystem::exists(run.watch()) ? "" : " with --resume"));
  }
  SteadyTrack camera(run, result.info, result.warnings);
  std::vector<PixelPoint>& pixels = result.pixels;
  long beyond = 0;
  for (const TrackRow& row : track.rows) {
    result.frames_by_state.add(row.spot.state);
    if (!is_measured(row.spot.state)) continue;
    const SpotPosition spot = camera.steady(row.t_s, *row.spot.position);
    const PixelPoint pixel{spot.x_px, spot.y_px};
    if (calibration::beyond_horizon(map, pixel)) {
      ++beyond;
      continue;
    }
    pixels.push_back(pixel);
    result.night.samples.push_back(sample_on_wall(map, row.t_s, spot));
  }
  camera.tell(result);
  if (beyond > 0) {
    result.warnings.push_back(fmt::format(
        "{} positions have no place on the wall by this map and were left out", beyond));
  }
  if (pixels.empty()) {
    throw InputError(fmt::format("{}: no position was measured in this run", run.track().string()));
  }
  judge_map(map, pixels, result);
  return result;
}

}  // namespace nightswing::tracker
