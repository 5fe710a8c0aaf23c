#include "calibration/scale_reader.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>
#include <utility>

#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "calibration/marker_refinement.h"
#include "calibration/printed_scale.h"

namespace nightswing::calibration {
namespace {

constexpr double kMisplaced = 0.1;         // of a marker's side
constexpr double kOutlying = 5.0;          // robust standard deviations
constexpr double kLeastScatter_px = 0.02;  // below it the robust standard deviation is luck
constexpr std::size_t kLeastMarkers = 2;

struct Marker {
  int id;
  std::array<PixelPoint, 4> corners;
};

struct PlacedMarker {
  int id;
  RefinedMarker refined;
};

cv::Mat gray_of(const cv::Mat& picture) {
  if (picture.type() == CV_8UC1) return picture;
  if (picture.type() != CV_8UC3) {
    throw std::invalid_argument("the picture of a scale must be 8-bit gray or BGR");
  }
  cv::Mat gray;
  cv::cvtColor(picture, gray, cv::COLOR_BGR2GRAY);
  return gray;
}

/// The picture with its grays spread over the whole range: the detector's threshold is absolute,
/// and a dark room may leave a few levels only. What may saturate at the bright end (lamp, spot) is
/// less than the paper of a scale that can be read; ink covers little, so next to nothing may at
/// the dark end.
cv::Mat stretched(const cv::Mat& gray) {
  std::array<int, 256> histogram{};
  for (int y = 0; y < gray.rows; ++y) {
    const auto* row = gray.ptr<unsigned char>(y);
    for (int x = 0; x < gray.cols; ++x) ++histogram[row[x]];
  }
  const auto total = static_cast<int>(gray.total());
  std::size_t low = 0;
  std::size_t high = 255;
  for (int sum = histogram[low]; sum <= total / 5000 && low < 255;) sum += histogram[++low];
  for (int sum = histogram[high]; sum <= total / 200 && high > 0;) sum += histogram[--high];
  if (high <= low) return gray;
  const double gain = 255.0 / static_cast<double>(high - low);
  cv::Mat result;
  gray.convertTo(result, CV_8U, gain, -gain * static_cast<double>(low));
  return result;
}

std::vector<Marker> detect_markers(const cv::Mat& gray) {
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
  std::vector<std::vector<cv::Point2f>> corners;
  std::vector<int> ids;
  cv::aruco::detectMarkers(stretched(gray), dictionary, corners, ids);
  std::vector<Marker> markers;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    Marker marker{.id = ids[i], .corners = {}};
    for (std::size_t k = 0; k < 4; ++k) {
      marker.corners[k] = {static_cast<double>(corners[i][k].x),
                           static_cast<double>(corners[i][k].y)};
    }
    markers.push_back(marker);
  }
  std::ranges::sort(markers, {}, &Marker::id);
  return markers;
}

/// The markers whose edges could be fitted.
std::vector<PlacedMarker> place_markers(const cv::Mat& gray, const std::vector<Marker>& markers) {
  cv::Mat values;
  gray.convertTo(values, CV_32F);
  std::vector<PlacedMarker> placed;
  for (const Marker& marker : markers) {
    const auto refined = refine_marker(values, marker.corners);
    if (refined) placed.push_back({marker.id, *refined});
  }
  return placed;
}

double typical_side_px(const std::vector<PlacedMarker>& markers) {
  std::vector<double> sides_px;
  for (const PlacedMarker& marker : markers) {
    const auto& corners = marker.refined.corners;
    sides_px.push_back(
        std::hypot(corners[1].x_px - corners[0].x_px, corners[1].y_px - corners[0].y_px));
  }
  std::ranges::sort(sides_px);
  return sides_px[sides_px.size() / 2];
}

/// The homography from wall to picture that all corners share (least squares), or, with a reach,
/// that of the largest set of corners that agree within it. Empty if there is none.
cv::Mat common_plane(const std::vector<PlacedMarker>& markers, double reach_px) {
  std::vector<cv::Point2d> walls;
  std::vector<cv::Point2d> pixels;
  for (const PlacedMarker& marker : markers) {
    for (const WallPoint& p : marker_corners(marker.id)) walls.emplace_back(p.x_mm, p.y_mm);
    for (const PixelPoint& p : marker.refined.corners) pixels.emplace_back(p.x_px, p.y_px);
  }
  return cv::findHomography(walls, pixels, reach_px > 0.0 ? cv::RANSAC : 0, reach_px);
}

cv::Point2d project(const cv::Mat& plane, WallPoint wall) {
  const std::vector<cv::Point2d> from{{wall.x_mm, wall.y_mm}};
  std::vector<cv::Point2d> to;
  cv::perspectiveTransform(from, to, plane);
  return to.front();
}

/// Where the corners were found, minus where the plane puts them.
std::array<cv::Point2d, 4> offsets_px(const PlacedMarker& marker, const cv::Mat& plane) {
  const auto walls = marker_corners(marker.id);
  std::array<cv::Point2d, 4> offsets;
  for (std::size_t k = 0; k < 4; ++k) {
    const PixelPoint& found = marker.refined.corners[k];
    offsets[k] = cv::Point2d(found.x_px, found.y_px) - project(plane, walls[k]);
  }
  return offsets;
}

double worst_offset_px(const PlacedMarker& marker, const cv::Mat& plane) {
  double worst = 0.0;
  for (const cv::Point2d& offset : offsets_px(marker, plane))
    worst = std::max(worst, cv::norm(offset));
  return worst;
}

/// Leaves out the markers that lie elsewhere than the largest set that agrees says.
void leave_out_misplaced(std::vector<PlacedMarker>& markers) {
  const double reach_px = kMisplaced * typical_side_px(markers);
  const cv::Mat plane = common_plane(markers, reach_px);
  std::erase_if(markers, [&](const PlacedMarker& marker) {
    return plane.empty() || worst_offset_px(marker, plane) > reach_px;
  });
}

/// Leaves out the marker with the farthest corner as long as that corner does not scatter as the
/// rest.
void leave_out_outlying(std::vector<PlacedMarker>& markers) {
  while (markers.size() > kLeastMarkers) {
    const cv::Mat plane = common_plane(markers, 0.0);
    if (plane.empty()) return;
    std::vector<double> lengths_px;
    for (const PlacedMarker& marker : markers) {
      for (const cv::Point2d& p : offsets_px(marker, plane)) lengths_px.push_back(cv::norm(p));
    }
    std::ranges::sort(lengths_px);
    // The length of a two-dimensional Gaussian error has its median at 1.177 standard deviations.
    const double scatter_px = std::max(kLeastScatter_px, lengths_px[lengths_px.size() / 2] / 1.177);
    if (lengths_px.back() <= kOutlying * scatter_px) return;
    markers.erase(std::ranges::max_element(markers, {}, [&plane](const PlacedMarker& marker) {
      return worst_offset_px(marker, plane);
    }));
  }
}

/// The corners of the markers' fields of bits as reference points.
/// Why not the outer corners: there the uncertain tilts of the edges make most of the error. It
/// cancels over the marker, so that four corners taken as independent, as the fit does, would claim
/// too much uncertainty for the whole. Let offset and tilt of an edge be uncertain by s and by
/// sqrt(3.5) s per half side. A point at the share f of the way from the centre to a corner then
/// has the variance s^2 (1 + f^2) (1 + 3.5 f^2) / 2, the centre itself s^2 / 2. The mean of four
/// such points, taken as independent, has the variance of the centre at f = 0.7; the field has 2/3.
/// How: they are placed by what the outer corners say against the common plane, averaged by
/// nearness. The perspective of one marker alone would be exact too, but is so uncertain that it
/// doubles the error (both measured on rendered views).
std::vector<ReferencePoint> reference_points(const std::vector<PlacedMarker>& markers) {
  constexpr double kNear = (1.0 + kFieldShare) / 2.0;
  constexpr double kFar = (1.0 - kFieldShare) / 2.0;
  const cv::Mat plane = common_plane(markers, 0.0);
  std::vector<ReferencePoint> points;
  for (const PlacedMarker& marker : markers) {
    const auto offsets = offsets_px(marker, plane);
    const auto walls = field_corners(marker.id);
    for (std::size_t k = 0; k < 4; ++k) {
      const cv::Point2d place = project(plane, walls[k]) + kNear * kNear * offsets[k] +
                                kNear * kFar * (offsets[(k + 1) % 4] + offsets[(k + 3) % 4]) +
                                kFar * kFar * offsets[(k + 2) % 4];
      points.push_back({.pixel = {place.x, place.y},
                        .wall = walls[k],
                        .u_px = marker.refined.field_u_px[k],
                        .marker = marker.id});
    }
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
    text += ", marker " + listed(reading.ids_rejected) + " was left out";
  }
  say(reading, ScaleStatus::kRead, text);
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
  std::vector<PlacedMarker> placed = place_markers(gray, markers);
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
            " of the printed scale could be read, but at least 2 are needed; uncover more of it");
    return reading;
  }
  const std::size_t readable = placed.size();
  leave_out_misplaced(placed);
  if (placed.size() < kLeastMarkers || 2 * placed.size() <= readable) {
    say(reading,
        ScaleStatus::kInconsistent,
        "the markers in the picture do not lie on one flat wall as the scale was printed; tape it "
        "flat, with its pages in order and joined without a gap");
    return reading;
  }
  leave_out_outlying(placed);
  for (const int id : reading.ids_seen) {
    const bool used = std::ranges::find(placed, id, &PlacedMarker::id) != placed.end();
    if (!used) reading.ids_rejected.push_back(id);
  }
  reading.points = reference_points(placed);
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
