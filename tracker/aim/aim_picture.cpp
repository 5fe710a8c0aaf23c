#include "tracker/aim/aim_picture.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

namespace nightswing::tracker {
namespace {

const cv::Scalar kGood(120, 220, 120);
const cv::Scalar kAdvice(90, 190, 255);
const cv::Scalar kText(235, 235, 235);
const cv::Scalar kGround(25, 25, 25);
constexpr int kLine_px = 26;
constexpr double kTextScale = 0.6;
constexpr double kRing_widths = 4.0;

struct Line {
  std::string text;
  cv::Scalar colour;
};

/// Breaks what is wider than the picture at blanks.
void add_broken(std::vector<Line>& lines,
                const std::string& text,
                const cv::Scalar& colour,
                int width_px) {
  std::string line;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find(' ', at), text.size());
    const std::string longer = line + (line.empty() ? "" : " ") + text.substr(at, end - at);
    int baseline = 0;
    const cv::Size size =
        cv::getTextSize(longer, cv::FONT_HERSHEY_SIMPLEX, kTextScale, 1, &baseline);
    if (size.width > width_px - 20 && !line.empty()) {
      lines.push_back({line, colour});
      line = text.substr(at, end - at);
    } else {
      line = longer;
    }
    at = end + 1;
  }
  if (!line.empty()) lines.push_back({line, colour});
}

std::vector<Line> lines_for(const AimReading& reading, int width_px) {
  std::vector<Line> lines;
  AimReading values = reading;
  values.advice.clear();
  add_broken(lines, text_of(values), kText, width_px);
  for (const std::string& advice : reading.advice) add_broken(lines, advice, kAdvice, width_px);
  if (reading.advice.empty()) lines.push_back({"nothing to mend", kGood});
  return lines;
}

}  // namespace

void draw_spot(cv::Mat& picture,
               const SpotMeasurement& spot,
               const std::optional<SwingRoom>& room) {
  if (!spot.position) return;
  const cv::Scalar colour = is_measured(spot.state) ? kGood : kAdvice;
  const cv::Point centre(static_cast<int>(std::lround(spot.position->x_px)),
                         static_cast<int>(std::lround(spot.position->y_px)));
  const int radius = static_cast<int>(std::lround(kRing_widths * spot.position->width_px)) + 4;
  cv::circle(picture, centre, radius, colour, 2, cv::LINE_AA);
  if (!room) return;
  const auto reach = [&](double room_px, int direction) {
    const cv::Point from = centre + cv::Point(direction * radius, 0);
    const cv::Point to = centre + cv::Point(direction * static_cast<int>(room_px), 0);
    if (static_cast<int>(room_px) > radius)
      cv::arrowedLine(picture, from, to, colour, 1, cv::LINE_AA, 0, 0.03);
  };
  reach(room->left_px, -1);
  reach(room->right_px, 1);
}

cv::Mat aim_picture(const cv::Mat& picture, const AimReading& reading) {
  const auto lines = lines_for(reading, picture.cols);
  const int below_px = kLine_px * static_cast<int>(lines.size()) + 12;
  cv::Mat shown(picture.rows + below_px, picture.cols, CV_8UC3, kGround);
  cv::Mat above = shown(cv::Rect(0, 0, picture.cols, picture.rows));
  picture.copyTo(above);
  draw_spot(above, reading.spot, reading.room);
  for (std::size_t k = 0; k < lines.size(); ++k) {
    const cv::Point at(10, picture.rows + kLine_px * (static_cast<int>(k) + 1) - 2);
    cv::putText(shown,
                lines[k].text,
                at,
                cv::FONT_HERSHEY_SIMPLEX,
                kTextScale,
                lines[k].colour,
                1,
                cv::LINE_AA);
  }
  return shown;
}

}  // namespace nightswing::tracker
