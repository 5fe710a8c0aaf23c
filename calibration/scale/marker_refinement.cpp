#include "calibration/scale/marker_refinement.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <utility>
#include <vector>

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Geometry>
#include <Eigen/LU>

#include "calibration/map/median.h"

namespace nightswing::calibration {
namespace {

constexpr double kShortestEdge_px = 8.0;
constexpr double kFloor_px = 0.003;     // pixel grid and model, measured on rendered views
constexpr double kWorst_px = 0.5;       // a worse place than a hand would set is no place
constexpr double kLeastContrast = 3.0;  // in standard deviations of the pixels about the model
constexpr double kFarOff = 5.0;         // likewise; a pixel beyond is not of this edge
constexpr double kLeastRelativeScatter = 0.02;  // of the contrast: below it no pixel is dropped
constexpr double kDetector_px = 2.5;            // what a detector's corner may be off, and some
constexpr double kLeastBand_px = 2.0;  // four rows of pixels, for two levels, blur and place
constexpr double kClear = 0.75;     // cells: 3 mm to the border of the paper, white cells at 4 mm
constexpr double kBlurReach = 2.5;  // in blurs: what lies farther from an edge does not see it
constexpr double kSharpest_px = 0.05;        // blur: below it nothing changes but the arithmetic
constexpr double kPixel_px = 0.2887;         // standard deviation of a square's width, 1 / sqrt(12)
constexpr double kFarFromEdge = 8.0;         // standard deviations; the rest of the light is 1e-15
constexpr double kSettled_px = 1e-4;         // a step that no longer matters beside kFloor_px
constexpr double kRoughlySettled_px = 1e-2;  // and while the band is still to be laid anew
constexpr int kUnknowns = 6;
using Vector6d = Eigen::Matrix<double, kUnknowns, 1>;
using Matrix6d = Eigen::Matrix<double, kUnknowns, kUnknowns>;

/// Right-handed frame of one edge: along it and out of the marker, from its middle.
struct EdgeFrame {
  Eigen::Vector2d middle;
  Eigen::Vector2d along;
  Eigen::Vector2d outwards;
  double length_px;
  double cell_px;  // height of the outermost row of cells behind this edge
  std::array<Eigen::Hyperplane<double, 2>, 2> sides;  // the edges before and after, normals inwards
};

/// out = offset + slope * along + sag * (1 - (2 along / length)^2), in the frame of the edge.
struct Edge {
  EdgeFrame frame;
  double sag_px = 0.0;  // known beforehand
  double offset_px = 0.0;
  double slope = 0.0;
  double blur_px = 1.0;
  double dark = 0.0;
  double bright = 0.0;
  double shading = 0.0;  // relative change of the light per px along the edge
  Eigen::Matrix2d covariance = Eigen::Matrix2d::Zero();  // of offset and slope
};

struct BandPixel {
  double along_px;
  double out_px;
  double value;
};

/// Directions: the corners run clockwise in a picture whose y points down.
EdgeFrame frame_of(const std::array<Eigen::Vector2d, 4>& corners, std::size_t edge) {
  const Eigen::Vector2d& start = corners[edge];
  const Eigen::Vector2d& end = corners[(edge + 1) % 4];
  const Eigen::Vector2d& opposite_start = corners[(edge + 2) % 4];
  const Eigen::Vector2d& opposite_end = corners[(edge + 3) % 4];
  EdgeFrame frame;
  frame.middle = (start + end) / 2.0;
  frame.length_px = (end - start).norm();
  frame.along = (end - start) / frame.length_px;
  frame.outwards = Eigen::Vector2d(frame.along.y(), -frame.along.x());
  // Opposite edges are as long as they are near, and so is a row of cells at either of them high.
  const double nearness = frame.length_px / (opposite_end - opposite_start).norm();
  const double depth_px =
      (frame.middle - (opposite_start + opposite_end) / 2.0).dot(frame.outwards);
  frame.cell_px = depth_px * nearness / (5.0 + nearness);
  frame.sides = {Eigen::Hyperplane<double, 2>::Through(start, opposite_end),
                 Eigen::Hyperplane<double, 2>::Through(end, opposite_start)};
  for (auto& side : frame.sides) {
    if (side.signedDistance(frame.middle) < 0.0) side.coeffs() = -side.coeffs();
  }
  return frame;
}

double normal_distribution(double z) {
  return 0.5 * std::erfc(-z / std::numbers::sqrt2);
}

double normal_density(double z) {
  return std::exp(-z * z / 2.0) / std::sqrt(2.0 * std::numbers::pi);
}

/// Share of light that a pixel at this distance from the edge has of the bright side, and its
/// derivatives: the mean of Phi(d / blur) over one pixel's width. Without that mean a sharp
/// picture, in which one row of pixels holds all there is to know of the edge, is misread by up to
/// 0.2 px.
struct Share {
  double value;
  double by_distance;
  double by_blur;
};

Share share_at(double distance_px, double blur_px) {
  const double near = (distance_px + 0.5) / blur_px;
  const double far = (distance_px - 0.5) / blur_px;
  if (far > kFarFromEdge) return {1.0, 0.0, 0.0};
  if (near < -kFarFromEdge) return {0.0, 0.0, 0.0};
  const double near_share = normal_distribution(near);
  const double far_share = normal_distribution(far);
  const double near_density = normal_density(near);
  const double far_density = normal_density(far);
  return {blur_px * ((near * near_share + near_density) - (far * far_share + far_density)),
          near_share - far_share,
          near_density - far_density};
}

double distance_px(const Edge& edge, const BandPixel& p) {
  const double place = 2.0 * p.along_px / edge.frame.length_px;  // -1 .. 1 from end to end
  return p.out_px - edge.offset_px - edge.slope * p.along_px - edge.sag_px * (1.0 - place * place);
}

double model_minus(const Edge& edge, const BandPixel& p) {
  const double share = share_at(distance_px(edge, p), edge.blur_px).value;
  const double light = 1.0 + edge.shading * p.along_px;
  return light * (edge.dark + (edge.bright - edge.dark) * share) - p.value;
}

/// How far [px] the edge reaches by blur and pixel size: beyond, the picture does not show it.
double reach_px(const Edge& edge) {
  return kBlurReach * std::hypot(edge.blur_px, kPixel_px);
}

/// The pixels nearer than half_width_px to the edge, without its ends.
std::vector<BandPixel> band(const cv::Mat& gray, const Edge& edge, double half_width_px) {
  const EdgeFrame& f = edge.frame;
  const double rounded_px = std::min(reach_px(edge), 0.25 * f.length_px);
  const auto bound = [&f](double centre, double direction, int limit, int sign) {
    const double edge_px = centre + sign * (std::abs(direction) * f.length_px / 2.0 + 10.0);
    return std::clamp(static_cast<int>(std::lround(edge_px)), 0, limit - 1);
  };
  std::vector<BandPixel> pixels;
  for (int y = bound(f.middle.y(), f.along.y(), gray.rows, -1);
       y <= bound(f.middle.y(), f.along.y(), gray.rows, 1);
       ++y) {
    const float* row = gray.ptr<float>(y);
    for (int x = bound(f.middle.x(), f.along.x(), gray.cols, -1);
         x <= bound(f.middle.x(), f.along.x(), gray.cols, 1);
         ++x) {
      const Eigen::Vector2d offset = Eigen::Vector2d(x, y) - f.middle;
      const BandPixel pixel{
          offset.dot(f.along), offset.dot(f.outwards), static_cast<double>(row[x])};
      if (std::abs(distance_px(edge, pixel)) > half_width_px) continue;
      const bool clear = std::ranges::all_of(f.sides, [&](const auto& side) {
        return side.signedDistance(Eigen::Vector2d(x, y)) >= rounded_px;
      });
      if (clear) pixels.push_back(pixel);
    }
  }
  return pixels;
}

/// Mean gray value inside and outside as start of dark and bright.
bool start_levels(const std::vector<BandPixel>& pixels, double half_width_px, Edge& edge) {
  std::array<double, 2> sum{};
  std::array<double, 2> count{};
  for (const BandPixel& p : pixels) {
    const double from_edge_px = distance_px(edge, p);
    if (std::abs(from_edge_px) < half_width_px / 2.0) continue;
    const std::size_t side = from_edge_px > 0.0 ? 1 : 0;
    sum[side] += p.value;
    count[side] += 1.0;
  }
  if (count[0] == 0.0 || count[1] == 0.0) return false;
  edge.dark = sum[0] / count[0];
  edge.bright = sum[1] / count[1];
  return edge.bright > edge.dark;
}

struct NormalEquations {
  Matrix6d matrix = Matrix6d::Zero();
  Vector6d gradient = Vector6d::Zero();
  double sum_of_squares = 0.0;
};

/// Unknowns in the order offset, slope, blur, dark, bright, shading.
NormalEquations normal_equations(const Edge& edge, const std::vector<BandPixel>& pixels) {
  NormalEquations result;
  const double step = edge.bright - edge.dark;
  for (const BandPixel& p : pixels) {
    const Share share = share_at(distance_px(edge, p), edge.blur_px);
    const double light = 1.0 + edge.shading * p.along_px;
    const double level = edge.dark + step * share.value;
    const double rise = light * step * share.by_distance;
    Vector6d row;
    row << -rise, -rise * p.along_px, light * step * share.by_blur, light * (1.0 - share.value),
        light * share.value, p.along_px * level;
    const double residual = light * level - p.value;
    result.matrix += row * row.transpose();
    result.gradient += row * residual;
    result.sum_of_squares += residual * residual;
  }
  return result;
}

Edge stepped(const Edge& edge, const Vector6d& step) {
  Edge next = edge;
  next.offset_px += step[0];
  next.slope += step[1];
  next.blur_px = std::clamp(next.blur_px + step[2], kSharpest_px, 10.0);
  next.dark += step[3];
  next.bright += step[4];
  next.shading += step[5];
  return next;
}

/// Levenberg-Marquardt on the pixels; returns the standard deviation of the pixels about the model,
/// none if it does not settle. Settled is an edge whose ends move by less than settled_px.
std::optional<double> fit_step(const std::vector<BandPixel>& pixels,
                               double settled_px,
                               Edge& edge) {
  if (pixels.size() <= std::size_t{4} * kUnknowns) return std::nullopt;
  NormalEquations now = normal_equations(edge, pixels);
  double damping = 1e-3;
  for (int iteration = 0; iteration < 50; ++iteration) {
    Matrix6d damped = now.matrix;
    damped.diagonal() *= 1.0 + damping;
    const Vector6d step = damped.ldlt().solve(-now.gradient);
    if (!step.allFinite()) return std::nullopt;
    const Edge next = stepped(edge, step);
    const NormalEquations then = normal_equations(next, pixels);
    if (then.sum_of_squares > now.sum_of_squares) {
      damping *= 10.0;
      if (damping > 1e8) break;  // no step lowers the sum: the minimum as far as digits go
      continue;
    }
    edge = next;
    now = then;
    damping /= 10.0;
    if (std::abs(step[0]) + std::abs(step[1]) * edge.frame.length_px < settled_px) break;
  }
  const double variance = now.sum_of_squares / static_cast<double>(pixels.size() - kUnknowns);
  const Matrix6d covariance = now.matrix.ldlt().solve(Matrix6d::Identity()) * variance;
  if (!covariance.allFinite()) return std::nullopt;
  edge.covariance = covariance.topLeftCorner<2, 2>();
  return std::sqrt(variance);
}

/// Scatter of the pixels about the model that a minority of foreign pixels does not raise.
double robust_scatter(const Edge& edge, const std::vector<BandPixel>& pixels) {
  std::vector<double> sizes;
  sizes.reserve(pixels.size());
  for (const BandPixel& p : pixels) sizes.push_back(std::abs(model_minus(edge, p)));
  return scatter_of(std::move(sizes));
}

/// Fits the edge in a band that is laid anew around each estimate, so that a band laid askew at
/// first cannot bias the result.
std::optional<Edge> fit_edge(const cv::Mat& gray, const EdgeFrame& frame, double sag_px) {
  if (frame.length_px < kShortestEdge_px) return std::nullopt;
  Edge edge{.frame = frame, .sag_px = sag_px};
  for (int pass = 0; pass < 3; ++pass) {
    const double clear_px = kClear * frame.cell_px - reach_px(edge);
    const double least_px =
        std::max(pass == 0 ? kDetector_px : kLeastBand_px, 0.45 * frame.cell_px);
    const double half_width_px = std::clamp(clear_px, least_px, std::max(least_px, 6.0));
    std::vector<BandPixel> pixels = band(gray, edge, half_width_px);
    if (pass == 0 && !start_levels(pixels, half_width_px, edge)) return std::nullopt;
    if (!fit_step(pixels, kRoughlySettled_px, edge)) return std::nullopt;
    const double limit = kFarOff * std::max(robust_scatter(edge, pixels),
                                            kLeastRelativeScatter * (edge.bright - edge.dark));
    std::erase_if(pixels,
                  [&](const BandPixel& p) { return std::abs(model_minus(edge, p)) > limit; });
    const auto scatter = fit_step(pixels, pass == 2 ? kSettled_px : kRoughlySettled_px, edge);
    if (!scatter || edge.bright - edge.dark < kLeastContrast * *scatter) return std::nullopt;
  }
  const bool near = std::abs(edge.offset_px) < std::max(3.0, frame.cell_px / 2.0);
  return near ? std::optional(edge) : std::nullopt;
}

bool fit_edges(const cv::Mat& gray,
               const std::array<PixelPoint, 4>& corners,
               const std::array<double, 4>& sags_px,
               std::array<Edge, 4>& edges) {
  std::array<Eigen::Vector2d, 4> start;
  for (std::size_t i = 0; i < 4; ++i) start[i] = {corners[i].x_px, corners[i].y_px};
  for (std::size_t i = 0; i < 4; ++i) {
    const auto edge = fit_edge(gray, frame_of(start, i), sags_px[i]);
    if (!edge) return false;
    edges[i] = *edge;
  }
  return true;
}

/// Variance [px2] of the place of the edge across itself, at a place along it.
double variance_px2(const Edge& edge, double along_px) {
  const Eigen::Vector2d gradient(1.0, along_px);
  return gradient.dot(edge.covariance * gradient);
}

PixelPoint intersection(const Edge& one, const Edge& other) {
  Eigen::Matrix2d normals;
  Eigen::Vector2d offsets;
  int row = 0;
  for (const Edge* edge : {&one, &other}) {
    const Eigen::Vector2d normal = edge->frame.outwards - edge->slope * edge->frame.along;
    normals.row(row) = normal.transpose();
    offsets[row++] = normal.dot(edge->frame.middle) + edge->offset_px;
  }
  const Eigen::Vector2d corner = normals.inverse() * offsets;
  return {corner.x(), corner.y()};
}

/// What the cells behind the border and the end of the paper do to an edge where blur brings them
/// into its band: a shift that depends on the bits, alike for the whole marker. Over four corners
/// taken as independent it must be stated twofold. Measured on rendered views: 0.012 blurs where a
/// cell is below 4 blurs, nothing from 7 on.
double leak_px(const Edge& edge) {
  constexpr double kShift = 2.0 * 0.012;
  constexpr double kClearCell = 7.0;
  constexpr double kTightCell = 4.0;
  const double cell = edge.frame.cell_px / std::hypot(edge.blur_px, kPixel_px);
  const double share = (kClearCell - cell) / (kClearCell - kTightCell);
  return kShift * edge.blur_px * std::clamp(share, 0.0, 1.0);
}

/// Uncertainty of corner k of the field. Across each of the two edges that meet in corner k, its
/// place is an average of that edge and the opposite one, by their nearness.
double field_u_px(const std::array<Edge, 4>& edges, std::size_t k) {
  constexpr double kNear = (1.0 + kFieldShare) / 2.0;
  constexpr double kOpposite = (1.0 - kFieldShare) / 2.0;
  const auto variance = [&edges](std::size_t edge, double place) {
    return variance_px2(edges[edge % 4],
                        place * kFieldShare * edges[edge % 4].frame.length_px / 2.0);
  };
  // Edge k starts and edge k + 3 ends at corner k; the opposite ones run the other way.
  const double sum = kNear * kNear * (variance(k, -1.0) + variance(k + 3, 1.0)) +
                     kOpposite * kOpposite * (variance(k + 2, 1.0) + variance(k + 1, -1.0));
  const double leak = std::hypot(leak_px(edges[k]), leak_px(edges[(k + 3) % 4]));
  return std::hypot(std::sqrt(sum / 2.0), kFloor_px, leak / std::numbers::sqrt2);
}

bool in_picture(const PixelPoint& p, const cv::Mat& picture) {
  return p.x_px > -0.5 && p.x_px < picture.cols - 0.5 && p.y_px > -0.5 &&
         p.y_px < picture.rows - 0.5;  // false for NaN
}

}  // namespace

std::optional<RefinedMarker> refine_marker(const cv::Mat& gray,
                                           const std::array<PixelPoint, 4>& corners,
                                           const std::array<double, 4>& sags_px) {
  if (gray.type() != CV_32FC1) {
    throw std::invalid_argument("markers are refined in a float picture");
  }
  RefinedMarker marker{.corners = corners, .field_u_px = {}};
  std::array<Edge, 4> edges;
  for (int pass = 0; pass < 2; ++pass) {  // the second knows better where the edges end
    if (!fit_edges(gray, marker.corners, sags_px, edges)) return std::nullopt;
    for (std::size_t i = 0; i < 4; ++i) {
      marker.corners[i] = intersection(edges[(i + 3) % 4], edges[i]);  // edge i starts at corner i
      if (!in_picture(marker.corners[i], gray)) return std::nullopt;
    }
  }
  for (std::size_t i = 0; i < 4; ++i) {
    marker.field_u_px[i] = field_u_px(edges, i);
    if (!(marker.field_u_px[i] <= kWorst_px)) return std::nullopt;
  }
  return marker;
}

}  // namespace nightswing::calibration
