#pragma once

#include <array>
#include <span>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "calibration/map/spaces.h"

/// The map from the stored picture to the wall, and how well it is known.
namespace nightswing::calibration {

/// Standard uncertainty [px] of each coordinate of a point set by hand with a cursor; common
/// practice, no source.
inline constexpr double kHandSet_px = 0.5;

/// The marker number of a reference point that belongs to no marker.
inline constexpr int kNoMarker = -1;

/// A place known in both planes. wall is taken as exact within a sheet of paper; u_px > 0 is the
/// standard uncertainty of each pixel coordinate. Points of one marker share errors (edges, print),
/// so they carry its id; points of one sheet of a scale of several share where it was taped, so
/// they carry its number, from 1.
struct ReferencePoint {
  PixelPoint pixel;
  WallPoint wall;
  double u_px = kHandSet_px;
  int marker = kNoMarker;
  int page = 1;
  bool operator==(const ReferencePoint&) const = default;
};

/// A place on an ordinary ruler: the pixel of one of its ticks and the number printed there.
struct LineReference {
  PixelPoint pixel;
  double x_mm;
  double u_px = kHandSet_px;
};

/// A reference point as the map keeps it, with what the fit left over: measured minus fitted pixel;
/// for a corner of a marker without what moves the edges of all markers outwards alike.
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

[[nodiscard]] PixelPoint picture_centre(FrameSize frame);
[[nodiscard]] double half_diagonal_px(FrameSize frame);

/// How a sheet lies against the first one: what is printed at p hangs at
///   pivot + shift + (1 + larger) R(turn) (p - pivot), R turning from x towards y.
/// A sheet that stands off the wall seems larger too: a picture cannot tell the one from the other.
struct PageShift {
  int page = 2;
  WallPoint pivot{0.0, 0.0};
  double shift_x_mm = 0.0;
  double shift_y_mm = 0.0;
  double turn_rad = 0.0;
  double larger_relative = 0.0;
  double u_x_mm = 0.0;  ///< standard uncertainties of the four
  double u_y_mm = 0.0;
  double u_turn_rad = 0.0;
  double u_larger_relative = 0.0;
  bool operator==(const PageShift&) const = default;
};

/// How far [relative] sheets that hang together may differ in size, as a standard deviation: what
/// printers and damp paper do (common practice, no source).
inline constexpr double kUsualSheet_relative = 5e-4;

enum class MapKind {
  kPlane,  ///< perspective view of a flat wall: x and y
  kLine,   ///< positions along one straight ruler: x only
  kRuler,  ///< the ticks of a ruler: x only, also beside it
};

/// The map as plain numbers. Written out with all digits (17 significant) and read back it is the
/// same map; nothing else is kept. The formulas, with (x, y) a pixel, (cx, cy) = centre and
/// S = half_span_px:
///
///   kPlane  first the lens, if distortion = k1, k2, ... has terms:
///             d = ((x, y) - distortion_centre) / distortion_radius_px,  r = |d|
///             (x', y') = (x, y) + distortion_radius_px d (k1 r^2 + k2 r^4 + ...)
///           without terms (x', y') = (x, y); then
///             u = (x' - cx) / S,  v = (y' - cy) / S,  W = h6 u + h7 v + 1
///             x_mm = (h0 u + h1 v + h2) / W,  y_mm = (h3 u + h4 v + h5) / W
///           parameters h0 .. h7; h0 .. h5 in mm; a homography of the plane (Hartley, Zisserman:
///           Multiple View Geometry, 2nd ed. 2004, section 2.3), normalised to 1 at the centre.
///   kLine   s = ((x - cx) direction_x + (y - cy) direction_y) / S,  W = c s + 1
///           x_mm = (a s + b) / W,  y_mm = 0
///           parameters a, b, c; a and b in mm; (direction_x, direction_y) is a unit vector.
///   kRuler  first the lens as for kPlane, its centre in the middle of the picture; then
///             u, v as for kPlane,  W = q0 u + q1 v + 1
///             x_mm = (p0 u + p1 v + p2) / W,  y_mm = 0
///           parameters p0 p1 p2 q0 q1; p0 .. p2 in mm: the first and third row of the homography
///           of the wall, the part that ticks alone determine. (direction_x, direction_y) is the
///           unit vector along the ruler in the picture, for information.
///
/// Pixels with W <= 0 lie beyond the horizon of the wall and have no place on it; nor have those so
/// far outside the picture that the polynomial of the lens turns round or r exceeds 3.
struct WallMap {
  MapKind kind = MapKind::kPlane;
  FrameSize frame;
  PixelPoint centre{0.0, 0.0};
  double half_span_px = 1.0;
  double direction_x = 1.0;                ///< kLine and kRuler
  double direction_y = 0.0;                ///< kLine only
  PixelPoint distortion_centre{0.0, 0.0};  ///< not kLine, like the next two
  double distortion_radius_px = 1.0;       ///< half the diagonal of the picture
  std::vector<double> distortion;          ///< k1, k2, ...; empty = the lens was not considered
  std::vector<double> parameters;
  /// Covariance of the parameters, row by row: 3 x 3 for a line, 8 x 8 for a plane; where the lens
  /// was considered, its terms k1, k2, ... and the two coordinates [px] of its centre follow the
  /// eight. For a ruler the five parameters and the terms. As wide as the scatter of the
  /// references asks.
  std::vector<double> covariance;
  std::vector<FittedReference> references;
  std::vector<PageShift> pages;  ///< of the sheets beyond the first; kPlane only
  int degrees_of_freedom = 0;
  double reduced_chi2 = 0.0;  ///< against the stated u_px; 0 when there are no degrees of freedom
  /// By what the stated u_px were multiplied, and the standard deviation of what all points of a
  /// marker have in common beside them: both estimated from the residuals. kPlane only.
  double widening = 1.0;
  double marker_scatter_px = 0.0;
  /// Relative standard uncertainty of the printed millimetres themselves, which all references
  /// share; in no other uncertainty of the map.
  double print_relative_u = 0.0;
  std::string note;  ///< what the user should know of this map; empty if nothing
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
///   minimises over homography, lens, sheets, growth of the markers (and, on films, slanting edges:
///   plane_model.h) the sum of Huber(|whitened residuals of a marker|),
///   residual = measured pixel - pixel_from_wall(wall), which is quadratic up to about 3 standard
///   uncertainties and linear beyond, so that one bad marker (or one point of none) does not pull
///   the rest; plus the squares of (lens, sheets) over what is known of them beforehand:
///     k1 0(0.06), k2 0(0.03), k3 0(0.02), centre of the lens = middle of the picture within 0.03
///     half diagonals; a sheet shifted by 0(1) mm along and across, turned by 0(5) mrad, larger by
///     0(5e-4); so wide are cheap cameras and taped sheets (common practice, no source).
///   Where the points tell more, that counts for nothing; a term that they cannot tell stays near 0
///   and keeps its doubt. This lets in as many terms as the points bear without a choice between
///   models: a term left out because it is not significant would leave its doubt out too.
/// points   at least 4, among them 4 of which no three are collinear.
/// frame    the picture; without it the lens is not considered.
/// returns  the map. Residuals of a marker have the covariance s^2 u_px^2 + t^2, t common to its
///          points; s (widening, at least 1) and t (marker_scatter_px) are estimated with the map
///          (scatter_components.h). The note says if the markers scatter too much for a flat wall,
///          or if a sheet lies off, or seems larger or smaller than the first.
/// throws   std::invalid_argument if a number is not finite or a u_px is not positive.
/// source   start: normalised direct linear transform (Hartley, Zisserman, algorithm 4.2); cost and
///          covariance: ibid. sections 4.2.3 and 5.2, with the roles of error-free and measured
///          side as here; knowledge beforehand as observations: common practice, no source.
[[nodiscard]] MapFit fit_plane_map(std::span<const ReferencePoint> points, FrameSize frame = {});

/// Fits the line map to ticks of one straight ruler.
///   2 points: linear, and the note says that perspective could not be checked. 3 or more:
///   projective in one dimension; if c is below twice its uncertainty the map stays linear (c = 0),
///   but its covariance and reduced chi squared remain those of the projective fit, because "not
///   seen" is not "not there".
/// throws   std::invalid_argument as above.    not here  what lies beside the ruler: its distance
///          from the line is not converted.
[[nodiscard]] MapFit fit_line_map(std::span<const LineReference> points, FrameSize frame = {});

/// Whether the pixel has no place on the wall: beyond the horizon or the reach of the lens terms.
/// False everywhere near the references, and as to the lens all over the picture.
[[nodiscard]] bool beyond_horizon(const WallMap& map, PixelPoint pixel);

/// Whether no pixel, however far outside the picture, shows the place. False near the references.
[[nodiscard]] bool behind_camera(const WallMap& map, WallPoint wall);

/// Where the place would be in the picture if the lens kept straight lines straight: (x', y')
/// above.
[[nodiscard]] PixelPoint undistorted(const WallMap& map, PixelPoint pixel);

/// Where a reference point hangs: its place as printed, moved with its sheet.
[[nodiscard]] WallPoint hung_place(const WallMap& map, const ReferencePoint& point);

/// The place on the wall that the pixel shows. For a line: the foot of the pixel on the line; for a
/// ruler: where the line of a tick through the pixel would meet it.
/// throws std::invalid_argument beyond the horizon, as do the functions of a pixel below.
[[nodiscard]] WallPoint wall_from_pixel(const WallMap& map, PixelPoint pixel);

/// The pixel that shows the place on the wall; the inverse of wall_from_pixel. For a line: the
/// pixel on the line at x_mm. throws std::invalid_argument if it lies behind the camera, and for a
/// ruler, whose ticks do not tell how high a place lies.
[[nodiscard]] PixelPoint pixel_from_wall(const WallMap& map, WallPoint wall);

/// d(x_mm, y_mm) / d(x_px, y_px) at the pixel, in mm per px: rows x and y of the wall.
[[nodiscard]] Eigen::Matrix2d jacobian(const WallMap& map, PixelPoint pixel);

/// Covariance [mm2] of (x_mm, y_mm) at an exactly known pixel: what the map alone leaves in doubt.
[[nodiscard]] Eigen::Matrix2d map_covariance_mm2(const WallMap& map, PixelPoint pixel);

/// d(distance on the wall between two pixels [mm]) / d(all that the covariance belongs to), for
/// combinations of several distances: with C = covariance_matrix, u^2 = g^T C g. Zero for a pixel
/// and itself.
[[nodiscard]] Eigen::VectorXd distance_gradient(const WallMap& map, PixelPoint from, PixelPoint to);
[[nodiscard]] Eigen::MatrixXd covariance_matrix(const WallMap& map);

/// Standard uncertainty [mm] of the distance on the wall between two exactly known pixels, due to
/// the map, errors common to both ends taken into account. The distance of a pixel from itself has
/// none.
[[nodiscard]] double displacement_uncertainty_mm(const WallMap& map,
                                                 PixelPoint from,
                                                 PixelPoint to);

/// Length on the wall of one pixel: square root of the area that the pixel covers (plane), along
/// the line, or across the ticks.
[[nodiscard]] double mm_per_px(const WallMap& map, PixelPoint pixel);

/// Whether the pixel lies outside the convex hull of the reference points (plane), or beyond the
/// outermost of them along the line or ruler: there the map extrapolates.
[[nodiscard]] bool extrapolates(const WallMap& map, PixelPoint pixel);

/// What sheets that seem to differ in size, beyond the uncertainty of that, leave in doubt of any
/// distance on the wall, and of the proportion of two, as a relative standard uncertainty; 0 for
/// one sheet. Whether the one has other millimetres or stands off the wall does not show, nor which
/// of them is the true one, by whose bar the print was checked: the error is 0 or the difference,
/// which with equal chance has the root mean square difference / sqrt(2).
[[nodiscard]] double sheet_doubt_relative(const WallMap& map);

/// Root mean square length [px] of the residuals; 0 for a map without references.
[[nodiscard]] double residual_rms_px(const WallMap& map);

/// The plane map as the 3 x 3 matrix, row by row, that takes (x', y', 1), the undistorted pixel, to
/// (x_mm, y_mm, 1) times a factor, for other programs. throws std::invalid_argument for others.
[[nodiscard]] std::array<double, 9> homography_mm_from_px(const WallMap& map);

}  // namespace nightswing::calibration
