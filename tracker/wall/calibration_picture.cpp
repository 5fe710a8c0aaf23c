#include "tracker/wall/calibration_picture.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <optional>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

namespace nightswing::tracker {
namespace {

using calibration::FittedReference;
using calibration::MapKind;
using calibration::PixelPoint;
using calibration::WallMap;
using calibration::WallPoint;

constexpr double kEnlarged = 10.0;
constexpr int kShift = 4;  // OpenCV draws at sixteenths of a pixel
constexpr double kTick_px = 8.0;
constexpr double kLeastNumberStep_px = 60.0;

// Blue, orange and bluish green differ for colour-blind eyes too; light borders stand out anywhere.
const cv::Scalar kWhite(255, 255, 255);
const cv::Scalar kReference(178, 114, 0);
const cv::Scalar kResidual(0, 94, 213);
const cv::Scalar kAxis(115, 158, 0);

cv::Point fine(double x_px, double y_px) {
  const double scale = 1 << kShift;
  return {cvRound(x_px * scale), cvRound(y_px * scale)};
}

/// A line with a light border.
void draw_line(cv::Mat& image, PixelPoint from, PixelPoint to, const cv::Scalar& colour) {
  const cv::Point a = fine(from.x_px, from.y_px);
  const cv::Point b = fine(to.x_px, to.y_px);
  cv::line(image, a, b, kWhite, 4, cv::LINE_AA, kShift);
  cv::line(image, a, b, colour, 2, cv::LINE_AA, kShift);
}

void draw_text(cv::Mat& image, const std::string& text, cv::Point at, const cv::Scalar& colour) {
  constexpr double kSize = 0.45;
  cv::putText(image, text, at, cv::FONT_HERSHEY_SIMPLEX, kSize, kWhite, 4, cv::LINE_AA);
  cv::putText(image, text, at, cv::FONT_HERSHEY_SIMPLEX, kSize, colour, 1, cv::LINE_AA);
}

/// The points of a marker, or of a tick, joined; single points as crosses.
void draw_references(cv::Mat& image, const WallMap& map) {
  std::map<std::pair<int, int>, std::vector<PixelPoint>> markers;  // by page and marker
  for (const FittedReference& reference : map.references) {
    const auto& point = reference.point;
    if (point.marker == calibration::kNoMarker) {
      const auto [x, y] = point.pixel;
      draw_line(image, {x - 5.0, y}, {x + 5.0, y}, kReference);
      draw_line(image, {x, y - 5.0}, {x, y + 5.0}, kReference);
    } else {
      markers[{point.page, point.marker}].push_back(point.pixel);
    }
  }
  for (const auto& [name, corners] : markers) {
    for (std::size_t i = 0; i < corners.size(); ++i) {
      draw_line(image, corners[i], corners[(i + 1) % corners.size()], kReference);
    }
  }
}

void draw_residuals(cv::Mat& image, const WallMap& map) {
  for (const FittedReference& reference : map.references) {
    const auto [x, y] = reference.point.pixel;
    const double dx = kEnlarged * reference.residual_x_px;
    const double dy = kEnlarged * reference.residual_y_px;
    if (std::hypot(dx, dy) < 0.5) continue;
    cv::arrowedLine(image,
                    fine(x, y),
                    fine(x + dx, y + dy),
                    kResidual,
                    2,
                    cv::LINE_AA,
                    kShift,
                    std::clamp(3.0 / std::hypot(dx, dy), 0.1, 0.5));
  }
}

bool within(const cv::Mat& image, PixelPoint pixel) {
  return pixel.x_px >= 0.0 && pixel.y_px >= 0.0 && pixel.x_px <= image.cols - 1.0 &&
         pixel.y_px <= image.rows - 1.0;
}

/// A place of the axis in the picture; none where the map does not show it.
std::optional<PixelPoint> pixel_of(const WallMap& map, double x_mm) {
  if (map.kind == MapKind::kRuler) {
    // On the ruler's own line, by bisection between its outermost ticks.
    const auto reading = [](const FittedReference& r) { return r.point.wall.x_mm; };
    const auto [first, last] = std::ranges::minmax_element(map.references, {}, reading);
    if (x_mm < reading(*first) || x_mm > reading(*last)) return std::nullopt;
    PixelPoint low = first->point.pixel;
    PixelPoint high = last->point.pixel;
    for (int step = 0; step < 40; ++step) {
      const PixelPoint middle{0.5 * (low.x_px + high.x_px), 0.5 * (low.y_px + high.y_px)};
      (calibration::wall_from_pixel(map, middle).x_mm < x_mm ? low : high) = middle;
    }
    return low;
  }
  const WallPoint place{x_mm, 0.0};
  if (calibration::behind_camera(map, place)) return std::nullopt;
  return calibration::pixel_from_wall(map, place);
}

/// 1, 2 or 5 times a power of ten, so that numbers stand apart.
double number_step_mm(double mm_per_px) {
  const double least_mm = kLeastNumberStep_px * mm_per_px;
  const double decade = std::pow(10.0, std::floor(std::log10(least_mm)));
  for (const double step : {1.0, 2.0, 5.0}) {
    if (step * decade >= least_mm) return step * decade;
  }
  return 10.0 * decade;
}

void draw_axis(cv::Mat& image, const WallMap& map) {
  const auto reading = [](const FittedReference& r) { return r.point.wall.x_mm; };
  const auto [first, last] = std::ranges::minmax_element(map.references, {}, reading);
  const double step_mm = number_step_mm(calibration::mm_per_px(map, map.centre));
  const double from_mm = std::floor(reading(*first) / step_mm) * step_mm;
  const long steps = std::lround((reading(*last) - from_mm) / step_mm) + 1;
  std::optional<PixelPoint> before;
  for (long i = 0; i <= steps; ++i) {
    const double x_mm = from_mm + static_cast<double>(i) * step_mm;
    const auto pixel = pixel_of(map, x_mm);
    if (!pixel || !within(image, *pixel)) {
      before.reset();
      continue;
    }
    if (before) draw_line(image, *before, *pixel, kAxis);
    draw_line(
        image, {pixel->x_px, pixel->y_px - kTick_px}, {pixel->x_px, pixel->y_px + kTick_px}, kAxis);
    draw_text(image,
              fmt::format("{:g}", x_mm),
              {cvRound(pixel->x_px) + 3, cvRound(pixel->y_px + kTick_px) + 14},
              kAxis);
    before = pixel;
  }
}

void draw_legend(cv::Mat& image, const WallMap& map) {
  const int line_px = 20;
  const cv::Rect box(0, 0, std::min(image.cols, 470), 3 * line_px + 8);
  image(box) = 0.3 * image(box) + cv::Scalar::all(0.7 * 255.0);
  draw_text(image, "blue: reference points as read", {8, line_px}, kReference);
  draw_text(image,
            fmt::format("orange: read minus map, {:g} times enlarged ({:.3f} px r.m.s.)",
                        kEnlarged,
                        calibration::residual_rms_px(map)),
            {8, 2 * line_px},
            kResidual);
  draw_text(image, "green: millimetres by the map", {8, 3 * line_px}, kAxis);
}

}  // namespace

cv::Mat calibration_picture(const cv::Mat& picture, const WallMap& map) {
  cv::Mat image;
  if (picture.channels() == 1) {
    cv::cvtColor(picture, image, cv::COLOR_GRAY2BGR);
  } else {
    image = picture.clone();
  }
  if (map.references.empty()) return image;
  draw_references(image, map);
  draw_axis(image, map);
  draw_residuals(image, map);
  draw_legend(image, map);
  return image;
}

}  // namespace nightswing::tracker
