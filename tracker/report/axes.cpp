#include "tracker/report/axes.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace nightswing::tracker {
namespace {

constexpr double kTick_pt = 3.0;
constexpr double kNumber_pt = 8.5;
constexpr double kLabel_pt = 9.5;

double step_of(const std::vector<double>& ticks) {
  return ticks[1] - ticks[0];
}

}  // namespace

Range range_of(std::span<const double> values, double margin) {
  const auto [low, high] = std::ranges::minmax_element(values);
  double length = *high - *low;
  if (!(length > 0.0)) length = std::max(1e-12, std::abs(*high));
  return {.from = *low - margin * length, .to = *high + margin * length};
}

namespace {

/// Steps of 1, 2 or 5 times a power of ten, at least `raw` apart.
std::vector<double> ticks_apart(Range range, double raw) {
  const double power = std::pow(10.0, std::floor(std::log10(raw)));
  double step = 10.0 * power;
  for (const double factor : {1.0, 2.0, 5.0}) {
    if (factor * power >= raw * (1.0 - 1e-9)) {
      step = factor * power;
      break;
    }
  }
  std::vector<double> ticks;
  const double slack = 1e-9 * range.length();
  for (double k = std::ceil((range.from - slack) / step); k * step <= range.to + slack; k += 1.0) {
    ticks.push_back(k * step + 0.0);
  }
  return ticks;
}

}  // namespace

std::vector<double> round_ticks(Range range, int wanted) {
  double raw = range.length() / std::max(1, wanted);
  std::vector<double> ticks = ticks_apart(range, raw);
  for (; ticks.size() < 2; raw /= 2.0) ticks = ticks_apart(range, raw);
  return ticks;
}

std::string tick_text(double value, double step) {
  const int decimals = std::max(0, static_cast<int>(std::ceil(-std::log10(std::abs(step)) - 1e-9)));
  std::string text = fmt::format("{:.{}f}", std::abs(value), decimals);
  const bool zero = text.find_first_not_of("0.") == std::string::npos;
  return value < 0.0 && !zero ? "\u2212" + text : text;
}

std::string small_text(double value, int decimals) {
  const double last = std::pow(10.0, -decimals);
  if (std::abs(value) >= 0.5 * last) return fmt::format("{:.{}f}", value, decimals);
  return value == 0.0 ? "0" : fmt::format("<{:.{}f}", last, decimals);
}

double Axes::x_pt(double x) const {
  return area_.left_pt + area_.width_pt * (x - x_.from) / x_.length();
}

double Axes::y_pt(double y) const {
  return area_.bottom_pt() - area_.height_pt * (y - y_.from) / y_.length();
}

void Axes::draw(Canvas& canvas, const AxesLabels& labels, bool y_numbers) const {
  const Palette& colours = canvas.palette();
  const Stroke grid{.colour = colours.grid, .width_pt = 0.5};
  const Stroke tick{.colour = colours.ink, .width_pt = 0.7};
  const TextStyle number{.size_pt = kNumber_pt, .colour = colours.ink, .align = Align::kMiddle};
  const auto x_ticks = round_ticks(x_, std::max(2, static_cast<int>(area_.width_pt / 42.0)));
  for (const double x : x_ticks) {
    canvas.line({x_pt(x), area_.top_pt}, {x_pt(x), area_.bottom_pt()}, grid);
    canvas.line({x_pt(x), area_.bottom_pt()}, {x_pt(x), area_.bottom_pt() + kTick_pt}, tick);
    canvas.text({x_pt(x), area_.bottom_pt() + kTick_pt + kNumber_pt + 1.0},
                tick_text(x, step_of(x_ticks)),
                number);
  }
  TextStyle at_left = number;
  at_left.align = Align::kEnd;
  double widest_pt = 0.0;
  if (y_numbers) {
    const auto y_ticks = round_ticks(y_, std::max(3, static_cast<int>(area_.height_pt / 28.0)));
    for (const double y : y_ticks) {
      const std::string text = tick_text(y, step_of(y_ticks));
      widest_pt = std::max(widest_pt, canvas.width_pt(text, at_left));
      canvas.line({area_.left_pt, y_pt(y)}, {area_.right_pt(), y_pt(y)}, grid);
      canvas.line({area_.left_pt - kTick_pt, y_pt(y)}, {area_.left_pt, y_pt(y)}, tick);
      canvas.text({area_.left_pt - kTick_pt - 2.0, y_pt(y) + 0.36 * kNumber_pt}, text, at_left);
    }
  }
  canvas.frame(area_, tick);
  const TextStyle label{.size_pt = kLabel_pt, .colour = colours.ink, .align = Align::kMiddle};
  canvas.text({area_.left_pt + 0.5 * area_.width_pt, area_.bottom_pt() + 26.0}, labels.x, label);
  TextStyle beside = label;
  beside.upwards = true;
  canvas.text({area_.left_pt - kTick_pt - 9.0 - widest_pt, area_.top_pt + 0.5 * area_.height_pt},
              labels.y,
              beside);
}

PaperBox figure_area(double width_pt, double height_pt) {
  constexpr double kLeft_pt = 52.0;
  return {.left_pt = kLeft_pt,
          .top_pt = 20.0,
          .width_pt = width_pt - kLeft_pt - 12.0,
          .height_pt = height_pt - 52.0};
}

std::vector<PaperPoint> thinned_for_paper(std::vector<PaperPoint> points, double column_pt) {
  std::vector<PaperPoint> kept;
  for (std::size_t from = 0; from < points.size();) {
    const double column = std::floor(points[from].x_pt / column_pt);
    std::size_t low = from;
    std::size_t high = from;
    std::size_t to = from;
    for (; to < points.size() && std::floor(points[to].x_pt / column_pt) == column; ++to) {
      if (points[to].y_pt < points[low].y_pt) low = to;
      if (points[to].y_pt > points[high].y_pt) high = to;
    }
    kept.push_back(points[std::min(low, high)]);
    if (low != high) kept.push_back(points[std::max(low, high)]);
    from = to;
  }
  return kept;
}

}  // namespace nightswing::tracker
