#include "calibration/scale/scale_reader.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>

#include <opencv2/imgproc.hpp>

#include "calibration/map/plane_notes.h"
#include "calibration/scale/marker_agreement.h"
#include "calibration/scale/printed_scale.h"

namespace nightswing::calibration {
namespace {

// How far corners may lie off the wall before a map would be a guess: a sheet that stands off by 10
// mm in its middle, seen from 330 mm, leaves 0.4 mm.
constexpr double kNoWall_mm = 0.35;
constexpr const char* kNotFlat =
    "the markers in the picture do not lie on one flat wall as the scale was printed, or cannot be "
    "seen well enough; tape it flat, with its pages in order and joined without a gap, and take a "
    "sharp picture, not through a fisheye";

cv::Mat gray_of(const cv::Mat& picture) {
  if (picture.type() == CV_8UC1) return picture;
  if (picture.type() != CV_8UC3) {
    throw std::invalid_argument("the picture of a scale must be 8-bit gray or BGR");
  }
  cv::Mat gray;
  cv::cvtColor(picture, gray, cv::COLOR_BGR2GRAY);
  return gray;
}

/// The corners of the markers' fields of bits as reference points.
/// Why not the outer corners: there the uncertain tilts of the edges make most of the error. It
/// cancels over the marker, so that four corners taken as independent, as the fit does, would claim
/// too much uncertainty for the whole. Let offset and tilt of an edge be uncertain by s and by
/// sqrt(3.5) s per half side. A point at the share f of the way from the centre to a corner then
/// has the variance s^2 (1 + f^2) (1 + 3.5 f^2) / 2, the centre itself s^2 / 2. The mean of four
/// such points, taken as independent, has the variance of the centre at f = 0.7; the field has 2/3.
/// How: they are placed by what the outer corners say against the common map, averaged by nearness.
/// The perspective of one marker alone would be exact too, but is so uncertain that it doubles the
/// error (both measured on rendered views).
/// Why not the ticks too: DEVELOPERS.md, "The printed scale".
std::vector<ReferencePoint> reference_points(const WallMap& map) {
  constexpr double kNear = (1.0 + kFieldShare) / 2.0;
  constexpr double kFar = (1.0 - kFieldShare) / 2.0;
  std::vector<ReferencePoint> points;
  for (std::size_t i = 0; i < map.references.size(); ++i) {
    const std::size_t k = i % 4;
    const FittedReference* marker = &map.references[i - k];
    ReferencePoint point = marker[k].point;
    point.wall = field_corners(point.marker)[k];
    const auto averaged = [&](double FittedReference::*residual) {
      return kNear * kNear * (marker[k].*residual) +
             kNear * kFar * (marker[(k + 1) % 4].*residual + marker[(k + 3) % 4].*residual) +
             kFar * kFar * (marker[(k + 2) % 4].*residual);
    };
    const PixelPoint expected = pixel_from_wall(map, hung_place(map, point));
    point.pixel = {expected.x_px + averaged(&FittedReference::residual_x_px),
                   expected.y_px + averaged(&FittedReference::residual_y_px)};
    points.push_back(point);
  }
  return points;
}

/// Ids that occur more than once.
std::vector<int> repeated(const std::vector<int>& ids) {
  std::vector<int> result;
  for (std::size_t i = 1; i < ids.size(); ++i) {
    const bool known = !result.empty() && result.back() == ids[i];
    if (ids[i] == ids[i - 1] && !known) result.push_back(ids[i]);
  }
  return result;
}

std::string listed(const std::vector<int>& ids) {
  std::string text;
  for (const int id : ids) text += (text.empty() ? "" : ", ") + std::to_string(id);
  return text;
}

void say(ScaleReading& reading, ScaleStatus status, std::string message) {
  reading.status = status;
  reading.message = std::move(message);
}

void say_read(ScaleReading& reading, std::size_t used) {
  std::string text = std::to_string(used) + " markers of the scale were read";
  if (!reading.ids_rejected.empty()) {
    text += reading.ids_rejected.size() == 1
                ? ", marker " + listed(reading.ids_rejected) + " was"
                : ", markers " + listed(reading.ids_rejected) + " were";
    text += " left out (covered, too small or blurred, or off the wall of the others)";
  }
  say(reading, ScaleStatus::kRead, text);
}

/// The map by the outer corners of the markers that agree: once to learn how the lens bends the
/// edges, and once more with the edges bent so.
MapFit agreed_map(const cv::Mat& values, std::vector<PlacedMarker>& placed, FrameSize frame) {
  const MarkerLayout layout{.frame = frame, .columns_per_page = columns_per_page(placed, frame)};
  MapFit fit = leave_out_outlying(placed, layout);
  if (fit.status != MapStatus::kFitted) return fit;
  placed = place_again(values, placed, fit.map, layout);
  if (placed.size() < kLeastMarkers) return {};
  return leave_out_outlying(placed, layout);
}

/// How far the outer corners lie off the wall, beyond what noise and blur explain. u_px is stated
/// for the corners of the field, of whose variance an outer corner has 2.44 times (the formula
/// above reference_points, f = 1 over f = 2/3).
double off_wall_mm(const WallMap& map) {
  constexpr double kOuterVariance = 2.44;
  double noise2_px2 = 0.0;  // of both coordinates, as the residuals' length has
  for (const FittedReference& reference : map.references) {
    const double u_px = reference.point.u_px;
    noise2_px2 += 2.0 * kOuterVariance * u_px * u_px / static_cast<double>(map.references.size());
  }
  const double rms_px = residual_rms_px(map);
  return std::sqrt(std::max(0.0, rms_px * rms_px - noise2_px2)) * mm_per_px(map, map.centre);
}

ScaleReading read_as_seen(const cv::Mat& gray) {
  ScaleReading reading;
  const std::vector<Marker> markers = detect_markers(gray);
  for (const Marker& marker : markers) reading.ids_seen.push_back(marker.id);
  const std::vector<int> twice = repeated(reading.ids_seen);
  if (twice.size() >= 2) {
    say(reading,
        ScaleStatus::kTwoScales,
        "markers " + listed(twice) +
            " are in the picture twice, so there are two scales or one page was taped up twice; "
            "cover or remove one");
    return reading;
  }
  cv::Mat values;
  gray.convertTo(values, CV_32F);
  std::vector<PlacedMarker> placed = place_markers(values, markers);
  if (placed.empty()) {
    say(reading,
        ScaleStatus::kNoScale,
        "no marker of the printed scale was found in the picture; bring the whole scale into view, "
        "in focus and evenly lit, each marker at least 22 pixels wide");
    return reading;
  }
  if (placed.size() < kLeastMarkers) {
    say(reading,
        ScaleStatus::kTooFewMarkers,
        "only marker " + std::to_string(placed.front().id) +
            " of the printed scale could be read, but at least " + std::to_string(kLeastMarkers) +
            " are needed; uncover more of it");
    return reading;
  }
  const std::size_t readable = placed.size();
  const FrameSize frame{.width_px = gray.cols, .height_px = gray.rows};
  leave_out_misplaced(placed, frame);
  if (placed.size() < kLeastMarkers || 2 * placed.size() <= readable) {
    say(reading, ScaleStatus::kInconsistent, kNotFlat);
    return reading;
  }
  const MapFit fit = agreed_map(values, placed, frame);
  if (fit.status != MapStatus::kFitted || off_wall_mm(fit.map) > kNoWall_mm) {
    say(reading, ScaleStatus::kInconsistent, kNotFlat);
    return reading;
  }
  if (const auto fault = fault_of_sheets(fit.map)) {
    say(reading, ScaleStatus::kInconsistent, *fault);
    return reading;
  }
  for (const int id : reading.ids_seen) {
    const bool used = std::ranges::find(placed, id, &PlacedMarker::id) != placed.end();
    if (!used) reading.ids_rejected.push_back(id);
  }
  reading.points = reference_points(fit.map);
  say_read(reading, placed.size());
  return reading;
}

}  // namespace

ScaleReading read_printed_scale(const cv::Mat& picture) {
  ScaleReading reading;
  if (picture.empty()) {
    say(reading, ScaleStatus::kNoScale, "the picture is empty, so it shows no scale; take another");
    return reading;
  }
  const cv::Mat gray = gray_of(picture);
  reading = read_as_seen(gray);
  if (reading.status == ScaleStatus::kRead || reading.status == ScaleStatus::kTwoScales) {
    return reading;
  }
  cv::Mat flipped;
  cv::flip(gray, flipped, 1);
  if (read_as_seen(flipped).status == ScaleStatus::kRead) {
    say(reading,
        ScaleStatus::kMirrored,
        "the picture shows the scale mirrored, left and right exchanged; switch off the mirroring "
        "of the camera or of the program that stored it");
  }
  return reading;
}

}  // namespace nightswing::calibration
