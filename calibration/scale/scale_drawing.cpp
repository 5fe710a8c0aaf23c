#include "calibration/scale/scale_drawing.h"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <memory>
#include <sstream>
#include <stdexcept>

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <cairo.h>
#include <opencv2/aruco.hpp>

#include "calibration/scale/printed_scale.h"

namespace nightswing::calibration {
namespace {

constexpr double kPointsPerInch = 72.0;
constexpr double kMillimetresPerInch = 25.4;

constexpr double kTickWidth_mm = 0.25;
constexpr double kHairline_mm = 0.15;
constexpr double kDiamond_mm = 3.0;  // half of its diagonal
constexpr double kBarBelowStrip_mm = 14.0;
constexpr double kBarStroke_mm = 5.0;
constexpr double kBarStrokeWidth_mm = 0.2;

constexpr double kTitleSize_mm = 4.4;
constexpr double kTextSize_mm = 3.3;
constexpr double kLinePitch_mm = 4.5;
constexpr double kLastLineAboveStrip_mm = 6.0;
// Text keeps to the width of the markers: what lies farther out is cut off or covered at a joint.
constexpr double kTextInset_mm = kFirstColumn_mm - kMarkerSide_mm / 2.0;

struct CairoDeleter {
  void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
  void operator()(cairo_t* context) const { cairo_destroy(context); }
};
using Surface = std::unique_ptr<cairo_surface_t, CairoDeleter>;
using Context = std::unique_ptr<cairo_t, CairoDeleter>;

void require_success(cairo_status_t status) {
  if (status != CAIRO_STATUS_SUCCESS) {
    throw std::runtime_error(std::string("drawing the scale failed: ") +
                             cairo_status_to_string(status));
  }
}

double points(double length_mm) {
  return length_mm * kPointsPerInch / kMillimetresPerInch;
}

bool joins_on_the_left(const ScalePage& page) {
  return page.number > 1;
}
bool joins_on_the_right(const ScalePage& page) {
  return page.number < page.pages;
}

void line(cairo_t* context, PaperPoint from, PaperPoint to, double width_mm) {
  cairo_set_line_width(context, width_mm);
  cairo_move_to(context, from.x_mm, from.y_mm);
  cairo_line_to(context, to.x_mm, to.y_mm);
  cairo_stroke(context);
}

enum class Weight { kNormal, kBold };

void choose_font(cairo_t* context, double size_mm, Weight weight = Weight::kNormal) {
  cairo_select_font_face(
      context,
      "sans-serif",
      CAIRO_FONT_SLANT_NORMAL,
      weight == Weight::kBold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(context, size_mm);
}

double text_width_mm(cairo_t* context, const std::string& text) {
  cairo_text_extents_t extents;
  cairo_text_extents(context, text.c_str(), &extents);
  return extents.x_advance;
}

void text_at(cairo_t* context, const std::string& text, PaperPoint baseline_start) {
  cairo_move_to(context, baseline_start.x_mm, baseline_start.y_mm);
  cairo_show_text(context, text.c_str());
}

/// Breaks the text between words into lines of at most the width, in the font chosen.
std::vector<std::string> wrapped(cairo_t* context, const std::string& text, double width_mm) {
  std::vector<std::string> lines;
  std::istringstream words(text);
  for (std::string word; words >> word;) {
    const std::string longer = lines.empty() ? word : lines.back() + " " + word;
    if (!lines.empty() && text_width_mm(context, longer) <= width_mm) {
      lines.back() = longer;
    } else {
      lines.push_back(word);
    }
  }
  return lines;
}

/// The white cells are filled as one shape together with what joins neighbours (two cells beside or
/// above each other, four around a corner): between cells that only touch, printers and viewers
/// leave dark seams.
void draw_marker(cairo_t* context, const ScalePage& page, int id) {
  cv::Mat cells;  // one pixel a cell: 4 x 4 bits within a border of one cell
  cv::aruco::drawMarker(
      cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100), id, 6, cells, 1);
  const PaperPoint corner = paper_from_wall(page, marker_corners(id).front());
  cairo_rectangle(context, corner.x_mm, corner.y_mm, kMarkerSide_mm, kMarkerSide_mm);
  cairo_fill(context);
  for (const cv::Size block : {cv::Size(1, 1), cv::Size(2, 1), cv::Size(1, 2), cv::Size(2, 2)}) {
    for (int row = 0; row + block.height <= cells.rows; ++row) {
      for (int column = 0; column + block.width <= cells.cols; ++column) {
        const cv::Mat part = cells(cv::Rect(cv::Point(column, row), block));
        if (cv::countNonZero(part) < block.area()) continue;
        cairo_rectangle(context,
                        corner.x_mm + kMarkerCell_mm * column,
                        corner.y_mm + kMarkerCell_mm * row,
                        kMarkerCell_mm * block.width,
                        kMarkerCell_mm * block.height);
      }
    }
  }
  cairo_set_source_rgb(context, 1.0, 1.0, 1.0);
  cairo_fill(context);
  cairo_set_source_rgb(context, 0.0, 0.0, 0.0);
}

void draw_ruler(cairo_t* context, const ScalePage& page) {
  const auto from = static_cast<int>(std::lround(page.from_mm));
  const auto to = static_cast<int>(std::lround(page.to_mm));
  const double half_mm = kTickWidth_mm / 2.0;  // so that the outermost ticks meet it in a corner
  line(context,
       paper_from_wall(page, {page.from_mm - half_mm, kBaseLine_mm}),
       paper_from_wall(page, {page.to_mm + half_mm, kBaseLine_mm}),
       kTickWidth_mm);
  for (int x = from; x <= to; ++x) {
    const double x_mm = x;
    const PaperPoint tip = paper_from_wall(page, {x_mm, kBaseLine_mm - tick_length_mm(x)});
    line(context, paper_from_wall(page, {x_mm, kBaseLine_mm}), tip, kTickWidth_mm);
    if (x % 10 != 0) continue;
    choose_font(context, x < 1000 ? 3.9 : 3.2);  // four digits must fit into 10 mm, with a gap
    const std::string numeral = std::to_string(x);
    const double left_mm = tip.x_mm - text_width_mm(context, numeral) / 2.0;
    text_at(context, numeral, {left_mm, tip.y_mm + 4.2});
  }
}

void draw_diamond(cairo_t* context, PaperPoint centre) {
  cairo_move_to(context, centre.x_mm - kDiamond_mm, centre.y_mm);
  cairo_line_to(context, centre.x_mm, centre.y_mm - kDiamond_mm);
  cairo_line_to(context, centre.x_mm + kDiamond_mm, centre.y_mm);
  cairo_line_to(context, centre.x_mm, centre.y_mm + kDiamond_mm);
  cairo_close_path(context);
  cairo_set_line_width(context, kTickWidth_mm);
  cairo_stroke(context);
}

/// The line leaves out the lane, which stays blank, and the ruler, which it would hide.
void draw_joint(cairo_t* context, const ScalePage& page, double x_mm) {
  constexpr double kBeyondStrip_mm = 8.0;
  constexpr double kBelowNumerals_mm = -15.0;
  const double dash_mm = 2.0;
  cairo_set_dash(context, &dash_mm, 1, 0.0);
  line(context,
       paper_from_wall(page, {x_mm, kPaperTop_mm + kBeyondStrip_mm}),
       paper_from_wall(page, {x_mm, kLaneTop_mm + dash_mm}),
       kHairline_mm);
  line(context,
       paper_from_wall(page, {x_mm, kBelowNumerals_mm}),
       paper_from_wall(page, {x_mm, kPaperBottom_mm - kBeyondStrip_mm}),
       kHairline_mm);
  cairo_set_dash(context, nullptr, 0, 0.0);
  const double beside_strip_mm = kBeyondStrip_mm / 2.0;
  draw_diamond(context, paper_from_wall(page, {x_mm, kPaperTop_mm + beside_strip_mm}));
  draw_diamond(context, paper_from_wall(page, {x_mm, kPaperBottom_mm - beside_strip_mm}));
}

std::string title_of(const ScalePage& page) {
  std::ostringstream title;
  title << "nightswing scale, page " << page.number << " of " << page.pages << ", " << page.from_mm
        << " to " << page.to_mm << " mm";
  return title.str();
}

std::vector<std::string> advice_above(const ScalePage& page) {
  std::vector<std::string> advice{
      "Print on plain matt paper at 100 % (\"actual size\"), not fitted to the page.",
      "Tape it to the wall flat and tight, numbers growing to the right, so that the spot runs "
      "through the blank lane."};
  if (joins_on_the_left(page)) {
    advice.push_back(
        "Cut at the left dashed line and lay that edge on the right dashed line of page " +
        std::to_string(page.number - 1) + ": base line, ticks and diamonds must continue.");
  } else if (joins_on_the_right(page)) {
    advice.push_back(
        "Page 2 goes on top of this page, its cut edge on the right dashed line: base line, "
        "ticks and diamonds must continue.");
  }
  return advice;
}

std::string advice_on_bar(const ScalePage& page) {
  const bool portrait = page.bar_mm != kBar_mm;
  return std::string("This bar must measure ") + (portrait ? "160" : "200") +
         " mm from stroke to stroke. If it does not, pass what it measures: --bar \"" +
         (portrait ? "159.5" : "199.4") + "(2) mm\".";
}

constexpr const char* kLaserCaution =
    "Laser: class 2 (at most 1 mW, visible). Never look into the beam or its reflection; keep it "
    "off eye height and end it on this wall. Local rules and the person responsible for the room "
    "come first.";

void draw_texts_above(cairo_t* context, const ScalePage& page) {
  choose_font(context, kTextSize_mm);
  std::vector<std::string> lines;
  for (const std::string& advice : advice_above(page)) {
    for (std::string& part : wrapped(context, advice, page.strip_length_mm - 2 * kTextInset_mm)) {
      lines.push_back(std::move(part));
    }
  }
  PaperPoint place =
      paper_from_wall(page, {page.from_mm + kTextInset_mm, kPaperTop_mm + kLastLineAboveStrip_mm});
  for (auto text = lines.rbegin(); text != lines.rend(); ++text) {
    text_at(context, *text, place);
    place.y_mm -= kLinePitch_mm;
  }
  choose_font(context, kTitleSize_mm, Weight::kBold);
  text_at(context, title_of(page), {place.x_mm, place.y_mm - 1.0});
}

void draw_bar(cairo_t* context, const ScalePage& page) {
  const PaperPoint left = bar_start(page);
  const PaperPoint right{left.x_mm + page.bar_mm, left.y_mm};
  line(context, left, right, kBarStrokeWidth_mm);
  for (const PaperPoint end : {left, right}) {
    line(context,
         {end.x_mm, end.y_mm - kBarStroke_mm / 2.0},
         {end.x_mm, end.y_mm + kBarStroke_mm / 2.0},
         kBarStrokeWidth_mm);
  }
}

void draw_texts_below(cairo_t* context, const ScalePage& page) {
  choose_font(context, kTextSize_mm);
  const double width_mm = page.strip_length_mm - 2 * kTextInset_mm;
  PaperPoint place{page.origin.x_mm + kTextInset_mm, bar_start(page).y_mm + 5.7};
  // No gap between them: a landscape sheet has room for three lines.
  for (const std::string& paragraph : {advice_on_bar(page), std::string(kLaserCaution)}) {
    for (const std::string& text : wrapped(context, paragraph, width_mm)) {
      text_at(context, text, place);
      place.y_mm += kLinePitch_mm;
    }
  }
}

/// Draws the page onto a surface whose unit is the given number of millimetres.
void draw_page(cairo_surface_t* surface, const ScalePage& page, double mm_per_unit) {
  const Context owner(cairo_create(surface));
  cairo_t* context = owner.get();
  // Hinting would move letters by parts of a pixel, differently on every kind of surface.
  cairo_font_options_t* options = cairo_font_options_create();
  cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
  cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
  cairo_set_font_options(context, options);
  cairo_font_options_destroy(options);
  cairo_scale(context, 1.0 / mm_per_unit, 1.0 / mm_per_unit);
  cairo_set_source_rgb(context, 1.0, 1.0, 1.0);
  cairo_paint(context);
  cairo_set_source_rgb(context, 0.0, 0.0, 0.0);
  for (int id = 2 * page.first_column; id < 2 * (page.first_column + page.columns); ++id) {
    draw_marker(context, page, id);
  }
  draw_ruler(context, page);
  if (joins_on_the_left(page)) draw_joint(context, page, page.from_mm);
  if (joins_on_the_right(page)) draw_joint(context, page, page.to_mm);
  draw_texts_above(context, page);
  draw_bar(context, page);
  draw_texts_below(context, page);
  cairo_show_page(context);
  require_success(cairo_status(context));
}

cairo_status_t append_to_string(void* text, const unsigned char* data, unsigned int size) {
  static_cast<std::string*>(text)->append(reinterpret_cast<const char*>(data), size);
  return CAIRO_STATUS_SUCCESS;
}

}  // namespace

std::vector<ScalePage> scale_pages(const ScaleDrawingOptions& options) {
  if (!(options.length_mm >= 0.0 && options.length_mm <= kLongestScale_mm)) {
    throw std::invalid_argument("a scale is at most 2000 mm long and not negative");
  }
  const bool landscape = options.orientation == Orientation::kLandscape;
  const double longer_mm = options.paper == Paper::kA4 ? 297.0 : 279.4;   // ISO 216; 11 in
  const double shorter_mm = options.paper == Paper::kA4 ? 210.0 : 215.9;  // ISO 216; 8.5 in
  const int on_a_page = landscape ? kColumnsPerPage : kColumnsPerPortraitPage;

  ScalePage page;
  page.paper_width_mm = landscape ? longer_mm : shorter_mm;
  page.paper_height_mm = landscape ? shorter_mm : longer_mm;
  page.strip_length_mm = kColumnPitch_mm * on_a_page;
  page.bar_mm = landscape ? kBar_mm : kPortraitBar_mm;
  const double strip_height_mm = kPaperTop_mm - kPaperBottom_mm;
  page.origin = {(page.paper_width_mm - page.strip_length_mm) / 2.0,
                 (page.paper_height_mm - strip_height_mm) / 2.0 + kPaperTop_mm};
  // A billionth of a page is rounding (0.48 m), not a wish for one more.
  const double full_pages = std::ceil(options.length_mm / page.strip_length_mm - 1e-9);
  page.pages = std::max(1, static_cast<int>(full_pages));

  std::vector<ScalePage> pages;
  for (int i = 0; i < page.pages; ++i) {
    page.number = i + 1;
    page.first_column = i * on_a_page;
    page.columns = std::min(on_a_page, kMostColumns - page.first_column);
    page.from_mm = kColumnPitch_mm * page.first_column;
    page.to_mm = page.from_mm + kColumnPitch_mm * page.columns;
    pages.push_back(page);
  }
  return pages;
}

PaperPoint paper_from_wall(const ScalePage& page, WallPoint wall) {
  return {page.origin.x_mm + wall.x_mm - page.from_mm, page.origin.y_mm - wall.y_mm};
}

PaperPoint bar_start(const ScalePage& page) {
  return {page.origin.x_mm + (page.strip_length_mm - page.bar_mm) / 2.0,
          page.origin.y_mm - kPaperBottom_mm + kBarBelowStrip_mm};
}

std::string scale_pdf(const ScaleDrawingOptions& options) {
  const std::vector<ScalePage> pages = scale_pages(options);
  std::string pdf;
  const Surface surface(cairo_pdf_surface_create_for_stream(
      append_to_string, &pdf, points(pages[0].paper_width_mm), points(pages[0].paper_height_mm)));
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, "nightswing scale");
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATE_DATE, "");
  for (const ScalePage& page : pages) {
    draw_page(surface.get(), page, kMillimetresPerInch / kPointsPerInch);
  }
  cairo_surface_finish(surface.get());
  require_success(cairo_surface_status(surface.get()));
  return pdf;
}

std::vector<std::string> scale_svgs(const ScaleDrawingOptions& options) {
  std::vector<std::string> svgs;
  for (const ScalePage& page : scale_pages(options)) {
    std::string svg;
    const Surface surface(cairo_svg_surface_create_for_stream(
        append_to_string, &svg, points(page.paper_width_mm), points(page.paper_height_mm)));
    cairo_svg_surface_set_document_unit(surface.get(), CAIRO_SVG_UNIT_PT);
    draw_page(surface.get(), page, kMillimetresPerInch / kPointsPerInch);
    cairo_surface_finish(surface.get());
    require_success(cairo_surface_status(surface.get()));
    svgs.push_back(std::move(svg));
  }
  return svgs;
}

cv::Mat render_scale_page(const ScalePage& page, double dpi) {
  if (!(dpi >= 10.0 && dpi <= 1200.0)) {
    throw std::invalid_argument("a page is rendered at 10 to 1200 dpi");
  }
  const double px_per_mm = dpi / kMillimetresPerInch;
  const auto width_px = static_cast<int>(std::lround(page.paper_width_mm * px_per_mm));
  const auto height_px = static_cast<int>(std::lround(page.paper_height_mm * px_per_mm));
  const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width_px, height_px));
  require_success(cairo_surface_status(surface.get()));
  draw_page(surface.get(), page, 1.0 / px_per_mm);
  cairo_surface_flush(surface.get());
  const auto stride = static_cast<std::size_t>(cairo_image_surface_get_stride(surface.get()));
  const cv::Mat four_bytes(
      height_px, width_px, CV_8UC4, cairo_image_surface_get_data(surface.get()), stride);
  cv::Mat gray;
  cv::extractChannel(four_bytes, gray, 1);  // all three colours are equal
  return gray;
}

}  // namespace nightswing::calibration
