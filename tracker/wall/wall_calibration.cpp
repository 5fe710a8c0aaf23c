#include "tracker/wall/wall_calibration.h"

#include <array>
#include <cmath>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/quantity.h"
#include "calibration/scale/printed_scale.h"
#include "calibration/scale/scale_reader.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

using calibration::FrameSize;
using calibration::kBar_mm;
using calibration::kPortraitBar_mm;
using calibration::MapFit;
using calibration::MapKind;
using calibration::MapStatus;
using calibration::WallMap;

constexpr double kMillimetre_m = 1e-3;
constexpr double kMostOff = 0.05;  // of a print's size; more is a print "fitted to the page"

struct HandPoint {
  calibration::PixelPoint pixel;
  double x_mm;
  std::optional<double> y_mm;
};

UsageError bad_point(const std::string& text, std::string_view why) {
  return UsageError(fmt::format(
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

bool is_inside(calibration::PixelPoint pixel, FrameSize frame) {
  return pixel.x_px >= -0.5 && pixel.x_px <= frame.width_px - 0.5 && pixel.y_px >= -0.5 &&
         pixel.y_px <= frame.height_px - 0.5;
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
  if (!is_inside({*x_px, *y_px}, frame)) {
    throw InputError(bad_point(text,
                               fmt::format("the pixel lies outside the picture of {} x {} pixels",
                                           frame.width_px,
                                           frame.height_px)));
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

FrameSize frame_of(const cv::Mat& picture) {
  return {.width_px = picture.cols, .height_px = picture.rows};
}

/// How long the bar should be: 200 mm, or 160 mm on a portrait sheet, whichever is nearer.
double printed_bar_mm(const analysis::Measured& bar_mm) {
  const bool portrait = std::abs(bar_mm.value - kPortraitBar_mm) < std::abs(bar_mm.value - kBar_mm);
  return portrait ? kPortraitBar_mm : kBar_mm;
}

/// A landscape sheet printed at 80 % has a bar as long as a portrait one's.
/// throws InputError if sheets with such a bar cannot be those in the picture.
void check_sheets(const std::vector<calibration::ReferencePoint>& points, double printed_mm) {
  const bool portrait = printed_mm == kPortraitBar_mm;
  const int columns =
      portrait ? calibration::kColumnsPerPortraitPage : calibration::kColumnsPerPage;
  for (const calibration::ReferencePoint& a : points) {
    for (const calibration::ReferencePoint& b : points) {
      const bool one_sheet = calibration::marker_column(a.marker) / columns ==
                             calibration::marker_column(b.marker) / columns;
      if (one_sheet == (a.page == b.page)) continue;
      throw InputError(fmt::format(
          "--bar: {} mm is what the bar of a {} sheet should measure, but the sheets in the "
          "picture seem to be {} ones, whose bar is {} mm long; if it is not, print them again at "
          "100 %, not fitted to the page",
          printed_mm,
          portrait ? "portrait" : "landscape",
          portrait ? "landscape" : "portrait",
          portrait ? kBar_mm : kPortraitBar_mm));
    }
  }
}

WallMap map_from_printed_scale(const calibration::ScaleReading& reading,
                               FrameSize frame,
                               const std::optional<analysis::Measured>& bar_mm) {
  std::vector<calibration::ReferencePoint> points = reading.points;
  const double printed_mm = bar_mm ? printed_bar_mm(*bar_mm) : kBar_mm;
  if (bar_mm) {
    check_sheets(points, printed_mm);
    for (calibration::ReferencePoint& point : points) {
      point.wall.x_mm *= bar_mm->value / printed_mm;
      point.wall.y_mm *= bar_mm->value / printed_mm;
    }
  }
  WallMap map = map_or_throw(calibration::fit_plane_map(points, frame));
  const auto note = [&map](const std::string& text) {
    map.note = text + (map.note.empty() ? "" : "; " + map.note);
  };
  if (!reading.ids_rejected.empty()) note(reading.message);
  if (bar_mm) {
    map.print_relative_u = bar_mm->u / bar_mm->value;
    const double off = bar_mm->value / printed_mm - 1.0;
    note(fmt::format("the bar is taken for that of {} mm, so the print is {:.2f} % {}",
                     printed_mm,
                     100.0 * std::abs(off),
                     off < 0.0 ? "short" : "long"));
  }
  return map;
}

calibration::RulerReading read_ruler(const cv::Mat& picture, const ScaleInView& in_view) {
  const FrameSize frame{.width_px = picture.cols, .height_px = picture.rows};
  const auto& hint = in_view.ruler_hint;
  if (hint && !(is_inside(hint->from, frame) && is_inside(hint->to, frame))) {
    throw InputError(
        fmt::format("--ruler: the line lies outside the picture of {} x {} pixels; give two pixels "
                    "on the ruler's edge inside it",
                    frame.width_px,
                    frame.height_px));
  }
  return calibration::read_ruler(picture,
                                 {.hint = in_view.ruler_hint, .labels = in_view.ruler_labels});
}

/// What was read is for the user to check, above all the division.
WallMap map_of(const calibration::RulerReading& reading) {
  WallMap map = reading.map;
  map.note = reading.message;
  return map;
}

}  // namespace

analysis::Measured parse_bar_mm(const std::string& text) {
  const auto fail = [&text](std::string_view why) {
    return UsageError(fmt::format(
        "--bar '{}' {}, such as --bar '199.4(2) mm'; 200 mm, on a portrait sheet 160 mm, if the "
        "printer kept the size",
        text,
        why));
  };
  analysis::Measured bar_mm{0.0, 0.0};
  try {
    const auto bar_m = analysis::parse_quantity(text, analysis::Dimension::kLength);
    bar_mm = {bar_m.value / kMillimetre_m, bar_m.u / kMillimetre_m};
  } catch (const analysis::QuantityError&) {
    throw fail("is no length with its unit: write what the bar measures and how well");
  }
  if (!(bar_mm.u > 0.0)) throw fail("lacks the uncertainty: write how well the bar was measured");
  if (!(std::abs(bar_mm.value / printed_bar_mm(bar_mm) - 1.0) <= kMostOff)) {
    throw fail(
        "is more than the 5 % off that a printer can be: measure again from stroke to stroke, or "
        "print again at 100 %");
  }
  return bar_mm;
}

std::optional<calibration::RulerHint> parse_ruler_hint(const std::string& text) {
  if (text == "find") return std::nullopt;
  const UsageError fault(fmt::format(
      "--ruler {}: write two pixels along the ruler's edge such as 120,600:1180,640, or 'find'",
      text));
  const std::size_t colon = text.find(':');
  if (colon == std::string::npos) throw fault;
  std::array<calibration::PixelPoint, 2> ends{};
  std::size_t end = 0;
  for (const std::string& pixel : {text.substr(0, colon), text.substr(colon + 1)}) {
    const std::size_t comma = pixel.find(',');
    if (comma == std::string::npos) throw fault;
    const auto x_px = analysis::parse_number(pixel.substr(0, comma));
    const auto y_px = analysis::parse_number(pixel.substr(comma + 1));
    if (!x_px || !y_px) throw fault;
    ends[end++] = {*x_px, *y_px};
  }
  if (ends[0] == ends[1]) throw fault;
  return calibration::RulerHint{.from = ends[0], .to = ends[1]};
}

calibration::RulerLabel parse_ruler_label(const std::string& text, FrameSize frame) {
  const HandPoint point = parse_point(text, frame);
  if (point.y_mm) throw bad_point(text, "a ruler has no second reading y");
  return {.pixel = point.pixel, .reading_mm = point.x_mm};
}

WallMap map_from_picture(const cv::Mat& picture,
                         const std::string& picture_name,
                         const ScaleInView& in_view) {
  if (in_view.ruler) {
    if (in_view.bar_mm) {
      throw UsageError("--bar belongs to the printed scale, not to a ruler; leave one of them out");
    }
    const calibration::RulerReading reading = read_ruler(picture, in_view);
    if (reading.status == calibration::RulerStatus::kRead) return map_of(reading);
    throw InputError(fmt::format("{}: {}", picture_name, reading.message));
  }
  const calibration::ScaleReading reading = calibration::read_printed_scale(picture);
  if (reading.status == calibration::ScaleStatus::kNoScale && !in_view.bar_mm) {
    const calibration::RulerReading ruler = read_ruler(picture, in_view);
    if (ruler.status == calibration::RulerStatus::kRead) return map_of(ruler);
    throw InputError(fmt::format("{}: {}. Nor can an ordinary ruler be read: {}",
                                 picture_name,
                                 reading.message,
                                 ruler.message));
  }
  if (reading.status != calibration::ScaleStatus::kRead) {
    throw InputError(fmt::format("{}: {}", picture_name, reading.message));
  }
  return map_from_printed_scale(reading, frame_of(picture), in_view.bar_mm);
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
    throw UsageError(
        "some --point give one reading and some a place x,y; give all of one kind, two or more "
        "readings along a ruler or four or more places");
  }
  return map_or_throw(plane.empty() ? calibration::fit_line_map(line, frame)
                                    : calibration::fit_plane_map(plane, frame));
}

std::string describe(const WallMap& map) {
  std::string text = fmt::format(
      "{} map from {} points: residuals {:.3f} px r.m.s., {:.4f} mm per px at their centre",
      map.kind == MapKind::kPlane  ? "plane"
      : map.kind == MapKind::kLine ? "line"
                                   : "ruler",
      map.references.size(),
      calibration::residual_rms_px(map),
      calibration::mm_per_px(map, map.centre));
  if (map.print_relative_u > 0.0) {
    text += fmt::format("; size of the print known to {:.2f} %", 100.0 * map.print_relative_u);
  }
  if (!map.note.empty()) text += "; note: " + map.note;
  return text;
}

}  // namespace nightswing::tracker
