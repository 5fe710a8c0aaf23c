#include <algorithm>
#include <cmath>
#include <iterator>

#include <fmt/format.h>

#include "tracker/report/axes.h"
#include "tracker/report/figures.h"
#include "tracker/report/residual_statistics.h"
#include "tracker/run/csv_text.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

constexpr double kColumn_pt = 0.4;
constexpr const char* kTimeLabel = "time since the first frame (h)";

/// Names a side above a part of the area, as fully as the part is wide.
void name_side(Canvas& canvas, PaperPoint top_left, double width_pt, const std::string& side) {
  const TextStyle style{.size_pt = 8.5,
                        .colour = side_colour(canvas.palette(), side),
                        .align = Align::kMiddle,
                        .bold = true};
  for (const std::string& name : {"sources at " + side, side}) {
    if (canvas.width_pt(name, style) > width_pt) continue;
    canvas.text({top_left.x_pt + 0.5 * width_pt, top_left.y_pt - 5.0}, name, style);
    return;
  }
}

/// The ground behind each segment, named above it.
void shade_segments(Canvas& canvas, const Axes& axes, const ShownNight& night) {
  for (const ShownSegment& segment : night.segments) {
    const double from_pt = axes.x_pt(segment.from_s / kHour_s);
    const double to_pt = axes.x_pt(segment.to_s / kHour_s);
    canvas.fill({from_pt, axes.area().top_pt, to_pt - from_pt, axes.area().height_pt},
                side_band(canvas.palette(), segment.side));
    name_side(canvas, {from_pt, axes.area().top_pt}, to_pt - from_pt, segment.side);
  }
}

/// A dotted line at each event; those too close for a name each have one together.
void mark_events(Canvas& canvas, const Axes& axes, const ShownNight& night) {
  const TextStyle style{.size_pt = 7.5, .colour = canvas.palette().faint, .upwards = true};
  double named_until_pt = -1.0;
  // The sides are named above their segments.
  const auto has_line = [](const ShownEvent& e) { return is_marked(e) && e.event != "side"; };
  for (const ShownEvent& event : night.events) {
    if (!has_line(event)) continue;
    const double x_pt = axes.x_pt(*event.t_s / kHour_s);
    canvas.line({x_pt, axes.area().top_pt},
                {x_pt, axes.area().bottom_pt()},
                {.colour = style.colour, .width_pt = 0.7, .dashes_pt = {1.0, 2.0}});
    if (x_pt < named_until_pt) continue;
    const auto near = [&](const ShownEvent& other) {
      return has_line(other) && axes.x_pt(*other.t_s / kHour_s) >= x_pt &&
             axes.x_pt(*other.t_s / kHour_s) < x_pt + style.size_pt + 1.0;
    };
    const auto together = std::ranges::count_if(night.events, near);
    canvas.text(
        {x_pt - 2.0, axes.area().bottom_pt() - 4.0},
        together > 1 ? fmt::format("{}, and {} more", event.event, together - 1) : event.event,
        style);
    named_until_pt = x_pt + style.size_pt + 1.0;
  }
}

Range hours_of(const ShownNight& night) {
  const double ends[] = {night.samples.front().t_s / kHour_s, night.samples.back().t_s / kHour_s};
  return range_of(ends, 0.01);
}

std::string night_csv(const ShownNight& night) {
  std::string csv = "t_s,x_mm,u_mm,fit_mm,residual_mm,use\n";
  for (const ShownSample& s : night.samples) {
    csv += fmt::format("{},{},{},{},{},{}\n",
                       number_text(s.t_s, 3),
                       number_text(s.x_mm, 5),
                       number_text(s.u_mm, 5),
                       s.residual_mm ? number_text(s.x_mm - *s.residual_mm, 5) : "",
                       s.residual_mm ? number_text(*s.residual_mm, 5) : "",
                       s.residual_mm ? "fitted" : (s.left_out ? "left out" : "outside segments"));
  }
  return csv;
}

void draw_night(Canvas& canvas, const ShownNight& night, const PaperBox& area) {
  std::vector<double> positions;
  for (const ShownSample& s : night.samples) positions.push_back(s.x_mm);
  const Axes axes(area, hours_of(night), range_of(positions, 0.05));
  shade_segments(canvas, axes, night);
  axes.draw(canvas, {kTimeLabel, "position on the scale (mm)"});
  std::vector<PaperPoint> measured;
  std::vector<PaperPoint> left_out;
  for (const ShownSample& s : night.samples) {
    (s.left_out ? left_out : measured).push_back(axes.at(s.t_s / kHour_s, s.x_mm));
  }
  canvas.dots(thinned_for_paper(measured, kColumn_pt),
              {MarkerShape::kDisc, 1.6, canvas.palette().faint});
  for (const ShownSegment& segment : night.segments) {
    std::vector<PaperPoint> fit;
    for (const ShownSample& s : night.samples) {
      if (!s.residual_mm || segment_at(night, s.t_s) != &segment) continue;
      fit.push_back(axes.at(s.t_s / kHour_s, s.x_mm - *s.residual_mm));
    }
    const Colour& colour = side_colour(canvas.palette(), segment.side);
    canvas.polyline(thinned_for_paper(fit, kColumn_pt), {.colour = colour, .width_pt = 0.7});
    canvas.line(axes.at(segment.from_s / kHour_s, segment.rest_mm(segment.from_s)),
                axes.at(segment.to_s / kHour_s, segment.rest_mm(segment.to_s)),
                {.colour = colour, .width_pt = 1.4, .dashes_pt = side_dashes(segment.side)});
  }
  for (const PaperPoint& p : left_out) {
    canvas.marker(p, {MarkerShape::kRing, 5.0, canvas.palette().ink});
  }
  mark_events(canvas, axes, night);
}

Figure night_figure(const ShownNight& night) {
  const auto left_out = std::ranges::count_if(night.samples, &ShownSample::left_out);
  std::string title = "The night: readings (dots), fit (thin line) and equilibria (thick lines)";
  if (left_out > 0) {
    title += fmt::format("; black rings: {} readings left out, as they stand out from those around",
                         left_out);
  }
  std::string alt = fmt::format("Position of the spot in mm against time in hours: {} readings",
                                night.samples.size());
  for (const ShownSegment& segment : night.segments) {
    alt += fmt::format("; sources at {} from {} to {}, swinging about {:.2f} mm",
                       segment.side,
                       duration_text(segment.from_s),
                       duration_text(segment.to_s),
                       segment.equilibrium_mm.value);
  }
  return {.name = "night",
          .title = title,
          .alt = alt + ".",
          .width_pt = kPageWidth_pt,
          .height_pt = 260.0,
          .csv = night_csv(night),
          .draw = [&night](Canvas& canvas) {
            draw_night(canvas, night, figure_area(kPageWidth_pt, 260.0));
          }};
}

void draw_residuals(Canvas& canvas, const ShownNight& night) {
  std::vector<double> residuals;
  for (const ShownSample& s : night.samples) {
    if (s.residual_mm) residuals.push_back(*s.residual_mm);
  }
  const Axes axes(figure_area(kPageWidth_pt, 170.0), hours_of(night), range_of(residuals, 0.08));
  shade_segments(canvas, axes, night);
  axes.draw(canvas, {kTimeLabel, "measured \u2212 fit (mm)"});
  for (const char* side : {"plus", "minus", "away"}) {
    std::vector<PaperPoint> points;
    for (const ShownSample& s : night.samples) {
      const ShownSegment* segment = segment_at(night, s.t_s);
      if (!s.residual_mm || segment == nullptr || segment->side != side) continue;
      points.push_back(axes.at(s.t_s / kHour_s, *s.residual_mm));
    }
    const bool round = std::string_view(side) == "plus";
    canvas.dots(thinned_for_paper(points, kColumn_pt),
                {round ? MarkerShape::kDisc : MarkerShape::kSquare,
                 1.4,
                 side_colour(canvas.palette(), side)});
  }
  canvas.line({axes.area().left_pt, axes.y_pt(0.0)},
              {axes.area().right_pt(), axes.y_pt(0.0)},
              {.colour = canvas.palette().ink, .width_pt = 0.7});
}

Figure residual_figure(const ShownNight& night) {
  std::string csv = "t_s,residual_mm\n";
  for (const ShownSample& s : night.samples) {
    if (!s.residual_mm) continue;
    csv += fmt::format("{},{}\n", number_text(s.t_s, 3), number_text(*s.residual_mm, 5));
  }
  return {.name = "residuals",
          .title = "Residuals: each reading less what the fit foretold from those before it",
          .alt = fmt::format("Measured minus foretold position in mm against time in hours; r.m.s. "
                             "{:.4f} mm.",
                             night.residual_rms_mm),
          .width_pt = kPageWidth_pt,
          .height_pt = 170.0,
          .csv = csv,
          .draw = [&night](Canvas& canvas) { draw_residuals(canvas, night); }};
}

/// One side after the other, because on each other the later one would hide the first.
void draw_folded(Canvas& canvas, const std::vector<FoldedReading>& folded) {
  std::vector<double> values{-1.1, 1.1};
  for (const FoldedReading& r : folded) values.push_back(r.relative);
  const Axes axes(figure_area(kHalfWidth_pt, 190.0), {0.0, 2.0}, range_of(values, 0.02));
  const PaperBox& area = axes.area();
  for (const bool plus : {true, false}) {
    const std::string side = plus ? "plus" : "minus";
    canvas.fill({axes.x_pt(plus ? 0.0 : 1.0), area.top_pt, 0.5 * area.width_pt, area.height_pt},
                side_band(canvas.palette(), side));
  }
  axes.draw(canvas, {"phase (periods)", "distance from rest / amplitude"});
  for (const bool plus : {true, false}) {
    const std::string side = plus ? "plus" : "minus";
    const double from = plus ? 0.0 : 1.0;
    std::vector<PaperPoint> points;
    for (const FoldedReading& r : folded) {
      if (r.plus == plus) points.push_back(axes.at(from + r.phase, r.relative));
    }
    std::ranges::sort(points, {}, &PaperPoint::x_pt);
    canvas.dots(thinned_for_paper(points, kColumn_pt),
                {plus ? MarkerShape::kDisc : MarkerShape::kSquare,
                 1.8,
                 side_colour(canvas.palette(), side)});
    name_side(canvas, {axes.x_pt(from), area.top_pt}, 0.5 * area.width_pt, side);
  }
}

Figure folded_figure(const std::vector<FoldedReading>& folded) {
  std::string csv = "phase,relative,side\n";
  for (const FoldedReading& r : folded) {
    csv += fmt::format("{},{},{}\n",
                       number_text(r.phase, 5),
                       number_text(r.relative, 5),
                       r.plus ? "plus" : "minus");
  }
  return {.name = "folded_swing",
          .title = "The swing folded onto one period, damping taken out: each side by itself",
          .alt =
              "Distance from rest over the damped amplitude against the phase of the swing, for "
              "all readings of each side: one cosine if the swing is what the fit takes it for.",
          .width_pt = kHalfWidth_pt,
          .height_pt = 190.0,
          .csv = csv,
          .draw = [folded](Canvas& canvas) { draw_folded(canvas, folded); }};
}

void draw_drift(Canvas& canvas, const std::vector<DriftPoint>& points) {
  std::vector<double> hours;
  std::vector<double> offsets;
  for (const DriftPoint& p : points) {
    hours.push_back(p.t_s / kHour_s);
    offsets.push_back(p.offset_mm);
    offsets.push_back(p.fitted_mm);
  }
  const Axes axes(figure_area(kHalfWidth_pt, 190.0), range_of(hours, 0.05), range_of(offsets, 0.1));
  axes.draw(canvas, {kTimeLabel, "rest position less shift (mm)"});
  std::vector<PaperPoint> line;
  for (const DriftPoint& p : points) line.push_back(axes.at(p.t_s / kHour_s, p.fitted_mm));
  canvas.polyline(line, {.colour = canvas.palette().ink, .width_pt = 1.0});
  for (const DriftPoint& p : points) {
    canvas.marker(axes.at(p.t_s / kHour_s, p.offset_mm),
                  {MarkerShape::kRing, 4.0, canvas.palette().plus});
  }
}

Figure drift_figure(const std::vector<DriftPoint>& points) {
  std::string csv = "t_s,fitted_mm,offset_mm\n";
  for (const DriftPoint& p : points) {
    csv += fmt::format("{},{},{}\n",
                       number_text(p.t_s, 3),
                       number_text(p.fitted_mm, 6),
                       number_text(p.offset_mm, 6));
  }
  return {.name = "drift",
          .title = "Drift: line by the fit, rings the mean of each period",
          .alt =
              "Rest position with the shift of the sources taken out, in mm against hours: the "
              "fitted drift and what each period of the swing says by itself.",
          .width_pt = kHalfWidth_pt,
          .height_pt = 190.0,
          .csv = csv,
          .draw = [points](Canvas& canvas) { draw_drift(canvas, points); }};
}

}  // namespace

std::vector<Figure> swing_figures(const ShownNight& night) {
  std::vector<Figure> figures;
  if (night.samples.empty()) return figures;
  figures.push_back(night_figure(night));
  if (auto more = residual_figures(night); !more.empty()) {
    figures.push_back(residual_figure(night));
    std::ranges::move(more, std::back_inserter(figures));
  }
  const auto folded = folded_swing(night);
  if (!folded.empty()) figures.push_back(folded_figure(folded));
  const auto drift = drift_points(night);
  if (drift.size() > 1) figures.push_back(drift_figure(drift));
  return figures;
}

}  // namespace nightswing::tracker
