#include "demo_video/printed_scale.h"

#include <algorithm>
#include <cmath>
#include <string>

#include <opencv2/aruco.hpp>
#include <opencv2/imgproc.hpp>

namespace nightswing::demo {
namespace {

constexpr double kPitchMm = 40, kFirstColumnMm = 20, kMarkerMm = 24;
constexpr double kLowerRowMm = -30, kUpperRowMm = 80, kPageMm = 240;
constexpr double kLineMm = 0.25;
constexpr std::array<double, 3> kTicksMm = {3, 5, 8};
constexpr double kNumeralTopMm = -9.6, kNumeralHeightMm = 3.4, kNumeralPxPerMm = 16;

}  // namespace

bool tick_ink(double x_mm,
              double depth_mm,
              double line_mm,
              const std::array<double, 3>& lengths_mm) {
  const double nearest = std::round(x_mm);
  if (depth_mm < 0 || std::abs(x_mm - nearest) > line_mm / 2) return false;
  const int number = static_cast<int>(nearest);
  const std::size_t kind = number % 10 == 0 ? 2 : number % 5 == 0 ? 1 : 0;
  return depth_mm <= lengths_mm[kind];
}

cv::Mat numeral_strip(double length_mm, double height_mm, double px_per_mm) {
  cv::Mat strip(cvCeil(height_mm * px_per_mm), cvCeil(length_mm * px_per_mm), CV_8U, cv::Scalar(0));
  const int thickness = cvRound(0.3 * px_per_mm);
  // The capitals of this font are about 22 px high at scale 1.
  const double size = (height_mm * px_per_mm - 2 * thickness) / 22;
  for (int number = 0; number < cvRound(length_mm); number += 10) {
    const std::string text = std::to_string(number);
    int below = 0;
    const cv::Size box = cv::getTextSize(text, cv::FONT_HERSHEY_SIMPLEX, size, thickness, &below);
    // The 0 moves inwards instead of being cut.
    const int left = std::max(0, cvRound(number * px_per_mm) - box.width / 2);
    cv::putText(strip,
                text,
                {left, strip.rows - thickness},
                cv::FONT_HERSHEY_SIMPLEX,
                size,
                cv::Scalar(255),
                thickness,
                cv::LINE_AA);
  }
  return strip;
}

PrintedScale::PrintedScale(int columns)
    : columns_(columns),
      numerals_(numeral_strip(kPitchMm * columns, kNumeralHeightMm, kNumeralPxPerMm)) {
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
  for (int id = 0; id < 2 * columns; ++id) {
    cv::Mat cells;
    cv::aruco::drawMarker(dictionary, id, 6, cells, 1);
    markers_.push_back(cells);
  }
}

std::array<cv::Point2d, 4> PrintedScale::marker_corners_mm(int id) {
  const int column = id / 2;
  const double x = kFirstColumnMm + kPitchMm * column;
  const double y = id % 2 == 0 ? kLowerRowMm : kUpperRowMm;
  const double half = kMarkerMm / 2;
  return {cv::Point2d(x - half, y + half),
          cv::Point2d(x + half, y + half),
          cv::Point2d(x + half, y - half),
          cv::Point2d(x - half, y - half)};
}

bool PrintedScale::marker_ink(double x_mm, double y_mm) const {
  const int column = static_cast<int>(x_mm / kPitchMm);
  const int id = 2 * column + (y_mm > 0 ? 1 : 0);
  if (column < 0 || column >= columns_) return false;
  const cv::Point2d top_left = marker_corners_mm(id)[0];
  const double across = (x_mm - top_left.x) / kMarkerMm * 6;
  const double down = (top_left.y - y_mm) / kMarkerMm * 6;
  if (across < 0 || across >= 6 || down < 0 || down >= 6) return false;
  return markers_[static_cast<std::size_t>(id)].at<unsigned char>(static_cast<int>(down),
                                                                  static_cast<int>(across)) == 0;
}

bool PrintedScale::numeral_ink(double x_mm, double y_mm) const {
  const int column = cvFloor(x_mm * kNumeralPxPerMm);
  const int row = cvFloor((kNumeralTopMm - y_mm) * kNumeralPxPerMm);
  if (row < 0 || row >= numerals_.rows || column < 0 || column >= numerals_.cols) return false;
  return numerals_.at<unsigned char>(row, column) > 127;
}

double PrintedScale::ink(double x_mm, double y_mm) const {
  if (x_mm < 0 || x_mm > length_mm()) return 0;
  if (y_mm <= kLineMm / 2 && y_mm >= -kLineMm / 2) return 1;  // base line
  if (tick_ink(x_mm, -y_mm, kLineMm, kTicksMm)) return 1;
  if (numeral_ink(x_mm, y_mm) || marker_ink(x_mm, y_mm)) return 1;
  const double to_seam_mm = std::abs(x_mm - kPageMm * std::round(x_mm / kPageMm));
  const bool inside = x_mm > kPageMm / 2 && x_mm < length_mm() - kPageMm / 2;
  return inside && to_seam_mm < 0.1 ? 0.2 : 0;
}

}  // namespace nightswing::demo
