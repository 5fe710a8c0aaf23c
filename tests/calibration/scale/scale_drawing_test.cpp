#include "calibration/scale/scale_drawing.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/core.hpp>

#include "calibration/map/wall_map.h"
#include "calibration/scale/scale_reader.h"
#include "tests/support/near.h"

// Places and lengths in these tests are written out from the description of the layout
// (DEVELOPERS.md, "The printed scale"), without the library's constants, so that a slip in one does
// not hide in the other. Sizes of paper: A4 210 x 297 mm (ISO 216), Letter 8.5 x 11 in.
namespace nightswing::calibration {
namespace {

using test::within_abs;
using test::within_rel;

constexpr double kDpi = 200.0;
constexpr double kPixel_mm = 25.4 / kDpi;

const std::vector<ScaleDrawingOptions>& every_sheet() {
  static const std::vector<ScaleDrawingOptions> sheets{
      {.paper = Paper::kA4, .orientation = Orientation::kLandscape, .length_mm = 480.0},
      {.paper = Paper::kLetter, .orientation = Orientation::kLandscape, .length_mm = 480.0},
      {.paper = Paper::kA4, .orientation = Orientation::kPortrait, .length_mm = 480.0},
      {.paper = Paper::kLetter, .orientation = Orientation::kPortrait, .length_mm = 480.0}};
  return sheets;
}

/// The pixel of a 200 dpi rendering that shows the place on the sheet.
PixelPoint pixel_of(PaperPoint paper) {
  return {paper.x_mm / kPixel_mm - 0.5, paper.y_mm / kPixel_mm - 0.5};
}

/// Ink [mm] along a row or column of pixels from one end to the other: what the gray levels lack to
/// white.
double ink_mm(const cv::Mat& picture, double dpi) {
  return (static_cast<double>(picture.total()) - cv::sum(picture)[0] / 255.0) * 25.4 / dpi;
}

/// Middle of the ink in a row of pixels [px], counted from its first pixel.
double middle_of_ink_px(const cv::Mat& row) {
  double weight = 0.0;
  double moment = 0.0;
  for (int x = 0; x < row.cols; ++x) {
    const double ink = 255.0 - row.at<unsigned char>(0, x);
    weight += ink;
    moment += ink * x;
  }
  REQUIRE(weight > 0.0);
  return moment / weight;
}

void check_map(const ScaleReading& reading, const ScalePage& page) {
  const MapFit fit = fit_plane_map(reading.points);
  REQUIRE(fit.status == MapStatus::kFitted);
  const auto on_wall = [&](double x_mm, double y_mm) {
    return wall_from_pixel(fit.map, pixel_of(paper_from_wall(page, {x_mm, y_mm})));
  };
  for (int column = page.first_column; column <= page.first_column + page.columns; ++column) {
    const double x_mm = 40.0 * column;
    for (const double y_mm : {-42.0, 0.0, 33.0, 92.0}) {
      // 0.005 mm = 0.04 px: about what the reader leaves in a single corner (0.03 px).
      CHECK(on_wall(x_mm, y_mm).x_mm == within_abs(x_mm, 0.005));
      CHECK(on_wall(x_mm, y_mm).y_mm == within_abs(y_mm, 0.005));
    }
  }
  const double along_mm = on_wall(page.to_mm, 33.0).x_mm - on_wall(page.from_mm, 33.0).x_mm;
  CHECK(along_mm ==
        within_rel(page.to_mm - page.from_mm, 5e-5));  // 0.005 mm at both ends of 240 mm
}

}  // namespace

TEST_SUITE_BEGIN("scale drawing");

TEST_CASE("every sheet is read back as the scale it is, in true size") {
  for (const ScaleDrawingOptions& options : every_sheet()) {
    for (const ScalePage& page : scale_pages(options)) {
      CAPTURE(page.number);
      CAPTURE(page.paper_width_mm);
      const ScaleReading reading = read_printed_scale(render_scale_page(page, kDpi));
      REQUIRE(reading.status == ScaleStatus::kRead);
      CHECK(reading.ids_rejected.empty());
      std::vector<int> ids;
      for (int id = 2 * page.first_column; id < 2 * (page.first_column + page.columns); ++id) {
        ids.push_back(id);
      }
      CHECK(reading.ids_seen == ids);
      CHECK(reading.points.size() == 4 * ids.size());
      check_map(reading, page);
    }
  }
}

TEST_CASE("two pages laid edge on line are one scale of 480 mm") {
  constexpr double kTenthOfMillimetre_dpi = 254.0;  // joints lie between pixels
  const auto pages = scale_pages({.length_mm = 480.0});
  REQUIRE(pages.size() == 2);
  const cv::Mat first = render_scale_page(pages[0], kTenthOfMillimetre_dpi);
  const cv::Mat second = render_scale_page(pages[1], kTenthOfMillimetre_dpi);
  const auto joint_px = [](const ScalePage& page) {
    return static_cast<int>(std::lround(10.0 * paper_from_wall(page, {240.0, 0.0}).x_mm));
  };
  cv::Mat taped;
  cv::hconcat(first.colRange(0, joint_px(pages[0])),
              second.colRange(joint_px(pages[1]), second.cols),
              taped);
  const ScaleReading reading = read_printed_scale(taped);
  REQUIRE(reading.status == ScaleStatus::kRead);
  CHECK(reading.ids_seen.size() == 24);
  CHECK(reading.ids_rejected.empty());
  const MapFit fit = fit_plane_map(reading.points);
  REQUIRE(fit.status == MapStatus::kFitted);
  const PaperPoint zero = paper_from_wall(pages[0], {0.0, 0.0});
  for (int column = 0; column <= 12; ++column) {
    const double x_mm = 40.0 * column;
    const PixelPoint pixel{10.0 * (zero.x_mm + x_mm) - 0.5, 10.0 * zero.y_mm - 0.5};
    CHECK(wall_from_pixel(fit.map, pixel).x_mm == within_abs(x_mm, 0.005));  // as for one page
  }
  // Base line, tick and numeral at the joint are the same ink as if there were none: the picture
  // around 240 mm is that of page 1, which draws all of it, up to where its ruler ends.
  const cv::Rect numeral(
      joint_px(pages[0]) - 45, static_cast<int>(std::lround(10.0 * zero.y_mm)) + 5, 90, 130);
  CHECK(cv::norm(taped(numeral), first(numeral), cv::NORM_INF) > 0.0);  // ticks go on to the right
  const cv::Rect below_ticks = numeral - cv::Size(0, 40) + cv::Point(0, 40);
  // One gray level in sixteen: letters are placed to a fraction of a pixel.
  CHECK(cv::norm(taped(below_ticks), first(below_ticks), cv::NORM_INF) <= 16.0);
}

TEST_CASE("there is a tick at every millimetre, 3, 5 or 8 mm long") {
  for (const ScalePage& page :
       {scale_pages({}).front(), scale_pages({.length_mm = 2000.0}).back()}) {
    const double dpi = 508.0;  // 20 px a millimetre
    const cv::Mat picture = render_scale_page(page, dpi);
    const auto row_below = [&](double down_mm) {
      return static_cast<int>(20.0 * (page.origin.y_mm + down_mm));
    };
    for (int x = static_cast<int>(page.from_mm); x <= static_cast<int>(page.to_mm); ++x) {
      const double centre_px = 20.0 * paper_from_wall(page, {static_cast<double>(x), 0.0}).x_mm;
      const auto column = static_cast<int>(std::lround(centre_px));
      const double wanted_mm = x % 10 == 0 ? 8.0 : x % 5 == 0 ? 5.0 : 3.0;
      const cv::Mat tick = picture.col(column).rowRange(row_below(-1.0), row_below(8.5));
      // The column lies within the tick. Above it is half the base line, which is 0.2 to 0.4 mm
      // thick: 0.15 mm, give or take a pixel of 0.05.
      CAPTURE(x);
      CHECK(ink_mm(tick, dpi) == within_abs(wanted_mm + 0.15, 0.1));
      const cv::Mat across =
          picture.row(row_below(2.0)).colRange(column - 10, column + 10);  // half a mm to each side
      CHECK(ink_mm(across, dpi) == within_abs(0.3, 0.1));  // "thin black lines (0.2 to 0.4 mm)"
      // 0.002 mm = 0.04 px: gray levels place a tick of 5 px so well.
      CHECK((column - 10 + middle_of_ink_px(across) + 0.5) / 20.0 ==
            within_abs(centre_px / 20.0, 0.002));
    }
  }
}

TEST_CASE("the check bar has its length") {
  for (const ScaleDrawingOptions& options : every_sheet()) {
    const ScalePage page = scale_pages(options).front();
    const double expected_mm = options.orientation == Orientation::kLandscape ? 200.0 : 160.0;
    CHECK(page.bar_mm == expected_mm);
    const cv::Mat picture = render_scale_page(page, kDpi);
    const PixelPoint left = pixel_of(bar_start(page));
    const auto row_at = [&](double off_mm) {
      return picture.row(static_cast<int>(std::lround(left.y_px + off_mm / kPixel_mm)));
    };
    // Along the bar every pixel is dark. Half a stroke, 0.1 mm, stands out at each end; a pixel is
    // 0.127 mm.
    const int dark = cv::countNonZero(row_at(0.0) < 128);
    CHECK(dark * kPixel_mm - 0.2 == within_abs(expected_mm, 0.15));
    // The strokes stand out above and below it: from the middle of one to that of the other.
    for (const double off_mm : {-1.5, 1.5}) {
      const cv::Mat row = row_at(off_mm);
      const int half = row.cols / 2;
      const double from_px = middle_of_ink_px(row.colRange(0, half));
      const double to_px = half + middle_of_ink_px(row.colRange(half, row.cols));
      // Gray levels place a stroke of 1.6 px to a tenth of a pixel, 0.013 mm.
      CHECK(from_px == within_abs(left.x_px, 0.1));
      CHECK((to_px - from_px) * kPixel_mm == within_abs(expected_mm, 0.02));
    }
  }
}

TEST_CASE("no ink comes near the edge of a sheet") {
  for (ScaleDrawingOptions options : every_sheet()) {
    options.length_mm = 2000.0;  // page numbers and readings of the most digits
    for (const ScalePage& page : scale_pages(options)) {
      cv::Mat picture = render_scale_page(page, kDpi);
      // A printer leaves about 5 mm; common practice, no source.
      const auto margin_px = static_cast<int>(5.0 / kPixel_mm);
      const cv::Rect inner(
          margin_px, margin_px, picture.cols - 2 * margin_px, picture.rows - 2 * margin_px);
      picture(inner).setTo(255);
      double darkest = 0.0;
      cv::minMaxLoc(picture, &darkest);
      CAPTURE(page.number);
      CAPTURE(page.paper_width_mm);
      CHECK(darkest == 255.0);
    }
  }
}

TEST_CASE("the lane of the spot and the margins of the markers are blank") {
  for (const ScaleDrawingOptions& options : every_sheet()) {
    for (const ScalePage& page : scale_pages(options)) {
      const cv::Mat picture = render_scale_page(page, kDpi);
      const auto ink_between = [&](WallPoint top_left, WallPoint bottom_right) {
        const PixelPoint a = pixel_of(paper_from_wall(page, top_left));
        const PixelPoint b = pixel_of(paper_from_wall(page, bottom_right));
        return ink_mm(
            picture(cv::Rect(cv::Point(static_cast<int>(a.x_px) + 1, static_cast<int>(a.y_px) + 1),
                             cv::Point(static_cast<int>(b.x_px), static_cast<int>(b.y_px)))),
            kDpi);
      };
      CHECK(ink_between({page.from_mm - 10.0, 65.0}, {page.to_mm + 10.0, 2.0}) == 0.0);
      // A marker is found by its white surround, a cell (4 mm) wide; common practice, no source.
      // The lower edge of the paper leaves it 3 mm.
      for (int column = page.first_column; column < page.first_column + page.columns; ++column) {
        const double left_mm = 8.0 + 40.0 * column;
        const double right_mm = left_mm + 24.0;
        CHECK(ink_between({left_mm - 4.0, 96.0}, {right_mm + 4.0, 92.2}) == 0.0);
        CHECK(ink_between({left_mm - 4.0, -14.0}, {right_mm + 4.0, -17.8}) == 0.0);
        CHECK(ink_between({left_mm - 4.0, -42.2}, {right_mm + 4.0, -46.0}) == 0.0);
        CHECK(ink_between({left_mm - 4.0, -17.0}, {left_mm - 0.2, -43.0}) == 0.0);
        CHECK(ink_between({right_mm + 0.2, 93.0}, {right_mm + 4.0, 66.0}) == 0.0);
      }
    }
  }
}

TEST_CASE("columns run on from page to page and never straddle an edge") {
  for (const ScaleDrawingOptions& sheet : every_sheet()) {
    for (const double length_mm : {0.0, 1.0, 160.0, 240.0, 241.0, 480.0, 1999.0, 2000.0}) {
      ScaleDrawingOptions options = sheet;
      options.length_mm = length_mm;
      int next_column = 0;
      const auto pages = scale_pages(options);
      for (const ScalePage& page : pages) {
        CHECK(page.first_column == next_column);
        CHECK(page.from_mm == 40.0 * next_column);
        next_column += page.columns;
        CHECK(page.to_mm == 40.0 * next_column);
        CHECK(page.pages == static_cast<int>(pages.size()));
      }
      CHECK(pages.back().to_mm >= length_mm);
      CHECK((pages.size() == 1 || pages.back().from_mm < length_mm));  // none too many
      CHECK(next_column <= 50);
    }
  }
  CHECK(scale_pages({}).size() == 1);
  CHECK(scale_pages({.length_mm = 240.0}).size() == 1);
  CHECK(scale_pages({.length_mm = 240.5}).size() == 2);
  CHECK(scale_pages({.length_mm = 0.48 * 1000.0}).size() == 2);
  CHECK(scale_pages({.length_mm = 2000.0}).back().columns == 2);
  CHECK(scale_pages({.orientation = Orientation::kPortrait, .length_mm = 480.0}).size() == 3);
}

TEST_CASE("a drawn file is the same each time") {
  const ScaleDrawingOptions options{.length_mm = 480.0};
  const std::string pdf = scale_pdf(options);
  CHECK(pdf.starts_with("%PDF-"));
  CHECK(pdf == scale_pdf(options));
  CHECK(pdf.find("CreationDate") == std::string::npos);
  CHECK(scale_svgs(options).size() == 2);
}

TEST_CASE("a scale that cannot be drawn is the caller's bug") {
  const double not_a_number = std::numeric_limits<double>::quiet_NaN();
  for (const double length_mm : {-1.0, 2000.1, not_a_number}) {
    CHECK_THROWS_AS((void)scale_pages({.length_mm = length_mm}), std::invalid_argument);
    CHECK_THROWS_AS((void)scale_pdf({.length_mm = length_mm}), std::invalid_argument);
  }
  CHECK_THROWS_AS((void)render_scale_page(scale_pages({}).front(), 0.0), std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
