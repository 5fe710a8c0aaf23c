#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "tracker/csv_text.h"
#include "tracker/report/axes.h"
#include "tracker/report/figures.h"
#include "tracker/report/residual_statistics.h"

namespace nightswing::tracker {
namespace {

constexpr double kHour_s = 3600.0;
constexpr double kColumn_pt = 0.4;
constexpr const char* kTimeLabel = "time since the first frame (h)";

PaperBox area_in(double width_pt, double height_pt, double left_pt = 52.0) {
  return {.left_pt = left_pt,
          .top_pt = 20.0,
          .width_pt = width_pt - left_pt - 12.0,
          .height_pt = height_pt - 52.0};
}

std::vector<double> dashes_of(const std::string& side) {
  if (side == "plus") return {};
  return side == "minus" ? std::vector<double>{5.0, 2.0} : std::vector<double>{1.5, 1.5};
}

/// The ground behind each segment, named above it.
void shade_segments(Canvas& canvas, const Axes& axes, const ShownNight& night) {
  for (const ShownSegment& segment : night.segments) {
    const double from_pt = axes.x_pt(segment.from_s / kHour_s);
    const double to_pt = axes.x_pt(segment.to_s / kHour_s);
    canvas.fill({from_pt, axes.area().top_pt, to_pt - from_pt, axes.area().height_pt},
                side_band(canvas.palette(), segment.side));
    canvas.text({0.5 * (from_pt + to_pt), axes.area().top_pt - 5.0},
                "sources at " + segment.side,
                {.size_pt = 8.0,
                 .colour = side_colour(canvas.palette(), segment.side),
                 .align = Align::kMiddle,
                 .bold = true});
  }
}

void mark_events(Canvas& canvas, const Axes& axes, const ShownNight& night) {
  const Colour& ink = canvas.palette().faint;
  for (const ShownEvent& event : night.events) {
    if (!event.t_s || event.event == "started" || event.event == "ended" || event.event == "side") {
      continue;
    }
    const double x_pt = axes.x_pt(*event.t_s / kHour_s);
    canvas.line({x_pt, axes.area().top_pt},
                {x_pt, axes.area().bottom_pt()},
                {.colour = ink, .width_pt = 0.7, .dashes_pt = {1.0, 2.0}});
    canvas.text({x_pt - 2.0, axes.area().bottom_pt() - 4.0},
                event.event,
                {.size_pt = 6.5, .colour = ink, .upwards = true});
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
                {.colour = colour, .width_pt = 1.4, .dashes_pt = dashes_of(segment.side)});
  }
  for (const PaperPoint& p : left_out) {
    canvas.marker(p, {MarkerShape::kRing, 5.0, canvas.palette().ink});
  }
  mark_events(canvas, axes, night);
}

Figure night_figure(const ShownNight& night) {
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
          .title = "The night: readings (dots), fit (thin line) and equilibria (thick lines)",
          .alt = alt + ".",
          .width_pt = kPageWidth_pt,
          .height_pt = 260.0,
          .csv = night_csv(night),
          .draw = [&night](Canvas& canvas) {
            draw_night(canvas, night, area_in(kPageWidth_pt, 260.0));
          }};
}

void draw_residuals(Canvas& canvas, const ShownNight& night) {
  std::vector<double> residuals;
  for (const ShownSample& s : night.samples) {
    if (s.residual_mm) residuals.push_back(*s.residual_mm);
  }
  const Axes axes(area_in(kPageWidth_pt, 170.0), hours_of(night), range_of(residuals, 0.08));
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

void draw_distribution(Canvas& canvas, const std::vector<ResidualBin>& bins) {
  double most = 0.0;
  for (const ResidualBin& b : bins) {
    most = std::max({most, static_cast<double>(b.count), b.normal_count});
  }
  const Axes axes(
      area_in(kHalfWidth_pt, 190.0), {bins.front().from_mm, bins.back().to_mm}, {0.0, 1.08 * most});
  axes.draw(canvas, {"measured \u2212 fit (mm)", "readings"});
  std::vector<PaperPoint> normal;
  for (const ResidualBin& b : bins) {
    const double left_pt = axes.x_pt(b.from_mm);
    const double top_pt = axes.y_pt(static_cast<double>(b.count));
    const PaperBox bar{
        left_pt, top_pt, axes.x_pt(b.to_mm) - left_pt, axes.area().bottom_pt() - top_pt};
    Colour ground = canvas.palette().plus;
    ground.alpha = 0.35;
    canvas.fill(bar, ground);
    canvas.frame(bar, {.colour = canvas.palette().plus, .width_pt = 0.6});
    normal.push_back(axes.at(0.5 * (b.from_mm + b.to_mm), b.normal_count));
  }
  canvas.polyline(normal, {.colour = canvas.palette().ink, .width_pt = 1.2, .dashes_pt = {3, 2}});
}

Figure distribution_figure(const std::vector<ResidualBin>& bins) {
  std::string csv = "from_mm,to_mm,readings,normal_readings\n";
  for (const ResidualBin& b : bins) {
    csv += fmt::format("{},{},{},{}\n",
                       number_text(b.from_mm, 6),
                       number_text(b.to_mm, 6),
                       b.count,
                       number_text(b.normal_count, 3));
  }
  return {.name = "residual_distribution",
          .title = "Their distribution; dashed: a normal one of the same width",
          .alt =
              "Histogram of the residuals with the normal distribution of the same mean and "
              "standard deviation.",
          .width_pt = kHalfWidth_pt,
          .height_pt = 190.0,
          .csv = csv,
          .draw = [bins](Canvas& canvas) { draw_distribution(canvas, bins); }};
}

void draw_autocorrelation(Canvas& canvas,
                          const std::vector<ResidualCorrelation>& correlation,
                          double period_s) {
  double least = -0.2;
  for (const auto& one : correlation) least = std::min(least, one.correlation);
  const Axes axes(area_in(kHalfWidth_pt, 190.0),
                  {0.0, correlation.back().lag_s},
                  {std::max(-1.0, least - 0.05), 1.05});
  axes.draw(canvas, {"time between two readings (s)", "correlation"});
  const double x_pt = axes.x_pt(period_s);
  canvas.line({x_pt, axes.area().top_pt},
              {x_pt, axes.area().bottom_pt()},
              {.colour = canvas.palette().faint, .width_pt = 0.7, .dashes_pt = {1.5, 2}});
  canvas.text({x_pt + 3.0, axes.area().top_pt + 10.0},
              "one period",
              {.size_pt = 7.0, .colour = canvas.palette().faint});
  canvas.line({axes.area().left_pt, axes.y_pt(0.0)},
              {axes.area().right_pt(), axes.y_pt(0.0)},
              {.colour = canvas.palette().ink, .width_pt = 0.7});
  std::vector<PaperPoint> points;
  for (const auto& one : correlation) points.push_back(axes.at(one.lag_s, one.correlation));
  canvas.polyline(points, {.colour = canvas.palette().plus, .width_pt = 1.0});
}

Figure autocorrelation_figure(const std::vector<ResidualCorrelation>& correlation,
                              double period_s) {
  std::string csv = "lag_s,correlation,pairs\n";
  for (const auto& one : correlation) {
    csv += fmt::format(
        "{},{},{}\n", number_text(one.lag_s, 3), number_text(one.correlation, 5), one.pairs);
  }
  return {.name = "residual_autocorrelation",
          .title = "Their autocorrelation: how long errors remember each other",
          .alt = "Correlation of two residuals against the time between them, up to two periods.",
          .width_pt = kHalfWidth_pt,
          .height_pt = 190.0,
          .csv = csv,
          .draw = [correlation, period_s](Canvas& canvas) {
            draw_autocorrelation(canvas, correlation, period_s);
          }};
}

void draw_folded(Canvas& canvas, const std::vector<FoldedReading>& folded) {
  std::vector<double> values{-1.1, 1.1};
  for (const FoldedReading& r : folded) values.push_back(r.relative);
  const Axes axes(area_in(kHalfWidth_pt, 190.0), {0.0, 1.0}, range_of(values, 0.02));
  axes.draw(canvas, {"phase (periods)", "distance from rest / amplitude"});
  for (const bool plus : {true, false}) {
    std::vector<PaperPoint> points;
    for (const FoldedReading& r : folded) {
      if (r.plus == plus) points.push_back(axes.at(r.phase, r.relative));
    }
    std::ranges::sort(points, {}, &PaperPoint::x_pt);
    canvas.dots(thinned_for_paper(points, kColumn_pt),
                {plus ? MarkerShape::kDisc : MarkerShape::kSquare,
                 plus ? 3.2 : 1.2,  // the first ones would else vanish behind the second
                 side_colour(canvas.palette(), plus ? "plus" : "minus")});
  }
  for (const bool plus : {true, false}) {
    const double y_pt = axes.area().top_pt - 8.0;
    const double x_pt = axes.area().left_pt + (plus ? 4.0 : 54.0);
    canvas.marker({x_pt, y_pt},
                  {plus ? MarkerShape::kDisc : MarkerShape::kSquare,
                   4.0,
                   side_colour(canvas.palette(), plus ? "plus" : "minus")});
    canvas.text({x_pt + 6.0, y_pt + 2.5},
                plus ? "plus" : "minus",
                {.size_pt = 7.5, .colour = canvas.palette().ink});
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
          .title = "The swing folded onto one period, damping taken out",
          .alt =
              "Distance from rest over the damped amplitude against the phase of the swing, for "
              "all readings of both sides: one cosine if the swing is what the fit takes it for.",
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
  const Axes axes(area_in(kHalfWidth_pt, 190.0), range_of(hours, 0.05), range_of(offsets, 0.1));
  axes.draw(canvas, {kTimeLabel, "rest position, shift taken out (mm)"});
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
  const auto bins = residual_distribution(night);
  if (!bins.empty()) {
    figures.push_back(residual_figure(night));
    figures.push_back(distribution_figure(bins));
  }
  const auto correlation = residual_autocorrelation(night);
  if (!correlation.empty()) {
    figures.push_back(autocorrelation_figure(correlation, night.period_s));
  }
  const auto folded = folded_swing(night);
  if (!folded.empty()) figures.push_back(folded_figure(folded));
  const auto drift = drift_points(night);
  if (drift.size() > 1) figures.push_back(drift_figure(drift));
  return figures;
}

}  // namespace nightswing::tracker
