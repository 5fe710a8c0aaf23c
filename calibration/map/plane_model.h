#pragma once

#include <array>
#include <vector>

#include <Eigen/Core>

#include "calibration/map/lens.h"
#include "calibration/map/scatter_components.h"
#include "calibration/map/wall_map.h"

/// The least squares problem inside fit_plane_map: homography, lens and sheets, in coordinates of
/// about -1 .. 1.
namespace nightswing::calibration {

inline constexpr std::size_t kSlantUnknowns = 4;  // step, ramp; upright, level edges
inline constexpr std::size_t kPageUnknowns = 4;   // shift along, across [mm]; turn; larger

/// What is known beforehand: standard deviations about 0; reasons in wall_map.h, fit_plane_map.
inline constexpr std::array<double, kPageUnknowns> kUsualPage{
    1.0, 1.0, 0.005, kUsualSheet_relative};

/// The same, whatever the size of a sheet: twice a sheet 20 mm off the wall before a camera 800 mm
/// away.
inline constexpr std::array<double, kPageUnknowns> kSheetOfAnySize{1.0, 1.0, 0.005, 0.05};

/// From pixels and millimetres to the coordinates of the problem.
struct PlaneFrame {
  Eigen::Vector2d pixel_centre;
  double pixel_half_span;
  Eigen::Vector2d wall_centre;
  double wall_half_span;
  Eigen::Vector2d lens_middle;  ///< the middle of the picture
  double lens_radius;           ///< half its diagonal; 0 = the lens is not considered
};

struct PlaneUnknowns {
  /// h0 .. h7 from straightened pixel to wall, both conditioned; the last element is 1.
  std::array<double, 8> homography{};
  std::array<double, kLensUnknowns> lens{};
  std::vector<std::array<double, kPageUnknowns>> pages;  ///< the first stays 0
  /// How far [px] a film's coder shifts slanting edges: PointGroup::slant times these.
  std::array<double, kSlantUnknowns> slant_px{};
  /// How far [px] ink and tone curve move the edges of all markers outwards: PointGroup::outwards
  /// times this.
  std::array<double, 1> growth_px{};
};

/// The points of one marker, or one point of none.
struct PointGroup {
  std::vector<ReferencePoint> points;
  std::size_t page = 0;  ///< index in PlaneUnknowns::pages
  /// How the edges here are shifted by a unit of each of slant_px: two along x, two along y. 0
  /// where no edges were measured.
  Eigen::Vector4d slant = Eigen::Vector4d::Zero();
  /// How each point moves if every side moves outwards by 1 px; empty where no edges were measured.
  std::vector<Eigen::Vector2d> outwards{};
};

/// What a film's coder does to slanting edges. It predicts a block from those above or beside it
/// along one of a few directions and rounds away part of what is left, so that all edges of one
/// slope lag behind, or run ahead, alike. Converging edges then make a wrong scale, which leaves no
/// residuals. On rendered views coded by libx264 the shift of near-upright edges is about the same
/// odd function of their slope all over a picture: it jumps at 0, returns to 0 at a slope of about
/// 0.25 and goes on beyond. So it is described by a step and a ramp, and likewise for near-level
/// edges.
/// Known beforehand: the standard deviation of slant_px over the scatter that the points show
/// beyond their u_px. 0.8 to 1.8 was measured at crf 23 and 26, 0.5 to 1 with older coders; where
/// the points scatter no more than stated, as on pictures never coded so, there is no such shift.
inline constexpr double kSlantShare = 3.0;

/// PointGroup::slant from the directions that the sides of a marker have in the picture.
[[nodiscard]] Eigen::Vector4d slant_of(const std::vector<ReferencePoint>& marker);

/// A camera's tone curve, white that saturates and ink that spreads move the edges of black on
/// white alike all over a picture. Known beforehand: the standard deviation of growth_px; a display
/// curve of exponent 0.45 moves an edge of blur 0.8 px by 0.26 px (computed from the blurred step).
inline constexpr double kUsualGrowth_px = 0.3;

/// PointGroup::outwards of the four points of a marker, in their order around it.
[[nodiscard]] std::vector<Eigen::Vector2d> outwards_of(const std::vector<ReferencePoint>& marker);

struct PlaneSolution {
  bool converged = false;
  PlaneUnknowns unknowns;
  /// Of h0 .. h7, the lens if considered, the pages from the second on, the slant if considered,
  /// the growth if there are markers.
  Eigen::MatrixXd covariance;
  double reduced_chi2 = 0.0;  ///< against the stated u_px alone
  ScatterComponents scatter;
  double off_wall_mm = 0.0;  ///< how far markers lie off the fitted wall, beyond what u_px explain
};

/// pivots_mm  the place about which each page turns.
/// sheets     what is known beforehand of the pages from the second on.
[[nodiscard]] PlaneSolution solve_plane(
    const PlaneFrame& frame,
    const std::vector<PointGroup>& groups,
    const std::vector<Eigen::Vector2d>& pivots_mm,
    const PlaneUnknowns& start,
    const std::array<double, kPageUnknowns>& sheets = kUsualPage);

}  // namespace nightswing::calibration
