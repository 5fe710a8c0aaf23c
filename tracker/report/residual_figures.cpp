#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "tracker/report/axes.h"
#include "tracker/report/figures.h"
#include "tracker/report/residual_statistics.h"
#include "tracker/run/csv_text.h"

namespace nightswing::tracker {
namespace {

void draw_distribution(Canvas& canvas, const std::vector<ResidualBin>& bins) {
  double most = 0.0;
  for (const ResidualBin& b : bins) {
    most = std::max({most, static_cast<double>(b.count), b.normal_count});
  }
  const Axes axes(figure_area(kHalfWidth_pt, 190.0),
                  {bins.front().from_mm, bins.back().to_mm},
                  {0.0, 1.08 * most});
  axes.draw(canvas, {"measured \u2212 fit (mm)", "readings"});
  for (const ResidualBin& b : bins) {
    const double left_pt = axes.x_pt(b.from_mm);
    const double top_pt = axes.y_pt(static_cast<double>(b.count));
    const PaperBox bar{
        left_pt, top_pt, axes.x_pt(b.to_mm) - left_pt, axes.area().bottom_pt() - top_pt};
    Colour ground = canvas.palette().plus;
    ground.alpha = 0.35;
    canvas.fill(bar, ground);
    canvas.frame(bar, {.colour = canvas.palette().plus, .width_pt = 0.6});
  }
  std::vector<PaperPoint> normal;
  for (const NormalPoint& p : normal_curve(bins))
    normal.push_back(axes.at(p.residual_mm, p.readings));
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

/// What independent residuals stay within nineteen times in twenty: 1.96 over the root of the
/// pairs (M. S. Bartlett, J. R. Stat. Soc. Suppl. 8 (1946) 27, for none that are correlated; from
/// memory).
double by_chance(const LagCorrelation& one) {
  return 1.96 / std::sqrt(static_cast<double>(one.pairs));
}

void draw_autocorrelation(Canvas& canvas,
                          const std::vector<LagCorrelation>& correlation,
                          double period_s) {
  // At no distance it is 1 by definition, which would press all the rest onto the axis.
  const std::vector<LagCorrelation> shown(correlation.begin() + 1, correlation.end());
  std::vector<double> values{-0.1, 0.1};
  for (const auto& one : shown) values.push_back(one.correlation);
  const Axes axes(
      figure_area(kHalfWidth_pt, 190.0), {0.0, shown.back().lag_s}, range_of(values, 0.08));
  axes.draw(canvas, {"time between two readings (s)", "correlation"});
  for (const double sign : {1.0, -1.0}) {
    std::vector<PaperPoint> chance;
    for (const auto& one : shown) chance.push_back(axes.at(one.lag_s, sign * by_chance(one)));
    canvas.polyline(chance,
                    {.colour = canvas.palette().faint, .width_pt = 0.8, .dashes_pt = {4, 3}});
  }
  const double x_pt = axes.x_pt(period_s);
  canvas.line({x_pt, axes.area().top_pt},
              {x_pt, axes.area().bottom_pt()},
              {.colour = canvas.palette().faint, .width_pt = 0.7, .dashes_pt = {1.5, 2}});
  canvas.text({x_pt + 3.0, axes.area().top_pt + 10.0},
              "one period",
              {.size_pt = 8.0, .colour = canvas.palette().faint});
  canvas.line({axes.area().left_pt, axes.y_pt(0.0)},
              {axes.area().right_pt(), axes.y_pt(0.0)},
              {.colour = canvas.palette().ink, .width_pt = 0.7});
  std::vector<PaperPoint> points;
  for (const auto& one : shown) points.push_back(axes.at(one.lag_s, one.correlation));
  canvas.polyline(points, {.colour = canvas.palette().plus, .width_pt = 1.0});
}

Figure autocorrelation_figure(const std::vector<LagCorrelation>& correlation, double period_s) {
  std::string csv = "lag_s,correlation,pairs\n";
  for (const auto& one : correlation) {
    csv += fmt::format(
        "{},{},{}\n", number_text(one.lag_s, 3), number_text(one.correlation, 5), one.pairs);
  }
  return {
      .name = "residual_autocorrelation",
      .title =
          "Their autocorrelation: how long errors remember each other; dashed: what chance stays "
          "within nineteen times in twenty",
      .alt =
          "Correlation of two residuals against the time between them, up to two periods, and "
          "the band that independent ones would stay within nineteen times in twenty.",
      .width_pt = kHalfWidth_pt,
      .height_pt = 190.0,
      .csv = csv,
      .draw = [correlation, period_s](Canvas& canvas) {
        draw_autocorrelation(canvas, correlation, period_s);
      }};
}

}  // namespace

std::vector<Figure> residual_figures(const ShownNight& night) {
  std::vector<Figure> figures;
  const auto bins = residual_distribution(night);
  if (!bins.empty()) figures.push_back(distribution_figure(bins));
  const auto correlation = residual_autocorrelation(night);
  if (correlation.size() > 2) {
    figures.push_back(autocorrelation_figure(correlation, night.period_s));
  }
  return figures;
}

}  // namespace nightswing::tracker
