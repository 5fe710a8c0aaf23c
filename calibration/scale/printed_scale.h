#pragma once

#include <array>

#include "calibration/map/spaces.h"

/// The layout of the printed scale, in WallPoint millimetres: x along the ruler, y upwards. These
/// numbers are all that is needed to draw it:
///
///   y = +95  ------------------------------------------------  upper edge of the paper
///   y = +80     [1]     [3]     [5]     [7]     [9]     [11]    upper markers, centres
///   y = +65  ................................................  below it the paper stays blank
///               (the lane of the spot)
///   y =  +2  ................................................
///   y =   0  ________________________________________________  base line of the ruler
///            ' ' ' ' | ' ' ' ' ! ' ' ' ' | ' ' ' ' !            ticks, downwards
///   y = -30     [0]     [2]     [4]     [6]     [8]     [10]    lower markers, centres
///   y = -45  ------------------------------------------------  lower edge of the paper
///           x = 0  20      60     100     140     180     220   240
///
/// Markers: OpenCV's fiducial dictionary DICT_4X4_100, upright, black on white; 24 mm is the outer
/// edge of the black border, so one of the 6 x 6 cells measures 4 mm. Column k has its centre at
/// x = 20 + 40 k mm, carries id 2 k below and 2 k + 1 above. Ticks: thin black lines (0.2 to 0.4
/// mm) with their middle on each whole millimetre, from 0 to the end of the page. A page is 240 mm
/// long (160 mm in portrait); pages join without gap to at most 50 columns = 2000 mm. Ids are
/// unique, so that every marker says by itself where on the scale it is, and a part of the scale
/// can be read when the rest is hidden.
namespace nightswing::calibration {

inline constexpr double kMarkerSide_mm = 24.0;
inline constexpr double kMarkerCell_mm = 4.0;
inline constexpr double kFirstColumn_mm = 20.0;
inline constexpr double kColumnPitch_mm = 40.0;
inline constexpr double kLowerRow_mm = -30.0;
inline constexpr double kUpperRow_mm = 80.0;
inline constexpr double kBaseLine_mm = 0.0;
inline constexpr double kPaperBottom_mm = -45.0;
inline constexpr double kPaperTop_mm = 95.0;
inline constexpr double kLaneBottom_mm = 2.0;
inline constexpr double kLaneTop_mm = 65.0;
inline constexpr double kPageLength_mm = 240.0;
inline constexpr int kColumnsPerPage = 6;
inline constexpr int kColumnsPerPortraitPage = 4;
inline constexpr double kBar_mm = 200.0;  ///< the check bar as drawn
inline constexpr double kPortraitBar_mm = 160.0;
inline constexpr int kMostColumns = 50;
inline constexpr int kMarkerCount = 2 * kMostColumns;

/// The column that marker `id` stands in, 0 to kMostColumns - 1.
/// throws std::invalid_argument if no such marker is on the scale, as do the functions below.
[[nodiscard]] int marker_column(int id);

/// The middle of marker `id`.
[[nodiscard]] WallPoint marker_centre(int id);

/// The outer corners of marker `id`, in the order in which the detector names them: top left, top
/// right, bottom right, bottom left of the upright marker.
[[nodiscard]] std::array<WallPoint, 4> marker_corners(int id);

/// The corners of the field of 4 x 4 bits of marker `id`, one cell inside, in the same order.
[[nodiscard]] std::array<WallPoint, 4> field_corners(int id);

/// How far [mm] the tick at the whole millimetre x reaches below the base line: 8 at every tenth, 5
/// at every fifth, 3 at the others. throws std::invalid_argument if x is negative.
[[nodiscard]] double tick_length_mm(int x_mm);

}  // namespace nightswing::calibration
