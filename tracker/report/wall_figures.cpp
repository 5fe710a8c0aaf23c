#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "tracker/frames/picture_brightness.h"
#include "tracker/report/axes.h"
#include "tracker/report/figures.h"
#include "tracker/report/path_in_picture.h"
#include "tracker/run/csv_text.h"

namespace nightswing::tracker {
namespace {

constexpr Colour kWhite{1.0, 1.0, 1.0};
constexpr Colour kShade{0.0, 0.0, 0.0, 0.65};

/// The part of the picture that matters: the travel and the references, with some room.
cv::Rect part_shown(const ShownNight& night, cv::Size size) {
  std::vector<cv::Point2f> points;
  for (const ShownSample& s : night.samples) {
    points.emplace_back(static_cast<float>(s.pixel.x_px), static_cast<float>(s.pixel.y_px));
  }
  for (const auto& reference : night.map.references) {
    points.emplace_back(static_cast<float>(reference.point.pixel.x_px),
                        static_cast<float>(reference.point.pixel.y_px));
  }
  cv::Rect part = cv::boundingRect(points);
  const int room = size.width / 20;
  part -= cv::Point(room, 2 * room);
  part += cv::Size(2 * room, 4 * room);
  return part & cv::Rect({0, 0}, size);
}

/// Draws on a part of the picture that fills the figure's width.
class PictureFrame {
 public:
  PictureFrame(Canvas& canvas, cv::Rect part, double top_pt)
      : canvas_(canvas), part_(part), top_pt_(top_pt), scale_(kPageWidth_pt / part.width) {}

  [[nodiscard]] PaperPoint at(calibration::PixelPoint p) const {
    // The centre of the first pixel is (0, 0); its corner lies half a pixel before it.
    return {(p.x_px + 0.5 - part_.x) * scale_, top_pt_ + (p.y_px + 0.5 - part_.y) * scale_};
  }
  [[nodiscard]] PaperPoint beside(const PathInPicture& path, double x_mm, double away_pt) const {
    const auto along = path.direction(x_mm);
    const PaperPoint on = at(path.at(x_mm));
    return {on.x_pt - along.y_px * away_pt, on.y_pt + along.x_px * away_pt};
  }

  void scale(const PathInPicture& path) {
    for (const PathMark& mark : path_marks(path)) {
      const double length_pt = mark.labelled ? 6.0 : 3.0;
      line(beside(path, mark.x_mm, 14.0),
           beside(path, mark.x_mm, 14.0 + length_pt),
           {.colour = kWhite, .width_pt = 0.8});
      if (mark.labelled) {
        label(beside(path, mark.x_mm, 31.0), fmt::format("{:.0f}", mark.x_mm), kWhite);
      }
    }
    line(beside(path, path.from_mm(), 14.0),
         beside(path, path.to_mm(), 14.0),
         {.colour = kWhite, .width_pt = 0.8});
  }

  void equilibrium(const PathInPicture& path, const ShownSegment& segment, bool name) {
    const Colour& colour = side_colour(dark_palette(), segment.side);
    const double x_mm = segment.equilibrium_mm.value;
    // The names stand at different heights, so that close equilibria do not write over each other.
    const double top_pt = segment.side == "plus" ? -30.0 : segment.side == "minus" ? -44.0 : -58.0;
    canvas_.line(beside(path, x_mm, -30.0),
                 beside(path, x_mm, 14.0),
                 {.colour = colour, .width_pt = 1.6, .dashes_pt = side_dashes(segment.side)});
    if (name) {
      label(beside(path, x_mm, top_pt - 6.0),
            fmt::format("{} {:.2f} mm", segment.side, x_mm),
            colour);
    }
  }

  /// A line with a dark edge, to be seen on any ground.
  void line(PaperPoint from, PaperPoint to, const Stroke& stroke) {
    canvas_.line(from, to, {.colour = kShade, .width_pt = stroke.width_pt + 1.6});
    canvas_.line(from, to, stroke);
  }

  void label(PaperPoint at, const std::string& text, const Colour& colour) {
    const TextStyle style{.size_pt = 8.0, .colour = colour, .align = Align::kMiddle, .bold = true};
    const double width_pt = canvas_.width_pt(text, style) + 4.0;
    canvas_.fill({at.x_pt - 0.5 * width_pt, at.y_pt - 8.0, width_pt, 10.5}, kShade);
    canvas_.text(at, text, style);
  }

 private:
  Canvas& canvas_;
  cv::Rect part_;
  double top_pt_;
  double scale_;
};

Figure wall_figure(const ShownNight& night, const cv::Mat& wall, const PathInPicture& path) {
  const cv::Rect part = part_shown(night, wall.size());
  const double height_pt = kPageWidth_pt * part.height / part.width;
  cv::Mat picture;
  wall(part).convertTo(picture, -1, gain_to_light_gray(wall(part)));
  std::string csv = "x_mm,x_px,y_px\n";
  for (const PathMark& mark : path_marks(path)) {
    const auto pixel = path.at(mark.x_mm);
    csv += fmt::format(
        "{},{},{}\n", mark.x_mm, number_text(pixel.x_px, 3), number_text(pixel.y_px, 3));
  }
  return {.name = "wall",
          .title =
              "The wall as the camera saw it (brightened), with the path of the spot, "
              "millimetres along it, and the equilibria",
          .alt = fmt::format("Photograph of the wall. The path of the spot runs from {:.0f} to "
                             "{:.0f} mm; an upright line marks each equilibrium.",
                             path.from_mm(),
                             path.to_mm()),
          .width_pt = kPageWidth_pt,
          .height_pt = height_pt,
          .csv = csv,
          .draw =
              [&night, picture, path, part, height_pt](Canvas& canvas) {
                canvas.picture({0.0, 0.0, kPageWidth_pt, height_pt}, picture);
                PictureFrame frame(canvas, part, 0.0);
                frame.line(frame.at(path.at(path.from_mm())),
                           frame.at(path.at(path.to_mm())),
                           {.colour = kWhite, .width_pt = 0.8, .dashes_pt = {1.5, 2.5}});
                frame.scale(path);
                std::vector<std::string> named;
                for (const ShownSegment& segment : night.segments) {
                  const bool first = std::ranges::find(named, segment.side) == named.end();
                  frame.equilibrium(path, segment, first);
                  named.push_back(segment.side);
                }
              },
          .on_photograph = true};
}

/// Length of the longest arrow of the calibration figure.
constexpr double kLongest_pt = 24.0;

void draw_calibration(Canvas& canvas, const calibration::WallMap& map, const PaperBox& area) {
  std::vector<double> x;
  std::vector<double> y;
  double longest_px = 0.0;
  for (const auto& r : map.references) {
    x.push_back(r.point.pixel.x_px);
    y.push_back(-r.point.pixel.y_px);
    longest_px = std::max(longest_px, std::hypot(r.residual_x_px, r.residual_y_px));
  }
  const Range x_range = range_of(x, 0.06);
  // One pixel is as long upwards as sideways.
  const double px_per_pt = x_range.length() / area.width_pt;
  const Range y_tight = range_of(y, 0.0);
  const double middle = 0.5 * (y_tight.from + y_tight.to);
  const double half = 0.5 * px_per_pt * area.height_pt;
  const Axes axes(area, x_range, {middle - half, middle + half});
  canvas.frame(area, {.colour = canvas.palette().faint, .width_pt = 0.6});
  const double exaggeration = longest_px > 0.0 ? kLongest_pt / longest_px : 0.0;
  for (const auto& r : map.references) {
    const PaperPoint from = axes.at(r.point.pixel.x_px, -r.point.pixel.y_px);
    const PaperPoint to{from.x_pt + exaggeration * r.residual_x_px,
                        from.y_pt + exaggeration * r.residual_y_px};
    canvas.line(from, to, {.colour = canvas.palette().minus, .width_pt = 1.0});
    canvas.marker(from, {MarkerShape::kDisc, 3.0, canvas.palette().plus});
  }
  canvas.text({area.left_pt + 4.0, area.bottom_pt() + 11.0},
              fmt::format("longest arrow: {:.3f} px; r.m.s. {:.3f} px",
                          longest_px,
                          calibration::residual_rms_px(map)),
              {.size_pt = 8.0, .colour = canvas.palette().ink});
}

Figure calibration_figure(const ShownNight& night) {
  std::string csv = "x_px,y_px,x_mm,y_mm,residual_x_px,residual_y_px\n";
  cv::Rect_<double> around;
  std::vector<cv::Point2f> points;
  for (const auto& r : night.map.references) {
    csv += fmt::format("{},{},{},{},{},{}\n",
                       number_text(r.point.pixel.x_px, 4),
                       number_text(r.point.pixel.y_px, 4),
                       number_text(r.point.wall.x_mm, 4),
                       number_text(r.point.wall.y_mm, 4),
                       number_text(r.residual_x_px, 5),
                       number_text(r.residual_y_px, 5));
    points.emplace_back(static_cast<float>(r.point.pixel.x_px),
                        static_cast<float>(r.point.pixel.y_px));
  }
  around = cv::boundingRect(points);
  const double height_pt = std::clamp(
      kPageWidth_pt * 0.88 * around.height / std::max(1.0, around.width) + 40.0, 60.0, 260.0);
  return {.name = "calibration",
          .title = "Calibration: reference points in the picture, arrows what the map leaves over",
          .alt = fmt::format("{} reference points with arrows for their residuals, r.m.s. {:.3f} "
                             "px.",
                             night.map.references.size(),
                             calibration::residual_rms_px(night.map)),
          .width_pt = kPageWidth_pt,
          .height_pt = height_pt + 16.0,
          .csv = csv,
          .draw = [&night, height_pt](Canvas& canvas) {
            draw_calibration(canvas, night.map, {1.0, 1.0, kPageWidth_pt - 2.0, height_pt});
          }};
}

}  // namespace

std::vector<Figure> wall_figures(const ShownNight& night, const cv::Mat& wall) {
  std::vector<Figure> figures;
  const auto path = PathInPicture::of(night.samples);
  if (!wall.empty() && path) figures.push_back(wall_figure(night, wall, *path));
  if (!night.map.references.empty()) figures.push_back(calibration_figure(night));
  return figures;
}

std::span<const std::string_view> figure_names() {
  static constexpr std::string_view kNames[] = {"comparison",
                                                "budget",
                                                "corrections",
                                                "wall",
                                                "calibration",
                                                "night",
                                                "residuals",
                                                "residual_distribution",
                                                "residual_autocorrelation",
                                                "folded_swing",
                                                "drift"};
  return kNames;
}

std::vector<Figure> all_figures(const ShownNight& night, const cv::Mat& wall) {
  std::vector<Figure> figures;
  for (auto list : {gravity_figures(night), wall_figures(night, wall), swing_figures(night)}) {
    figures.insert(figures.end(), list.begin(), list.end());
  }
  return figures;
}

}  // namespace nightswing::tracker
