#include <algorithm>
#include <array>
#include <cmath>
#include <set>
#include <stdexcept>
#include <string>

#include "calibration/map/lens.h"
#include "calibration/map/map_refusal.h"
#include "calibration/map/plane_model.h"
#include "calibration/map/plane_notes.h"
#include "calibration/map/plane_start.h"
#include "calibration/map/wall_map.h"

namespace nightswing::calibration {
namespace {

constexpr int kParameters = 8;
constexpr double kUnheardOf = 6.0;  // standard deviations of the usual lenses
using Vector8d = Eigen::Matrix<double, kParameters, 1>;

PlaneFrame frame_of(const Conditioning& from_pixel, const Conditioning& from_wall, FrameSize size) {
  const PixelPoint middle = picture_centre(size);
  const bool known = size.width_px > 0 && size.height_px > 0;
  return {.pixel_centre = from_pixel.centre,
          .pixel_half_span = from_pixel.half_span,
          .wall_centre = from_wall.centre,
          .wall_half_span = from_wall.half_span,
          .lens_middle = {middle.x_px, middle.y_px},
          .lens_radius = known ? half_diagonal_px(size) : 0.0};
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
                         .larger_relative = shift[3],
                         .u_x_mm = u(0),
                         .u_y_mm = u(1),
                         .u_turn_rad = u(2),
                         .u_larger_relative = u(3)});
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

/// First with sheets of any size, because the prior knowledge of their size, set against a sheet
/// that stands off, would pass for scatter; if none differs, once more with it.
PlaneSolution solve_with_sheets(const PlaneFrame& frame,
                                const std::vector<PointGroup>& groups,
                                const std::vector<Eigen::Vector2d>& pivots_mm,
                                const PlaneUnknowns& start) {
  if (start.pages.size() > 1) {
    PlaneSolution loose = solve_plane(frame, groups, pivots_mm, start, kSheetOfAnySize);
    const Eigen::VectorXd variances = loose.covariance.diagonal();
    const std::size_t before = 8 + (frame.lens_radius > 0.0 ? kLensUnknowns : 0);
    for (std::size_t i = 1; loose.converged && i < start.pages.size(); ++i) {
      const double larger = loose.unknowns.pages[i].back();
      const auto at = static_cast<Eigen::Index>(before + kPageUnknowns * i - 1);
      const double usual = std::hypot(kUsualSheet_relative, std::sqrt(variances[at]));
      if (std::abs(larger) > kSure * usual) return loose;
    }
  }
  return solve_plane(frame, groups, pivots_mm, start);
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
  const PlaneSolution solution = solve_with_sheets(frame, groups, pivots_mm, unknowns);
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
  if (const auto fault = fault_of_four_points(map)) return refusal(MapStatus::kNotAView, *fault);
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
  if (!fixes_a_plane(points)) {
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
  const auto matrix = seen_plane(pixels, walls);
  if (!matrix) return not_a_view();
  PlaneUnknowns start;
  Eigen::Map<Eigen::Matrix<double, 2, 3, Eigen::RowMajor>>(start.homography.data()) =
      matrix->topRows<2>();
  start.homography[6] = (*matrix)(2, 0);
  start.homography[7] = (*matrix)(2, 1);
  return fitted_map(points, frame_of(from_pixel, from_wall, frame), start, map);
}

}  // namespace nightswing::calibration
