#include "tracker/film/film_painter.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

constexpr Colour kWhite{1.0, 1.0, 1.0};
constexpr Colour kShade{0.0, 0.0, 0.0, 0.6};
constexpr Colour kMarker{0.941, 0.894, 0.259};  // yellow: nothing else in the film has it
constexpr double kTrailOfNight = 0.02;
constexpr std::size_t kMostTrailDots = 60;

void on(cv::Mat& picture, const std::function<void(Canvas&)>& draw) {
  cairo_surface_t* surface = cairo_image_surface_create_for_data(
      picture.data, CAIRO_FORMAT_RGB24, picture.cols, picture.rows, static_cast<int>(picture.step));
  cairo_t* context = cairo_create(surface);
  Canvas canvas(context, dark_palette());
  draw(canvas);
  cairo_destroy(context);
  cairo_surface_flush(surface);
  cairo_surface_destroy(surface);
}

const Colour& colour_of(const std::string& side) {
  return side_colour(dark_palette(), side);
}

/// The axes are drawn for paper, where letters have 8 points; the film's are larger by a factor
/// that the canvas is scaled by, so that the area is given in points of that paper.
double plot_factor(const FilmLayout& layout) {
  return 2.2 * layout.text;
}

Axes plot_axes(const FilmContents& contents, const FilmLayout& layout) {
  std::vector<double> positions;
  for (const FilmMoment& m : contents.moments) {
    if (m.x_mm) positions.push_back(*m.x_mm);
  }
  const double ends[] = {contents.moments.front().t_s / kHour_s,
                         contents.moments.back().t_s / kHour_s};
  const PaperBox& plot = layout.plot;
  const double factor = plot_factor(layout);
  return {{44.0,
           plot.top_pt / factor + 8.0,
           plot.width_pt / factor - 54.0,
           plot.height_pt / factor - 40.0},
          range_of(ends, 0.01),
          range_of(positions, 0.06)};
}

std::optional<bool> rests_right_at_plus(const FilmContents& contents) {
  const auto rest_of = [&](std::string_view side) {
    const auto found = std::ranges::find(contents.segments, side, &FilmSegment::side);
    return found == contents.segments.end() ? std::nullopt : std::optional(found->equilibrium_mm);
  };
  const auto plus_mm = rest_of("plus");
  const auto minus_mm = rest_of("minus");
  if (!contents.path || !plus_mm || !minus_mm) return std::nullopt;
  return contents.path->at(*plus_mm).x_px > contents.path->at(*minus_mm).x_px;
}

}  // namespace

FilmPainter::FilmPainter(const FilmContents& contents, const FilmLayout& layout, double gain)
    : contents_(contents),
      layout_(layout),
      gain_(gain),
      axes_(plot_axes(contents, layout)),
      rests_right_at_plus_(rests_right_at_plus(contents)) {
  ground_.create(layout.height_px, layout.width_px, CV_8UC4);
  paint_ground();
}

void FilmPainter::paint_ground() {
  on(ground_, [&](Canvas& canvas) {
    canvas.fill({0.0, 0.0, 1.0 * layout_.width_px, 1.0 * layout_.height_px},
                canvas.palette().paper);
  });
  on(ground_, [&](Canvas& canvas) {
    canvas.scaled(plot_factor(layout_), [&] {
      for (const FilmSegment& s : contents_.segments) {
        const double from_pt = axes_.x_pt(s.from_s / kHour_s);
        canvas.fill({from_pt,
                     axes_.area().top_pt,
                     axes_.x_pt(s.to_s / kHour_s) - from_pt,
                     axes_.area().height_pt},
                    side_band(canvas.palette(), s.side));
      }
      axes_.draw(canvas, {"time since the first frame (h)", "position (mm)"});
      for (const FilmSegment& s : contents_.segments) {
        canvas.line(axes_.at(s.from_s / kHour_s, s.equilibrium_mm),
                    axes_.at(s.to_s / kHour_s, s.equilibrium_mm),
                    {.colour = colour_of(s.side), .width_pt = 0.8, .dashes_pt = {3.0, 2.0}});
      }
    });
  });
}

const cv::Mat& FilmPainter::paint(const cv::Mat& picture, std::size_t index) {
  const FilmMoment& moment = contents_.moments.at(index);
  paint_plot(index);
  ground_.copyTo(frame_);
  paint_picture(picture);
  on(frame_, [&](Canvas& canvas) {
    const PaperBox box{1.0 * layout_.picture.x,
                       1.0 * layout_.picture.y,
                       1.0 * layout_.picture.width,
                       1.0 * layout_.picture.height};
    canvas.clipped(box, [&] {
      if (contents_.path) {
        paint_scale(canvas, moment.t_s);
        paint_equilibria(canvas, moment.t_s);
      }
      paint_trail(canvas, index);
      paint_marker(canvas, moment);
      paint_caption(canvas);
    });
    paint_panel(canvas, moment);
    canvas.scaled(plot_factor(layout_), [&] {
      const double x_pt = axes_.x_pt(moment.t_s / kHour_s);
      canvas.line({x_pt, axes_.area().top_pt},
                  {x_pt, axes_.area().bottom_pt()},
                  {.colour = canvas.palette().ink, .width_pt = 0.6});
      if (moment.x_mm) {
        canvas.marker({x_pt, axes_.y_pt(*moment.x_mm)}, {MarkerShape::kDisc, 4.0, kMarker});
      }
    });
  });
  return frame_;
}

void FilmPainter::paint_picture(const cv::Mat& picture) {
  cv::resize(picture, resized_, layout_.picture.size(), 0.0, 0.0, cv::INTER_LINEAR);
  if (gain_ != 1.0) resized_.convertTo(resized_, -1, gain_);
  cv::Mat part = frame_(layout_.picture);
  cv::cvtColor(resized_, part, cv::COLOR_BGR2BGRA);
}

void FilmPainter::paint_plot(std::size_t index) {
  if (plotted_ > index) return;
  std::vector<PaperPoint> points;
  for (; plotted_ <= index; ++plotted_) {
    const FilmMoment& m = contents_.moments[plotted_];
    if (m.x_mm) points.push_back(axes_.at(m.t_s / kHour_s, *m.x_mm));
  }
  on(ground_, [&](Canvas& canvas) {
    canvas.scaled(plot_factor(layout_), [&] {
      canvas.dots(points, {MarkerShape::kDisc, 1.6, canvas.palette().ink});
    });
  });
}

PaperPoint FilmPainter::beside(double t_s, double x_mm, double below) const {
  const auto on_path = contents_.path->at(x_mm);
  const auto along = contents_.path->direction(x_mm);
  const PaperPoint place = layout_.at(contents_.in_frame(t_s, on_path));
  return {place.x_pt - along.y_px * below, place.y_pt + along.x_px * below};
}

void FilmPainter::paint_scale(Canvas& canvas, double t_s) {
  const double unit = layout_.text;
  const Stroke edge{.colour = kShade, .width_pt = 4.0 * unit};
  const Stroke stroke{.colour = kWhite, .width_pt = 1.6 * unit};
  const auto marks = path_marks(*contents_.path);
  for (const Stroke& one : {edge, stroke}) {
    canvas.line(beside(t_s, marks.front().x_mm, 40.0 * unit),
                beside(t_s, marks.back().x_mm, 40.0 * unit),
                one);
    for (const PathMark& mark : marks) {
      canvas.line(beside(t_s, mark.x_mm, 40.0 * unit),
                  beside(t_s, mark.x_mm, (mark.labelled ? 54.0 : 48.0) * unit),
                  one);
    }
  }
  for (const PathMark& mark : marks) {
    if (!mark.labelled) continue;
    label(canvas, beside(t_s, mark.x_mm, 78.0 * unit), fmt::format("{:.0f} mm", mark.x_mm), kWhite);
  }
}

void FilmPainter::paint_equilibria(Canvas& canvas, double t_s) {
  const double unit = layout_.text;
  std::vector<std::string> named;
  for (const FilmSegment& s : contents_.segments) {
    const bool first = std::ranges::find(named, s.side) == named.end();
    named.push_back(s.side);
    if (!first && !(s.from_s <= t_s && t_s < s.to_s)) continue;  // one line a side is enough
    // The names stand at different heights, so that close equilibria do not write over each other.
    const double height = s.side == "plus" ? 70.0 : s.side == "minus" ? 102.0 : 134.0;
    const PaperPoint top = beside(t_s, s.equilibrium_mm, -height * unit);
    const PaperPoint foot = beside(t_s, s.equilibrium_mm, 40.0 * unit);
    canvas.line(top, foot, {.colour = kShade, .width_pt = 6.0 * unit});
    canvas.line(top,
                foot,
                {.colour = colour_of(s.side),
                 .width_pt = 3.0 * unit,
                 .dashes_pt = side_dashes(s.side, 2.0 * unit)});
    if (first) {
      label(canvas,
            {top.x_pt, top.y_pt - 10.0 * unit},
            fmt::format("{} {:.1f} mm", s.side, s.equilibrium_mm),
            colour_of(s.side));
    }
  }
}

double FilmPainter::ring_px(const SpotPosition& spot) const {
  return std::max(44.0 * layout_.text, 8.0 * spot.width_px * layout_.scale);
}

void FilmPainter::paint_trail(Canvas& canvas, std::size_t index) {
  const auto& moments = contents_.moments;
  const double trail_s = kTrailOfNight * (moments.back().t_s - moments.front().t_s);
  std::size_t from = index;
  while (from > 0 && moments[from - 1].t_s > moments[index].t_s - trail_s) --from;
  const std::size_t step = (index - from) / kMostTrailDots + 1;
  for (std::size_t k = from; k < index; k += step) {
    const FilmMoment& m = moments[k];
    if (!m.spot) continue;
    const PaperPoint at = layout_.at({m.spot->x_px, m.spot->y_px});
    if (const auto& now = moments[index].spot) {  // the spot itself stays free
      const PaperPoint here = layout_.at({now->x_px, now->y_px});
      if (std::hypot(at.x_pt - here.x_pt, at.y_pt - here.y_pt) < 0.55 * ring_px(*now)) continue;
    }
    Colour colour = kWhite;
    colour.alpha = 0.7 * static_cast<double>(k - from + 1) / static_cast<double>(index - from + 1);
    canvas.marker(at, {MarkerShape::kDisc, 5.0 * layout_.text, colour});
  }
}

void FilmPainter::paint_marker(Canvas& canvas, const FilmMoment& moment) {
  if (!moment.spot) return;
  canvas.marker(layout_.at({moment.spot->x_px, moment.spot->y_px}),
                {MarkerShape::kRing, ring_px(*moment.spot), kMarker});
}

void FilmPainter::label(Canvas& canvas,
                        PaperPoint at,
                        const std::string& text,
                        const Colour& colour) {
  const double size = 20.0 * layout_.text;
  const TextStyle style{.size_pt = size, .colour = colour, .align = Align::kMiddle, .bold = true};
  const double width = canvas.width_pt(text, style) + 0.6 * size;
  canvas.fill({at.x_pt - 0.5 * width, at.y_pt - size, width, 1.3 * size}, kShade);
  canvas.text(at, text, style);
}

std::string FilmPainter::side_at(double t_s) const {
  std::string side;
  for (const FilmSide& s : contents_.sides) {
    if (s.t_s <= t_s) side = s.side;
  }
  return side;
}

void FilmPainter::paint_panel(Canvas& canvas, const FilmMoment& moment) {
  const double unit = layout_.text;
  const double left = layout_.panel.left_pt + 28.0 * unit;
  double y = 60.0 * unit;
  const auto write = [&](const std::string& text, double size, const Colour& colour, bool bold) {
    canvas.text({left, y}, text, {.size_pt = size * unit, .colour = colour, .bold = bold});
    y += 1.5 * size * unit;
  };
  const Palette& colours = canvas.palette();
  write(duration_text(moment.t_s), 44.0, colours.ink, true);
  if (const auto utc = utc_at(contents_.info, moment.t_s)) {
    const std::string iso = iso_text(*utc);
    write(iso.substr(0, 10) + " " + iso.substr(11, 5) + " UTC", 26.0, colours.faint, false);
  }
  y += 20.0 * unit;
  const std::string side = side_at(moment.t_s);
  if (!side.empty()) write("sources at " + side, 32.0, colour_of(side), true);
  write(moment.x_mm ? fmt::format("spot at {:.1f} mm", *moment.x_mm)
                    : fmt::format("spot {}", word_for(moment.state)),
        32.0,
        colours.ink,
        false);
  paint_balance(canvas, side);
}

/// The balance from above, the wall ahead: boom with test masses, source masses on their side.
void FilmPainter::paint_balance(Canvas& canvas, const std::string& side) {
  const double unit = layout_.text;
  const PaperPoint centre{layout_.panel.left_pt + 0.5 * layout_.panel.width_pt,
                          layout_.panel.bottom_pt() - 230.0 * unit};
  const double arm = 140.0 * unit;
  const Palette& colours = canvas.palette();
  canvas.line({centre.x_pt - arm, centre.y_pt},
              {centre.x_pt + arm, centre.y_pt},
              {.colour = colours.ink, .width_pt = 5.0 * unit});
  for (const double end : {-1.0, 1.0}) {
    canvas.marker({centre.x_pt + end * arm, centre.y_pt},
                  {MarkerShape::kDisc, 34.0 * unit, colours.ink});
    if (!rests_right_at_plus_ || (side != "plus" && side != "minus")) continue;
    // Sources ahead of the right end and behind the left one turn the boom, and the beam, to the
    // left.
    const double up = (side == "plus") == *rests_right_at_plus_ ? -end : end;
    canvas.marker({centre.x_pt + end * arm, centre.y_pt - up * 95.0 * unit},
                  {MarkerShape::kDisc, 110.0 * unit, colour_of(side)});
  }
  canvas.text({centre.x_pt, centre.y_pt + 190.0 * unit},
              "from above, not to scale",
              {.size_pt = 22.0 * unit, .colour = colours.faint, .align = Align::kMiddle});
}

void FilmPainter::paint_caption(Canvas& canvas) {
  if (caption_.empty()) return;
  const double size = 36.0 * layout_.text;
  const TextStyle style{.size_pt = size, .colour = kWhite, .align = Align::kMiddle, .bold = true};
  const PaperPoint at{layout_.picture.x + 0.5 * layout_.picture.width,
                      layout_.picture.y + layout_.picture.height - 1.2 * size};
  const double width = canvas.width_pt(caption_, style) + size;
  canvas.fill({at.x_pt - 0.5 * width, at.y_pt - 1.1 * size, width, 1.5 * size}, kShade);
  canvas.text(at, caption_, style);
}

const cv::Mat& FilmPainter::card(const std::string& heading,
                                 const std::vector<std::string>& lines) {
  frame_.create(layout_.height_px, layout_.width_px, CV_8UC4);
  on(frame_, [&](Canvas& canvas) {
    canvas.fill({0.0, 0.0, 1.0 * layout_.width_px, 1.0 * layout_.height_px},
                canvas.palette().paper);
    TextStyle style{.size_pt = 76.0 * layout_.text,
                    .colour = canvas.palette().ink,
                    .align = Align::kMiddle,
                    .bold = true};
    // A long title becomes smaller rather than cut.
    const double room = 0.9 * layout_.width_px;
    style.size_pt *= std::min(1.0, room / std::max(1.0, canvas.width_pt(heading, style)));
    double y = 0.42 * layout_.height_px;
    canvas.text({0.5 * layout_.width_px, y}, heading, style);
    for (const std::string& line : lines) {
      TextStyle small{.size_pt = 38.0 * layout_.text,
                      .colour = canvas.palette().faint,
                      .align = Align::kMiddle};
      small.size_pt *= std::min(1.0, room / std::max(1.0, canvas.width_pt(line, small)));
      y += 70.0 * layout_.text;
      canvas.text({0.5 * layout_.width_px, y}, line, small);
    }
  });
  return frame_;
}

}  // namespace nightswing::tracker
