#pragma once

#include <array>
#include <span>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "calibration/spaces.h"

/// The map from the stored picture to the wall, and how well it is known.
namespace nightswing::calibration {

/// Standard uncertainty [px] of each coordinate of a point set by hand with a cursor; common
/// practice, no source.
inline constexpr double kHandSet_px = 0.5;

/// The marker number of a reference point that belongs to no marker.
inline constexpr int kNoMarker = -1;

/// A place known in both planes. wall is taken as exact; u_px > 0 is the standard uncertainty of
/// each pixel coordinate. Points of one marker share errors (edges, print), so they carry its id.
struct ReferencePoint {
  PixelPoint pixel;
  WallPoint wall;
  double u_px = kHandSet_px;
  int marker = kNoMarker;
  bool operator==(const ReferencePoint&) const = default;
};

/// A place on an ordinary ruler: the pixel of one of its ticks and the number printed there.
struct LineReference {
  PixelPoint pixel;
  double x_mm;
  double u_px = kHandSet_px;
};

/// A reference point as the map keeps it, with what the fit left over: measured minus fitted pixel.
struct FittedReference {
  ReferencePoint point;
  double residual_x_px = 0.0;
  double residual_y_px = 0.0;
  bool operator==(const FittedReference&) const = default;
};

/// Size of the picture that the map belongs to; a spot of a picture of other size must not be
/// mapped with it. 0 x 0 = not stated.
struct FrameSize {
  int width_px = 0;
  int height_px = 0;
  bool operator==(const FrameSize&) const = default;
};

enum class MapKind {
  kPlane,  ///< perspective view of a flat wall: x and y
  kLine,   ///< positions along one straight ruler: x only
};

/// The map as plain numbers. Written out with all digits (17 significant) and read back it is the
/// same map; nothing else is kept. The formulas, with (x, y) a pixel, (cx, cy) = centre and
/// S = half_span_px:
///
///   kPlane  u = (x - cx) / S,  v = (y - cy) / S,  W = h6 u + h7 v + 1
///           x_mm = (h0 u + h1 v + h2) / W,  y_mm = (h3 u + h4 v + h5) / W
///           parameters h0 .. h7; h0 .. h5 in mm; a homography of the plane (Hartley, Zisserman:
///           Multiple View Geometry, 2nd ed. 2004, section 2.3), normalised to 1 at the centre.
///   kLine   s = ((x - cx) direction_x + (y - cy) direction_y) / S,  W = c s + 1
///           x_mm = (a s + b) / W,  y_mm = 0
///           parameters a, b, c; a and b in mm; (direction_x, direction_y) is a unit vector.
///
/// Pixels with W <= 0 lie beyond the horizon of the wall and have no place on it.
struct WallMap {
  MapKind kind = MapKind::kPlane;
  FrameSize frame;
  PixelPoint centre{0.0, 0.0};
  double half_span_px = 1.0;
  double direction_x = 1.0;  ///< kLine only
  double direction_y = 0.0;  ///< kLine only
  std::vector<double> parameters;
  /// Covariance of the parameters, row by row (8 x 8 or 3 x 3), already multiplied by reduced_chi2
  /// where that exceeds 1.
  std::vector<double> covariance;
  std::vector<FittedReference> references;
  int degrees_of_freedom = 0;
  double reduced_chi2 = 0.0;  ///< 0 when there are no degrees of freedom
  std::string note;           ///< what the user should know of this map; empty if nothing
  bool operator==(const WallMap&) const = default;
};

enum class MapStatus {
  kFitted,
  kTooFewPoints,  ///< fewer than 4 for a plane, 2 for a line
  kDegenerate,    ///< coincident or collinear points, which do not fix the map
  kNotAView,      ///< no camera can see these points so: numbers swapped or mistyped
  kNotConverged,
};

/// map is meaningful only if status == kFitted; message then repeats its note, else it is one
/// sentence that says what to do.
struct MapFit {
  MapStatus status = MapStatus::kNotConverged;
  std::string message = "no map was fitted";
  WallMap map;
};

/// Fits the plane map to points of the wall.
///   minimises the sum of Huber(|measured pixel - pixel_from_wall(wall)| / u_px), which is
///   quadratic up to 3 standard uncertainties and linear beyond, so that one bad point does not
///   pull the rest.
/// points   at least 4, among them 4 of which no three are collinear. Errors taken as independent.
/// returns  the map; its covariance follows from the u_px and is multiplied by the reduced chi
///          squared (that of the robust cost) where this exceeds 1, i.e. where the points scatter
///          more than stated. If it exceeds 9 the note says so.
/// throws   std::invalid_argument if a number is not finite or a u_px is not positive.
/// source   start: normalised direct linear transform (Hartley, Zisserman, algorithm 4.2); cost and
///          covariance: ibid. sections 4.2.3 and 5.2, with the roles of error-free and measured
///          side as here.
[[nodiscard]] MapFit fit_plane_map(std::span<const ReferencePoint> points, FrameSize frame = {});

/// Fits the line map to ticks of one straight ruler.
///   2 points: linear, and the note says that perspective could not be checked. 3 or more:
///   projective in one dimension; if c is below twice its uncertainty the map stays linear (c = 0),
///   but its covariance and reduced chi squared remain those of the projective fit, because "not
///   seen" is not "not there".
/// throws   std::invalid_argument as above.    not here  what lies beside the ruler: its distance
///          from the line is not converted.
[[nodiscard]] MapFit fit_line_map(std::span<const LineReference> points, FrameSize frame = {});

/// Whether the pixel has no place on the wall (W <= 0). False everywhere near the references.
[[nodiscard]] bool beyond_horizon(const WallMap& map, PixelPoint pixel);

/// Whether no pixel, however far outside the picture, shows the place. False near the references.
[[nodiscard]] bool behind_camera(const WallMap& map, WallPoint wall);

/// The place on the wall that the pixel shows. For a line: the foot of the pixel on the line.
/// throws std::invalid_argument beyond the horizon, as do the functions of a pixel below.
[[nodiscard]] WallPoint wall_from_pixel(const WallMap& map, PixelPoint pixel);

/// The pixel that shows the place on the wall; the inverse of wall_from_pixel. For a line: the
/// pixel on the line at x_mm. throws std::invalid_argument if it lies behind the camera.
[[nodiscard]] PixelPoint pixel_from_wall(const WallMap& map, WallPoint wall);

/// d(x_mm, y_mm) / d(x_px, y_px) at the pixel, in mm per px: rows x and y of the wall.
[[nodiscard]] Eigen::Matrix2d jacobian(const WallMap& map, PixelPoint pixel);

/// Covariance [mm2] of (x_mm, y_mm) at an exactly known pixel: what the map alone leaves in doubt.
[[nodiscard]] Eigen::Matrix2d map_covariance_mm2(const WallMap& map, PixelPoint pixel);

/// Standard uncertainty [mm] of the distance on the wall between two exactly known pixels, due to
/// the map, errors common to both ends taken into account. The distance of a pixel from itself has
/// none.
[[nodiscard]] double displacement_uncertainty_mm(const WallMap& map,
                                                 PixelPoint from,
                                                 PixelPoint to);

/// Length on the wall of one pixel: square root of the area that the pixel covers (plane), or along
/// the line.
[[nodiscard]] double mm_per_px(const WallMap& map, PixelPoint pixel);

/// Whether the pixel lies outside the convex hull of the reference points (plane), or beyond the
/// outermost of them along the line: there the map extrapolates.
[[nodiscard]] bool extrapolates(const WallMap& map, PixelPoint pixel);

/// Root mean square length [px] of the residuals; 0 for a map without references.
[[nodiscard]] double residual_rms_px(const WallMap& map);

/// The plane map as the 3 x 3 matrix, row by row, that takes (x_px, y_px, 1) to (x_mm, y_mm, 1)
/// times a factor, for other programs. throws std::invalid_argument for a line.
[[nodiscard]] std::array<double, 9> homography_mm_from_px(const WallMap& map);

}  // namespace nightswing::calibration
