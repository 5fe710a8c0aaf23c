#include "tracker/wall_calibration.h"

#include <optional>

#include <fmt/format.h>

#include "analysis/input_error.h"
#include "analysis/quantity.h"
#include "calibration/scale_reader.h"

namespace nightswing::tracker {
namespace {

using calibration::FrameSize;
using calibration::MapFit;
using calibration::MapKind;
using calibration::MapStatus;
using calibration::WallMap;

constexpr double kMillimetre_m = 1e-3;

struct HandPoint {
  calibration::PixelPoint pixel;
  double x_mm;
  std::optional<double> y_mm;
};

InputError bad_point(const std::string& text, std::string_view why) {
  return InputError(fmt::format(
      "--point {}: {}; write x_px,y_px=reading such as 412.5,388.0=120mm, or x_px,y_px=x,y for a "
      "place on the wall",
      text,
      why));
}

double length_mm(std::string_view word, const std::string& text) {
  if (const auto number = analysis::parse_number(word)) return *number;
  try {
    return analysis::parse_quantity(word, analysis::Dimension::kLength).value / kMillimetre_m;
  } catch (const analysis::QuantityError& error) {
    throw bad_point(text, fmt::format("a place on the wall {}", error.what()));
  }
}

HandPoint parse_point(const std::string& text, FrameSize frame) {
  const std::size_t equals = text.find('=');
  if (equals == std::string::npos) throw bad_point(text, "there is no '='");
  const std::string pixel = text.substr(0, equals);
  const std::string wall = text.substr(equals + 1);
  const std::size_t comma = pixel.find(',');
  if (comma == std::string::npos) throw bad_point(text, "the pixel has no comma");
  const auto x_px = analysis::parse_number(pixel.substr(0, comma));
  const auto y_px = analysis::parse_number(pixel.substr(comma + 1));
  if (!x_px || !y_px) throw bad_point(text, "the pixel is not two numbers");
  const bool is_inside = *x_px >= -0.5 && *x_px <= frame.width_px - 0.5 && *y_px >= -0.5 &&
                         *y_px <= frame.height_px - 0.5;
  if (!is_inside) {
    throw bad_point(text,
                    fmt::format("the pixel lies outside the picture of {} x {} pixels",
                                frame.width_px,
                                frame.height_px));
  }
  HandPoint point{.pixel = {*x_px, *y_px}, .x_mm = 0.0, .y_mm = {}};
  const std::size_t wall_comma = wall.find(',');
  point.x_mm = length_mm(wall.substr(0, wall_comma), text);
  if (wall_comma != std::string::npos) point.y_mm = length_mm(wall.substr(wall_comma + 1), text);
  return point;
}

WallMap map_or_throw(const MapFit& fit) {
  if (fit.status != MapStatus::kFitted) throw InputError(fit.message);
  return fit.map;
}

}  // namespace

WallMap map_from_picture(const cv::Mat& picture, const std::string& picture_name) {
  const calibration::ScaleReading reading = calibration::read_printed_scale(picture);
  if (reading.status != calibration::ScaleStatus::kRead) {
    throw InputError(fmt::format("{}: {}", picture_name, reading.message));
  }
  return map_or_throw(calibration::fit_plane_map(
      reading.points, FrameSize{.width_px = picture.cols, .height_px = picture.rows}));
}

WallMap map_from_points(const std::vector<std::string>& texts, double u_px, FrameSize frame) {
  std::vector<calibration::ReferencePoint> plane;
  std::vector<calibration::LineReference> line;
  for (const std::string& text : texts) {
    const HandPoint point = parse_point(text, frame);
    if (point.y_mm) {
      plane.push_back({.pixel = point.pixel, .wall = {point.x_mm, *point.y_mm}, .u_px = u_px});
    } else {
      line.push_back({.pixel = point.pixel, .x_mm = point.x_mm, .u_px = u_px});
    }
  }
  if (!plane.empty() && !line.empty()) {
    throw InputError(
        "some --point give one reading and some a place x,y; give all of one kind, two or more "
        "readings along a ruler or four or more places");
  }
  return map_or_throw(plane.empty() ? calibration::fit_line_map(line, frame)
                                    : calibration::fit_plane_map(plane, frame));
}

std::string describe(const WallMap& map) {
  std::string text = fmt::format(
      "{} map from {} points: residuals {:.3f} px r.m.s., {:.4f} mm per px at their centre",
      map.kind == MapKind::kPlane ? "plane" : "line",
      map.references.size(),
      calibration::residual_rms_px(map),
      calibration::mm_per_px(map, map.centre));
  if (!map.note.empty()) text += "; note: " + map.note;
  return text;
}

}  // namespace nightswing::tracker
