#pragma once

#include <functional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <cairo.h>
#include <opencv2/core.hpp>

/// Figures are drawn once, through these few strokes, and come out as SVG, PDF and PNG alike.
/// Lengths on the paper are points (1/72 inch), x to the right, y downwards.
namespace nightswing::tracker {

struct PaperPoint {
  double x_pt;
  double y_pt;
};

struct PaperBox {
  double left_pt;
  double top_pt;
  double width_pt;
  double height_pt;
  [[nodiscard]] double right_pt() const { return left_pt + width_pt; }
  [[nodiscard]] double bottom_pt() const { return top_pt + height_pt; }
};

struct Colour {
  double red;
  double green;
  double blue;
  double alpha = 1.0;
};

/// The colours of a figure. `plus` and `minus` (blue and vermilion) can be told apart with every
/// kind of colour blindness (M. Okabe, K. Ito, Color Universal Design, 2008) and differ in
/// lightness; dashes, shapes and words carry the same difference, for black and white.
struct Palette {
  Colour paper;
  Colour ink;
  Colour faint;  ///< second-rank text and lines
  Colour grid;
  Colour plus;
  Colour minus;
  Colour plus_band;  ///< the ground behind a segment
  Colour minus_band;
};
/// Of the side `plus`, `minus` or `away`; away has the colour of second rank and no ground.
[[nodiscard]] const Colour& side_colour(const Palette& palette, std::string_view side);
[[nodiscard]] const Colour& side_band(const Palette& palette, std::string_view side);
/// How its lines are broken, for black and white: not, long or short.
///   scale  of the figure, 1 on paper
[[nodiscard]] std::vector<double> side_dashes(std::string_view side, double scale = 1.0);

[[nodiscard]] const Palette& light_palette();
[[nodiscard]] const Palette& dark_palette();

enum class Align { kStart, kMiddle, kEnd };

struct TextStyle {
  double size_pt = 8.0;
  Colour colour;
  Align align = Align::kStart;
  bool bold = false;
  bool upwards = false;  ///< turned by a quarter, reading from below
};

struct Stroke {
  Colour colour;
  double width_pt = 1.0;
  std::vector<double> dashes_pt{};
};

enum class MarkerShape { kDisc, kSquare, kRing };

struct MarkerStyle {
  MarkerShape shape;
  double size_pt;
  Colour colour;
};

/// Draws on a cairo context that it does not own.
class Canvas {
 public:
  Canvas(cairo_t* context, const Palette& palette) : cairo_(context), palette_(palette) {}

  [[nodiscard]] const Palette& palette() const { return palette_; }
  void line(PaperPoint from, PaperPoint to, const Stroke& stroke);
  void polyline(std::span<const PaperPoint> points, const Stroke& stroke);
  void dots(std::span<const PaperPoint> points, const MarkerStyle& style);
  void marker(PaperPoint at, const MarkerStyle& style);
  void fill(const PaperBox& box, const Colour& colour);
  void frame(const PaperBox& box, const Stroke& stroke);
  /// `at` is on the base line of the text.
  void text(PaperPoint at, const std::string& text, const TextStyle& style);
  [[nodiscard]] double width_pt(const std::string& text, const TextStyle& style);
  /// The picture (8-bit BGR) stretched over the box; SVG and PDF keep it as JPEG.
  void picture(const PaperBox& box, const cv::Mat& bgr);
  /// What `draw` draws appears inside the box only.
  void clipped(const PaperBox& box, const std::function<void()>& draw);
  /// What `draw` draws appears so many times larger, measured from the top left corner.
  void scaled(double factor, const std::function<void()>& draw);

 private:
  void apply(const Stroke& stroke);
  void apply(const Colour& colour);
  void apply(const TextStyle& style);

  cairo_t* cairo_;
  const Palette& palette_;
};

/// A picture with what belongs to it.
struct Figure {
  std::string name;   ///< of its files: night -> night.svg, night.png, night.pdf, night.csv
  std::string title;  ///< the sentence over it
  std::string alt;    ///< what it shows, for those who cannot see it
  double width_pt;
  double height_pt;
  std::string csv;  ///< the data behind it, with a header line; empty if it has none
  std::function<void(Canvas&)> draw;
  bool on_photograph = false;  ///< looks the same on light and dark paper
};

/// throws std::runtime_error if cairo cannot draw (out of memory).
[[nodiscard]] std::string svg_text(const Figure& figure, const Palette& palette);
/// 150 dots per inch on paper of the palette's colour.
[[nodiscard]] std::string png_bytes(const Figure& figure, const Palette& palette);
[[nodiscard]] std::string pdf_bytes(const Figure& figure, const Palette& palette);

}  // namespace nightswing::tracker
