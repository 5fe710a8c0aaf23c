#include "calibration/scale/marker_detection.h"

#include <algorithm>
#include <cmath>

#include <opencv2/aruco.hpp>
#include <opencv2/imgproc.hpp>

namespace nightswing::calibration {
namespace {

constexpr double kSmoothing_px = 1.5;

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

std::vector<Marker> detect_in(const cv::Mat& gray) {
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
  std::vector<std::vector<cv::Point2f>> corners;
  std::vector<int> ids;
  cv::aruco::detectMarkers(gray, dictionary, corners, ids);
  std::vector<Marker> markers;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    Marker marker{.id = ids[i], .corners = {}};
    for (std::size_t k = 0; k < 4; ++k) {
      marker.corners[k] = {static_cast<double>(corners[i][k].x),
                           static_cast<double>(corners[i][k].y)};
    }
    markers.push_back(marker);
  }
  return markers;
}

}  // namespace

std::vector<Marker> detect_markers(const cv::Mat& gray) {
  std::vector<Marker> markers = detect_in(stretched(gray));
  cv::Mat smoothed;
  cv::GaussianBlur(gray, smoothed, {}, kSmoothing_px);
  for (const Marker& marker : detect_in(stretched(smoothed))) {
    const bool known = std::ranges::any_of(markers, [&marker](const Marker& other) {
      const double side_px = std::hypot(other.corners[1].x_px - other.corners[0].x_px,
                                        other.corners[1].y_px - other.corners[0].y_px);
      return other.id == marker.id &&
             std::hypot(other.corners[0].x_px - marker.corners[0].x_px,
                        other.corners[0].y_px - marker.corners[0].y_px) < side_px / 2.0;
    });
    if (!known) markers.push_back(marker);
  }
  std::ranges::sort(markers, {}, &Marker::id);
  return markers;
}

}  // namespace nightswing::calibration
