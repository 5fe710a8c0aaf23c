#include <algorithm>
#include <array>
#include <cmath>
#include <iomanip>
#include <numbers>
#include <set>
#include <sstream>
#include <stdexcept>
#include <string>
#include <utility>

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <Eigen/SVD>

#include "calibration/lens.h"
#include "calibration/plane_model.h"
#include "calibration/wall_map.h"

namespace nightswing::calibration {
namespace {

constexpr int kParameters = 8;
constexpr double kFlatness = 1e-3;         // of the half span: nearer to a line is on the line
constexpr double kWorstReducedChi2 = 9.0;  // residuals three times the stated ones deserve a word
constexpr double kFlat_mm = 0.04;          // in the picture's plane: ridges of 1 to 2 mm
constexpr double kWorthAWord_mm = 0.2;     // of a sheet's shift: what careful hands leave
constexpr double kWorthAWord_rad = 0.003;  // of its turn: 0.2 mm over half its length
constexpr double kSure = 3.0;              // standard uncertainties
constexpr double kUnheardOf = 6.0;         // standard deviations of the usual lenses
using Vector8d = Eigen::Matrix<double, kParameters, 1>;

/// Centre and half span that bring coordinates to about -1 .. 1, without which the equations of the
/// direct linear transform lose most of their digits (Hartley, Zisserman, section 4.4).
struct Conditioning {
  Eigen::Vector2d centre;
  double half_span;
  Eigen::Vector2d operator()(const Eigen::Vector2d& p) const { return (p - centre) / half_span; }
};

Conditioning conditioning_of(const std::vector<Eigen::Vector2d>& points) {
  Eigen::Vector2d sum = Eigen::Vector2d::Zero();
  for (const auto& p : points) sum += p;
  Conditioning result{sum / static_cast<double>(points.size()), 0.0};
  for (const auto& p : points) {
    result.half_span = std::max(result.half_span, (p - result.centre).cwiseAbs().maxCoeff());
  }
  return result;
}

/// The points off the line through a and b by more than the tolerance.
std::vector<Eigen::Vector2d> points_off_line(const std::vector<Eigen::Vector2d>& points,
                                             const Eigen::Vector2d& a,
                                             const Eigen::Vector2d& b,
                                             double tolerance) {
  const Eigen::Hyperplane<double, 2> line = Eigen::Hyperplane<double, 2>::Through(a, b);
  std::vector<Eigen::Vector2d> off;
  for (const auto& p : points) {
    if (line.absDistance(p) > tolerance) off.push_back(p);
  }
  return off;
}

/// Whether four of the points are such that no three lie on one line, that is, whether no line
/// holds all places or all but one. If some line does, then of any three distinct places two lie on
/// it, so that the three sides of one wide triangle are the only candidates.
bool four_in_general_position(const std::vector<Eigen::Vector2d>& points, double tolerance) {
  const auto farthest_from = [&points](const Eigen::Vector2d& from) {
    return *std::ranges::max_element(
        points, {}, [&from](const Eigen::Vector2d& p) { return (p - from).squaredNorm(); });
  };
  const Eigen::Vector2d a = farthest_from(conditioning_of(points).centre);
  const Eigen::Vector2d b = farthest_from(a);
  if ((b - a).norm() <= tolerance) return false;
  const auto base = Eigen::Hyperplane<double, 2>::Through(a, b);
  const Eigen::Vector2d c = *std::ranges::max_element(
      points, {}, [&base](const Eigen::Vector2d& p) { return base.absDistance(p); });
  if (base.absDistance(c) <= tolerance) return false;
  const std::array<std::array<Eigen::Vector2d, 2>, 3> sides{{{a, b}, {b, c}, {c, a}}};
  return std::ranges::all_of(sides, [&](const auto& side) {
    const auto off = points_off_line(points, side[0], side[1], tolerance);
    return std::ranges::any_of(off,
                               [&](const auto& p) { return (p - off.front()).norm() > tolerance; });
  });
}

/// Whether both the places on the wall and their pixels, within their uncertainty, fix a
/// homography.
bool fixes_a_plane(std::span<const ReferencePoint> points,
                   const std::vector<Eigen::Vector2d>& pixels,
                   const std::vector<Eigen::Vector2d>& walls) {
  std::vector<double> u_px;
  for (const ReferencePoint& p : points) u_px.push_back(p.u_px);
  std::ranges::sort(u_px);
  const double typical_u_px = u_px[u_px.size() / 2];
  return four_in_general_position(walls, kFlatness * conditioning_of(walls).half_span) &&
         four_in_general_position(
             pixels, std::max(3.0 * typical_u_px, kFlatness * conditioning_of(pixels).half_span));
}

/// Direct linear transform: the matrix that takes each (u, v, 1) to its (X, Y, 1) times a factor,
/// exact for exact points, divided by its last element.
Eigen::Matrix3d direct_linear_transform(const std::vector<Eigen::Vector2d>& from,
                                        const std::vector<Eigen::Vector2d>& to) {
  Eigen::MatrixXd equations(2 * from.size(), 9);
  for (std::size_t i = 0; i < from.size(); ++i) {
    const Eigen::RowVector3d p(from[i].x(), from[i].y(), 1.0);
    const auto row = static_cast<Eigen::Index>(2 * i);
    equations.row(row) << p, Eigen::RowVector3d::Zero(), -to[i].x() * p;
    equations.row(row + 1) << Eigen::RowVector3d::Zero(), p, -to[i].y() * p;
  }
  const Eigen::JacobiSVD<Eigen::MatrixXd> svd(equations, Eigen::ComputeFullV);
  const Eigen::Matrix<double, 9, 1> h = svd.matrixV().col(8);
  Eigen::Matrix3d matrix;
  matrix << h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8];
  return matrix / h[8];
}

/// Whether the matrix has all points in front of the camera, on either side.
bool sees_all(const Eigen::Matrix3d& matrix,
              const std::vector<Eigen::Vector2d>& pixels,
              const std::vector<Eigen::Vector2d>& walls) {
  const Eigen::Matrix3d inverse = matrix.inverse();
  const auto in_front = [](const Eigen::Matrix3d& m, const Eigen::Vector2d& p) {
    return m.row(2).dot(Eigen::Vector3d(p.x(), p.y(), 1.0)) > 0.0;  // false for NaN
  };
  return std::ranges::all_of(pixels, [&](const auto& p) { return in_front(matrix, p); }) &&
         std::ranges::all_of(walls, [&](const auto& p) { return in_front(inverse, p); });
}

PlaneFrame frame_of(const Conditioning& from_pixel, const Conditioning& from_wall, FrameSize size) {
  const Eigen::Vector2d corner_px(size.width_px - 1.0, size.height_px - 1.0);
  const bool known = size.width_px > 0 && size.height_px > 0;
  return {.pixel_centre = from_pixel.centre,
          .pixel_half_span = from_pixel.half_span,
          .wall_centre = from_wall.centre,
          .wall_half_span = from_wall.half_span,
          .lens_middle = corner_px / 2.0,
          .lens_radius = known ? std::hypot(size.width_px, size.height_px) / 2.0 : 0.0};
}

/// The sheets that have points, ascending.
std::vector<int> pages_of(std::span<const ReferencePoint> points) {
  std::set<int> pages;
  for (const ReferencePoint& p : points) pages.insert(p.page);
  return {pages.begin(), pages.end()};
}

std::vector<Eigen::Vector2d> pivots_of(std::span<const ReferencePoint> points,
                                       const std::vector<int>& pages) {
  std::vector<Eigen::Vector2d> pivots_mm;
  for (const int page : pages) {
    std::vector<Eigen::Vector2d> places;
    for (const ReferencePoint& p : points) {
      if (p.page == page) places.emplace_back(p.wall.x_mm, p.wall.y_mm);
    }
    pivots_mm.push_back(conditioning_of(places).centre);
  }
  return pivots_mm;
}

/// The points of each marker, and each point of none, in the order in which they come.
std::vector<PointGroup> groups_of(std::span<const ReferencePoint> points,
                                  const std::vector<int>& pages) {
  std::vector<PointGroup> groups;
  for (const ReferencePoint& p : points) {
    const auto known = std::ranges::find_if(groups, [&p](const PointGroup& group) {
      return p.marker != kNoMarker && group.points.front().marker == p.marker &&
             group.points.front().page == p.page;
    });
    if (known != groups.end()) {
      known->points.push_back(p);
    } else {
      const auto page = std::ranges::find(pages, p.page) - pages.begin();
      groups.push_back({.points = {p},
                        .page = static_cast<std::size_t>(page),
                        .slant = Eigen::Vector4d::Zero()});
    }
  }
  for (PointGroup& group : groups) {
    group.slant = slant_of(group.points);
    if (group.points.size() == 4) group.outwards = outwards_of(group.points);
  }
  return groups;
}

/// Fills parameters, lens and covariance: x_mm = centre + half_span X is linear in the conditioned
/// h.
void store_map(const PlaneSolution& solution, const PlaneFrame& frame, WallMap& map) {
  const bool lens = frame.lens_radius > 0.0;
  const Eigen::Index count = lens ? 8 + static_cast<Eigen::Index>(kLensUnknowns) : 8;
  Eigen::MatrixXd to_mm = Eigen::MatrixXd::Identity(count, count);
  to_mm.topLeftCorner<6, 6>() *= frame.wall_half_span;
  to_mm(0, 6) = to_mm(1, 7) = frame.wall_centre.x();
  to_mm(3, 6) = to_mm(4, 7) = frame.wall_centre.y();
  if (lens) to_mm.bottomRightCorner<2, 2>() *= frame.lens_radius;
  const Eigen::Map<const Vector8d> conditioned(solution.unknowns.homography.data());
  Vector8d h = to_mm.topLeftCorner<8, 8>() * conditioned;
  h[2] += frame.wall_centre.x();
  h[5] += frame.wall_centre.y();
  map.parameters.assign(h.data(), h.data() + h.size());
  const Eigen::MatrixXd covariance =
      to_mm * solution.covariance.topLeftCorner(count, count) * to_mm.transpose();
  map.covariance.assign(covariance.data(), covariance.data() + covariance.size());
  if (!lens) return;
  const auto& terms = solution.unknowns.lens;
  map.distortion.assign(terms.begin(), terms.begin() + kLensTerms);
  map.distortion_radius_px = frame.lens_radius;
  map.distortion_centre = {frame.lens_middle.x() + frame.lens_radius * terms[kLensTerms],
                           frame.lens_middle.y() + frame.lens_radius * terms[kLensTerms + 1]};
}

void store_pages(const PlaneSolution& solution,
                 const std::vector<int>& pages,
                 const std::vector<Eigen::Vector2d>& pivots_mm,
                 WallMap& map) {
  const std::size_t before = 8 + (map.distortion.empty() ? 0 : kLensUnknowns);
  for (std::size_t i = 1; i < pages.size(); ++i) {
    const auto& shift = solution.unknowns.pages[i];
    const auto u = [&](std::size_t k) {
      const auto at = static_cast<Eigen::Index>(before + kPageUnknowns * (i - 1) + k);
      return std::sqrt(solution.covariance(at, at));
    };
    map.pages.push_back({.page = pages[i],
                         .pivot = {pivots_mm[i].x(), pivots_mm[i].y()},
                         .shift_x_mm = shift[0],
                         .shift_y_mm = shift[1],
                         .turn_rad = shift[2],
                         .u_x_mm = u(0),
                         .u_y_mm = u(1),
                         .u_turn_rad = u(2)});
  }
}

void check_numbers(std::span<const ReferencePoint> points) {
  for (const ReferencePoint& p : points) {
    if (!std::isfinite(p.pixel.x_px) || !std::isfinite(p.pixel.y_px) ||
        !std::isfinite(p.wall.x_mm) || !std::isfinite(p.wall.y_mm) || !std::isfinite(p.u_px) ||
        p.u_px <= 0.0) {
      throw std::invalid_argument("a reference point needs finite places and a positive u_px");
    }
  }
}

/// Whether the map can be a photograph of its own reference points.
bool sees_its_references(const WallMap& map) {
  return std::ranges::none_of(map.references, [&map](const FittedReference& reference) {
    const ReferencePoint& point = reference.point;
    return beyond_horizon(map, point.pixel) || behind_camera(map, hung_place(map, point));
  });
}

/// What the fit left over, without the growth of the markers, which moves no marker.
void store_residuals(const std::vector<PointGroup>& groups, double growth_px, WallMap& map) {
  for (FittedReference& reference : map.references) {
    const ReferencePoint& point = reference.point;
    const PixelPoint fitted = pixel_from_wall(map, hung_place(map, point));
    reference.residual_x_px = point.pixel.x_px - fitted.x_px;
    reference.residual_y_px = point.pixel.y_px - fitted.y_px;
  }
  for (const PointGroup& group : groups) {
    for (std::size_t k = 0; k < group.outwards.size(); ++k) {
      const auto grown =
          std::ranges::find(map.references, group.points[k], &FittedReference::point);
      grown->residual_x_px -= growth_px * group.outwards[k].x();
      grown->residual_y_px -= growth_px * group.outwards[k].y();
    }
  }
}

MapFit refusal(MapStatus status, std::string message) {
  return {.status = status, .message = std::move(message), .map = {}};
}

MapFit not_a_view() {
  return refusal(MapStatus::kNotAView,
                 "no camera can see a flat wall with the reference points where they are given; "
                 "check whether two of them were swapped or a coordinate was mistyped");
}

MapFit no_lens() {
  return refusal(MapStatus::kNotAView,
                 "the reference points seem bent more than any lens bends a flat wall; check that "
                 "the scale lies flat, that nothing covers it in part and that no point is "
                 "mistaken");
}

/// Whether the lens is one that exists, and its terms can be undone all over the picture.
bool is_a_lens(const PlaneUnknowns& unknowns, const WallMap& map) {
  if (map.distortion.empty()) return true;
  for (std::size_t i = 0; i < kLensUnknowns; ++i) {
    if (std::abs(unknowns.lens[i]) > kUnheardOf * kUsualLens[i]) return false;
  }
  const double off_middle = std::hypot(unknowns.lens[kLensTerms], unknowns.lens[kLensTerms + 1]);
  return monotonic_reach(map.distortion) > 1.0 + off_middle;
}

std::string rounded(double value, int digits) {
  std::ostringstream text;
  text << std::fixed << std::setprecision(digits) << std::abs(value);
  return text.str();
}

/// Where the sheet lies, if that is worth a word.
std::string note_of(const PageShift& page) {
  const auto tells = [](double value, double u, double least) {
    return std::abs(value) > std::max(kSure * u, least);
  };
  std::vector<std::string> parts;
  if (tells(page.shift_x_mm, page.u_x_mm, kWorthAWord_mm)) {
    parts.push_back(rounded(page.shift_x_mm, 1) + " mm further " +
                    (page.shift_x_mm > 0.0 ? "right" : "left"));
  }
  if (tells(page.shift_y_mm, page.u_y_mm, kWorthAWord_mm)) {
    parts.push_back(rounded(page.shift_y_mm, 1) + " mm " +
                    (page.shift_y_mm > 0.0 ? "higher" : "lower"));
  }
  if (tells(page.turn_rad, page.u_turn_rad, kWorthAWord_rad)) {
    parts.push_back(rounded(page.turn_rad * 180.0 / std::numbers::pi, 2) + " degrees turned " +
                    (page.turn_rad > 0.0 ? "to the left" : "to the right"));
  }
  if (parts.empty()) return {};
  std::string text = "page " + std::to_string(page.page) + " seems to lie " + parts.front();
  for (std::size_t i = 1; i < parts.size(); ++i) text += " and " + parts[i];
  return text + " than printed, which the map allows for";
}

std::string note_of(const WallMap& map, double off_wall_mm) {
  if (map.degrees_of_freedom == 0) {
    return "four points fit any plane, so nothing checks the map; add a fifth point";
  }
  std::string note;
  for (const PageShift& page : map.pages) {
    const std::string text = note_of(page);
    if (!text.empty()) note += (note.empty() ? "" : "; ") + text;
  }
  if (off_wall_mm > kFlat_mm) {
    note += (note.empty() ? "" : "; ");
    note += "the markers lie off one flat wall by about " + rounded(off_wall_mm, 2) +
            " mm, which the uncertainty allows for; check that the scale lies flat";
  }
  const bool by_hand = std::ranges::all_of(
      map.references, [](const auto& r) { return r.point.marker == kNoMarker; });
  if (by_hand && map.reduced_chi2 > kWorstReducedChi2) {
    note += "the reference points scatter " +
            std::to_string(std::lround(std::sqrt(map.reduced_chi2))) +
            " times more than their uncertainties; check that the wall is flat and that no point "
            "is mistaken";
  }
  return note;
}

/// The map from its start on.
MapFit fitted_map(std::span<const ReferencePoint> points,
                  const PlaneFrame& frame,
                  const PlaneUnknowns& start,
                  WallMap map) {
  const std::vector<int> pages = pages_of(points);
  const auto pivots_mm = pivots_of(points, pages);
  PlaneUnknowns unknowns = start;
  unknowns.pages.resize(pages.size());
  const std::vector<PointGroup> groups = groups_of(points, pages);
  const PlaneSolution solution = solve_plane(frame, groups, pivots_mm, unknowns);
  if (!solution.converged) {
    return refusal(MapStatus::kNotConverged,
                   "the map of the wall could not be fitted to the reference points; check them "
                   "for mistyped coordinates");
  }
  map.degrees_of_freedom = 2 * static_cast<int>(points.size()) - kParameters;
  map.reduced_chi2 = solution.reduced_chi2;
  map.widening = solution.scatter.widening;
  map.marker_scatter_px = solution.scatter.common_px;
  store_map(solution, frame, map);
  store_pages(solution, pages, pivots_mm, map);
  if (!is_a_lens(solution.unknowns, map)) return no_lens();
  if (!sees_its_references(map)) return not_a_view();
  store_residuals(groups, solution.unknowns.growth_px.front(), map);
  map.note = note_of(map, solution.off_wall_mm);
  return {.status = MapStatus::kFitted, .message = map.note, .map = map};
}

}  // namespace

MapFit fit_plane_map(std::span<const ReferencePoint> points, FrameSize frame) {
  check_numbers(points);
  if (points.size() < 4) {
    return refusal(MapStatus::kTooFewPoints,
                   "a map of the wall needs at least 4 reference points, but there are only " +
                       std::to_string(points.size()) + "; add more");
  }
  std::vector<Eigen::Vector2d> pixels;
  std::vector<Eigen::Vector2d> walls;
  WallMap map;
  for (const ReferencePoint& p : points) {
    pixels.emplace_back(p.pixel.x_px, p.pixel.y_px);
    walls.emplace_back(p.wall.x_mm, p.wall.y_mm);
    map.references.push_back({.point = p});
  }
  if (!fixes_a_plane(points, pixels, walls)) {
    return refusal(MapStatus::kDegenerate,
                   "the reference points (or all but one of them) lie on one line or in one place, "
                   "which does not fix a map of the wall; add points above or below that line, or "
                   "fit a line map");
  }
  const Conditioning from_pixel = conditioning_of(pixels);
  const Conditioning from_wall = conditioning_of(walls);
  for (Eigen::Vector2d& p : pixels) p = from_pixel(p);
  for (Eigen::Vector2d& p : walls) p = from_wall(p);
  map.kind = MapKind::kPlane;
  map.frame = frame;
  map.centre = {from_pixel.centre.x(), from_pixel.centre.y()};
  map.half_span_px = from_pixel.half_span;
  // A horizon through the middle of the points makes the last element vanish: not a view either.
  const Eigen::Matrix3d matrix = direct_linear_transform(pixels, walls);
  if (!matrix.allFinite() || !sees_all(matrix, pixels, walls)) return not_a_view();
  PlaneUnknowns start;
  start.homography = {matrix(0, 0),
                      matrix(0, 1),
                      matrix(0, 2),
                      matrix(1, 0),
                      matrix(1, 1),
                      matrix(1, 2),
                      matrix(2, 0),
                      matrix(2, 1)};
  return fitted_map(points, frame_of(from_pixel, from_wall, frame), start, map);
}

}  // namespace nightswing::calibration
