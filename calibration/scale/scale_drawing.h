#pragma once

#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"

/// Draws the printed scale (printed_scale.h) in true size on sheets of paper.
///
/// The strip of the scale, 140 mm high, lies in the middle of the sheet; above it stand the title
/// and how to hang it, below it the check bar and the caution. What belongs to one page and where
/// it lies on the sheet:
///
///                      sheet            strip          beside it    above and below it
///   A4 landscape       297   x 210      6 columns 240  28.5 mm      35.0 mm
///   Letter landscape   279.4 x 215.9    6 columns 240  19.7 mm      37.95 mm
///   A4 portrait        210   x 297      4 columns 160  25.0 mm      78.5 mm
///   Letter portrait    215.9 x 279.4    4 columns 160  27.95 mm     69.7 mm
///
/// All ink stays 5 mm, which most printers leave white (common practice, no source), away from the
/// edges of the sheet. Pages join at dashed lines: the next page is cut along its left one and laid
/// with that edge on the right one of the page before. All that both pages draw at the joint (base
/// line, tick, numeral, the diamonds beside the strip) then becomes whole.
namespace nightswing::calibration {

enum class Paper { kA4, kLetter };
enum class Orientation { kLandscape, kPortrait };

/// The longest scale that can be drawn: kMostColumns columns.
inline constexpr double kLongestScale_mm = 2000.0;

struct ScaleDrawingOptions {
  Paper paper = Paper::kA4;
  Orientation orientation = Orientation::kLandscape;
  double length_mm = 0.0;  ///< at least so long, filled up to whole pages; 0 = one page
};

/// A place on a sheet [mm]: x to the right, y downwards, from its top left corner.
struct PaperPoint {
  double x_mm;
  double y_mm;
  bool operator==(const PaperPoint&) const = default;
};

/// One sheet: which columns of the scale it carries, and where they lie on it.
struct ScalePage {
  int number = 1;  ///< from 1
  int pages = 1;
  int first_column = 0;
  int columns = 0;
  double from_mm = 0.0;  ///< reading of the ruler at the left end of the strip
  double to_mm = 0.0;    ///< and at the right end
  double paper_width_mm = 0.0;
  double paper_height_mm = 0.0;
  double strip_length_mm = 0.0;  ///< of a full page; the last page of 2000 mm may carry less
  PaperPoint origin{0.0, 0.0};   ///< place of (from_mm, base line) on the sheet
  double bar_mm = 0.0;           ///< length of the check bar, stroke to stroke
};

/// The pages of a scale, in order; columns run on from page to page without gap.
/// throws std::invalid_argument if the length is negative, not finite or above kLongestScale_mm.
[[nodiscard]] std::vector<ScalePage> scale_pages(const ScaleDrawingOptions& options);

/// Where the page shows a place of the scale.
[[nodiscard]] PaperPoint paper_from_wall(const ScalePage& page, WallPoint wall);

/// The left end of the check bar, which runs from there bar_mm to the right.
[[nodiscard]] PaperPoint bar_start(const ScalePage& page);

/// The whole scale as a PDF of one page a sheet. Equal options give equal bytes (with the same
/// fonts and the same cairo): no date stands in it.
/// throws std::invalid_argument as scale_pages; std::runtime_error if cairo fails.
[[nodiscard]] std::string scale_pdf(const ScaleDrawingOptions& options);

/// The same as one SVG a page.
[[nodiscard]] std::vector<std::string> scale_svgs(const ScaleDrawingOptions& options);

/// A page as a printer would put it on paper: CV_8UC1, ink 0, paper 255, edges smoothed. The centre
/// of pixel (x, y) lies at ((x + 0.5), (y + 0.5)) 25.4 / dpi mm on the sheet.
/// throws std::invalid_argument if dpi is not within 10 to 1200; std::runtime_error if cairo fails.
[[nodiscard]] cv::Mat render_scale_page(const ScalePage& page, double dpi);

}  // namespace nightswing::calibration
