#pragma once

#include <string>
#include <vector>

#include "tracker/report/canvas.h"

namespace nightswing::tracker {

struct Range {
  double from;
  double to;
  [[nodiscard]] double length() const { return to - from; }
};

/// The least range that holds all values, widened on both sides by `margin` of its length; one
/// value alone gets a range around it. values must not be empty.
[[nodiscard]] Range range_of(std::span<const double> values, double margin);

/// Round numbers (steps of 1, 2 or 5 times a power of ten) inside the range, about `wanted` of
/// them, and at least two: a single one would not say how far it is to the next.
[[nodiscard]] std::vector<double> round_ticks(Range range, int wanted);

/// `-0.25` with as many decimals as the step of the ticks needs, and a true minus sign.
[[nodiscard]] std::string tick_text(double value, double step);

/// `0.2` with so many decimals, and `<0.1` for what they cannot show but is there.
[[nodiscard]] std::string small_text(double value, int decimals);

struct AxesLabels {
  std::string x;  ///< quantity and unit
  std::string y;
};

/// A rectangle of paper with the axes of two quantities.
class Axes {
 public:
  Axes(const PaperBox& area, Range x, Range y) : area_(area), x_(x), y_(y) {}

  [[nodiscard]] const PaperBox& area() const { return area_; }
  [[nodiscard]] double x_pt(double x) const;
  [[nodiscard]] double y_pt(double y) const;
  [[nodiscard]] PaperPoint at(double x, double y) const { return {x_pt(x), y_pt(y)}; }
  [[nodiscard]] Range x() const { return x_; }
  [[nodiscard]] Range y() const { return y_; }

  /// Grid, frame, numbers and labels. Without `y_numbers` the y axis is left to the caller.
  void draw(Canvas& canvas, const AxesLabels& labels, bool y_numbers = true) const;

 private:
  PaperBox area_;
  Range x_;
  Range y_;
};

/// Where the axes of a figure stand, with room for numbers and labels around them.
[[nodiscard]] PaperBox figure_area(double width_pt, double height_pt);

/// For a curve of many points: the lowest and the highest point of each column of the paper, in
/// order, so that nothing visible is lost. Points are those of `axes`, x not falling.
[[nodiscard]] std::vector<PaperPoint> thinned_for_paper(std::vector<PaperPoint> points,
                                                        double column_pt);

}  // namespace nightswing::tracker
