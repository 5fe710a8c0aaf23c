#include "tracker/report/canvas.h"

#include <memory>
#include <numbers>
#include <stdexcept>

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

namespace nightswing::tracker {
namespace {

using SurfacePtr = std::unique_ptr<cairo_surface_t, decltype(&cairo_surface_destroy)>;
using ContextPtr = std::unique_ptr<cairo_t, decltype(&cairo_destroy)>;

constexpr double kDotsPerPoint = 150.0 / 72.0;
constexpr int kJpegQuality = 88;

constexpr Colour rgb(int hex) {
  return {.red = ((hex >> 16) & 0xff) / 255.0,
          .green = ((hex >> 8) & 0xff) / 255.0,
          .blue = (hex & 0xff) / 255.0};
}

cairo_status_t append_bytes(void* text, const unsigned char* bytes, unsigned int count) {
  static_cast<std::string*>(text)->append(reinterpret_cast<const char*>(bytes), count);
  return CAIRO_STATUS_SUCCESS;
}

void draw_on(cairo_surface_t* surface, const Figure& figure, const Palette& palette, bool ground) {
  const ContextPtr context(cairo_create(surface), &cairo_destroy);
  Canvas canvas(context.get(), palette);
  if (ground) canvas.fill({0.0, 0.0, figure.width_pt, figure.height_pt}, palette.paper);
  figure.draw(canvas);
  const cairo_status_t status = cairo_status(context.get());
  if (status != CAIRO_STATUS_SUCCESS) {
    throw std::runtime_error(fmt::format(
        "the figure {} cannot be drawn: {}", figure.name, cairo_status_to_string(status)));
  }
}

}  // namespace

const Palette& light_palette() {
  static const Palette palette{.paper = rgb(0xffffff),
                               .ink = rgb(0x1a1a1a),
                               .faint = rgb(0x595959),
                               .grid = rgb(0xdddddd),
                               .plus = rgb(0x0072b2),
                               .minus = rgb(0xb34f00),
                               .plus_band = rgb(0xeef4f9),
                               .minus_band = rgb(0xfdf0e4)};
  return palette;
}

const Palette& dark_palette() {
  static const Palette palette{.paper = rgb(0x16191d),
                               .ink = rgb(0xe8e8e8),
                               .faint = rgb(0xb0b0b0),
                               .grid = rgb(0x3a3f45),
                               .plus = rgb(0x56b4e9),
                               .minus = rgb(0xf0a04b),
                               .plus_band = rgb(0x1b2731),
                               .minus_band = rgb(0x2d241b)};
  return palette;
}

const Colour& side_colour(const Palette& palette, std::string_view side) {
  if (side == "plus") return palette.plus;
  return side == "minus" ? palette.minus : palette.faint;
}

const Colour& side_band(const Palette& palette, std::string_view side) {
  if (side == "plus") return palette.plus_band;
  return side == "minus" ? palette.minus_band : palette.paper;
}

std::vector<double> side_dashes(std::string_view side, double scale) {
  if (side == "plus") return {};
  if (side == "minus") return {5.0 * scale, 2.0 * scale};
  return {1.5 * scale, 1.5 * scale};
}

void Canvas::apply(const Colour& colour) {
  cairo_set_source_rgba(cairo_, colour.red, colour.green, colour.blue, colour.alpha);
}

void Canvas::apply(const Stroke& stroke) {
  apply(stroke.colour);
  cairo_set_line_width(cairo_, stroke.width_pt);
  cairo_set_line_join(cairo_, CAIRO_LINE_JOIN_ROUND);
  cairo_set_line_cap(cairo_, CAIRO_LINE_CAP_BUTT);
  cairo_set_dash(cairo_, stroke.dashes_pt.data(), static_cast<int>(stroke.dashes_pt.size()), 0.0);
}

void Canvas::apply(const TextStyle& style) {
  apply(style.colour);
  cairo_select_font_face(cairo_,
                         "sans-serif",
                         CAIRO_FONT_SLANT_NORMAL,
                         style.bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(cairo_, style.size_pt);
}

void Canvas::line(PaperPoint from, PaperPoint to, const Stroke& stroke) {
  const PaperPoint both[] = {from, to};
  polyline(both, stroke);
}

void Canvas::polyline(std::span<const PaperPoint> points, const Stroke& stroke) {
  apply(stroke);
  cairo_new_path(cairo_);
  for (const PaperPoint& p : points) cairo_line_to(cairo_, p.x_pt, p.y_pt);
  cairo_stroke(cairo_);
}

void Canvas::dots(std::span<const PaperPoint> points, const MarkerStyle& style) {
  // One path of lines without length, whose caps are the dots: by far the smallest SVG.
  apply(Stroke{.colour = style.colour, .width_pt = style.size_pt});
  cairo_set_line_cap(
      cairo_, style.shape == MarkerShape::kSquare ? CAIRO_LINE_CAP_SQUARE : CAIRO_LINE_CAP_ROUND);
  cairo_new_path(cairo_);
  for (const PaperPoint& p : points) {
    cairo_move_to(cairo_, p.x_pt, p.y_pt);
    // A square cap needs a direction, a round one does not mind.
    cairo_line_to(cairo_, p.x_pt + 0.01, p.y_pt);
  }
  cairo_stroke(cairo_);
}

void Canvas::marker(PaperPoint at, const MarkerStyle& style) {
  const double radius_pt = 0.5 * style.size_pt;
  cairo_new_path(cairo_);
  if (style.shape == MarkerShape::kSquare) {
    cairo_rectangle(cairo_, at.x_pt - radius_pt, at.y_pt - radius_pt, style.size_pt, style.size_pt);
  } else {
    cairo_arc(cairo_, at.x_pt, at.y_pt, radius_pt, 0.0, 2.0 * std::numbers::pi);
  }
  if (style.shape == MarkerShape::kRing) {
    apply(Stroke{.colour = style.colour, .width_pt = 0.18 * style.size_pt});
    cairo_stroke(cairo_);
  } else {
    apply(style.colour);
    cairo_fill(cairo_);
  }
}

void Canvas::fill(const PaperBox& box, const Colour& colour) {
  apply(colour);
  cairo_rectangle(cairo_, box.left_pt, box.top_pt, box.width_pt, box.height_pt);
  cairo_fill(cairo_);
}

void Canvas::frame(const PaperBox& box, const Stroke& stroke) {
  apply(stroke);
  cairo_rectangle(cairo_, box.left_pt, box.top_pt, box.width_pt, box.height_pt);
  cairo_stroke(cairo_);
}

double Canvas::width_pt(const std::string& text, const TextStyle& style) {
  apply(style);
  cairo_text_extents_t extents;
  cairo_text_extents(cairo_, text.c_str(), &extents);
  return extents.x_advance;
}

void Canvas::text(PaperPoint at, const std::string& text, const TextStyle& style) {
  double before_pt = 0.0;
  if (style.align != Align::kStart) before_pt = width_pt(text, style);
  if (style.align == Align::kMiddle) before_pt *= 0.5;
  cairo_save(cairo_);
  apply(style);
  cairo_translate(cairo_, at.x_pt, at.y_pt);
  if (style.upwards) cairo_rotate(cairo_, -0.5 * std::numbers::pi);
  cairo_move_to(cairo_, -before_pt, 0.0);
  cairo_show_text(cairo_, text.c_str());
  cairo_restore(cairo_);
}

void Canvas::picture(const PaperBox& box, const cv::Mat& bgr) {
  cv::Mat pixels;
  cv::cvtColor(bgr, pixels, cv::COLOR_BGR2BGRA);
  const SurfacePtr surface(
      cairo_image_surface_create_for_data(
          pixels.data, CAIRO_FORMAT_RGB24, pixels.cols, pixels.rows, static_cast<int>(pixels.step)),
      &cairo_surface_destroy);
  auto jpeg = std::make_unique<std::vector<unsigned char>>();
  cv::imencode(".jpg", bgr, *jpeg, {cv::IMWRITE_JPEG_QUALITY, kJpegQuality});
  const auto forget = [](void* bytes) { delete static_cast<std::vector<unsigned char>*>(bytes); };
  if (cairo_surface_set_mime_data(
          surface.get(), CAIRO_MIME_TYPE_JPEG, jpeg->data(), jpeg->size(), forget, jpeg.get()) ==
      CAIRO_STATUS_SUCCESS) {
    static_cast<void>(jpeg.release());  // the surface deletes it
  }
  cairo_save(cairo_);
  cairo_translate(cairo_, box.left_pt, box.top_pt);
  cairo_scale(cairo_, box.width_pt / bgr.cols, box.height_pt / bgr.rows);
  cairo_set_source_surface(cairo_, surface.get(), 0.0, 0.0);
  cairo_rectangle(cairo_, 0.0, 0.0, bgr.cols, bgr.rows);
  cairo_fill(cairo_);
  cairo_restore(cairo_);
  // A vector surface reads the pixels when it is finished, and these go out of scope here.
  cairo_surface_finish(surface.get());
}

void Canvas::clipped(const PaperBox& box, const std::function<void()>& draw) {
  cairo_save(cairo_);
  cairo_rectangle(cairo_, box.left_pt, box.top_pt, box.width_pt, box.height_pt);
  cairo_clip(cairo_);
  draw();
  cairo_restore(cairo_);
}

void Canvas::scaled(double factor, const std::function<void()>& draw) {
  cairo_save(cairo_);
  cairo_scale(cairo_, factor, factor);
  draw();
  cairo_restore(cairo_);
}

std::string svg_text(const Figure& figure, const Palette& palette) {
  std::string text;
  const SurfacePtr surface(
      cairo_svg_surface_create_for_stream(&append_bytes, &text, figure.width_pt, figure.height_pt),
      &cairo_surface_destroy);
  draw_on(surface.get(), figure, palette, true);
  cairo_surface_finish(surface.get());
  return text;
}

std::string pdf_bytes(const Figure& figure, const Palette& palette) {
  std::string bytes;
  const SurfacePtr surface(
      cairo_pdf_surface_create_for_stream(&append_bytes, &bytes, figure.width_pt, figure.height_pt),
      &cairo_surface_destroy);
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, figure.title.c_str());
  draw_on(surface.get(), figure, palette, false);
  cairo_surface_finish(surface.get());
  return bytes;
}

std::string png_bytes(const Figure& figure, const Palette& palette) {
  const SurfacePtr surface(
      cairo_image_surface_create(CAIRO_FORMAT_RGB24,
                                 static_cast<int>(figure.width_pt * kDotsPerPoint),
                                 static_cast<int>(figure.height_pt * kDotsPerPoint)),
      &cairo_surface_destroy);
  cairo_surface_set_device_scale(surface.get(), kDotsPerPoint, kDotsPerPoint);
  draw_on(surface.get(), figure, palette, true);
  std::string bytes;
  if (cairo_surface_write_to_png_stream(surface.get(), &append_bytes, &bytes) !=
      CAIRO_STATUS_SUCCESS) {
    throw std::runtime_error(fmt::format("the figure {} cannot be written as PNG", figure.name));
  }
  return bytes;
}

}  // namespace nightswing::tracker
