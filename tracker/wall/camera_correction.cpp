#include "tracker/wall/camera_correction.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "calibration/map/wall_map.h"

namespace nightswing::tracker {
namespace {

using calibration::CameraMotion;
using calibration::PixelPoint;
using Parameters = CameraCorrection::Parameters;

constexpr double kHalfWindow_s = 600.0;
constexpr std::size_t kLeastWindow = 8;  // looks
constexpr std::size_t kLeastLooks = 4;   // fewer have no scatter to speak of
constexpr double kCreep_u = 5.0;
constexpr double kOffset_u = 4.0;

Parameters parameters_of(const CameraMotion& m) {
  return {m.shift_x_px,
          m.shift_y_px,
          m.rotation_rad,
          m.zoom - 1.0,
          m.keystone_x_per_px,
          m.keystone_y_per_px};
}

CameraMotion motion_of(const Parameters& p) {
  return {p[0], p[1], p[2], 1.0 + p[3], p[4], p[5]};
}

/// Local straight lines through looks at given times.
class LocalLines {
 public:
  explicit LocalLines(const std::vector<double>& t_s) {
    for (std::size_t at = 0; at < t_s.size(); ++at) weights_.push_back(weights_at(t_s, at));
  }

  [[nodiscard]] double value(std::size_t at, const std::vector<double>& looks) const {
    const Weights& w = weights_[at];
    double sum = 0.0;
    for (std::size_t k = 0; k < w.share.size(); ++k) sum += w.share[k] * looks[w.first + k];
    return sum;
  }

  /// How much of one look's scatter is left in the smooth value.
  [[nodiscard]] double left_of_scatter(std::size_t at) const {
    double squares = 0.0;
    for (const double share : weights_[at].share) squares += share * share;
    return std::sqrt(squares);
  }

  /// How much of its own value a look pulls the line to itself: what residuals lack.
  [[nodiscard]] double own_share(std::size_t at) const {
    return weights_[at].share[at - weights_[at].first];
  }

 private:
  struct Weights {
    std::size_t first = 0;
    std::vector<double> share;
  };

  /// The line's value at its own time is a weighted sum of the looks; these are the weights.
  static Weights weights_at(const std::vector<double>& t_s, std::size_t at) {
    std::vector<double> distances_s;
    for (const double t : t_s) distances_s.push_back(std::abs(t - t_s[at]));
    std::vector<double> sorted = distances_s;
    const auto nth = static_cast<std::ptrdiff_t>(std::min(kLeastWindow, sorted.size()) - 1);
    std::nth_element(sorted.begin(), sorted.begin() + nth, sorted.end());
    // A little wider than the last look, which would have no weight at all else.
    const double window_s = std::max(kHalfWindow_s, 1.1 * sorted[static_cast<std::size_t>(nth)]);
    Weights w;
    double s0 = 0.0;
    double s1 = 0.0;
    double s2 = 0.0;
    std::vector<double> tricube;
    for (std::size_t k = 0; k < t_s.size(); ++k) {
      const double ratio = distances_s[k] / window_s;
      if (ratio >= 1.0) continue;
      if (tricube.empty()) w.first = k;
      tricube.push_back(std::pow(1.0 - ratio * ratio * ratio, 3));
      const double d = t_s[k] - t_s[at];
      s0 += tricube.back();
      s1 += tricube.back() * d;
      s2 += tricube.back() * d * d;
    }
    const double determinant = s0 * s2 - s1 * s1;
    for (std::size_t k = 0; k < tricube.size(); ++k) {
      const double d = t_s[w.first + k] - t_s[at];
      w.share.push_back(determinant > 0.0 ? tricube[k] * (s2 - s1 * d) / determinant
                                          : tricube[k] / s0);
    }
    return w;
  }

  std::vector<Weights> weights_;
};

struct Course {
  std::vector<double> smooth;
  double scatter;
};

double mean_of(const std::vector<double>& values) {
  double sum = 0.0;
  for (const double value : values) sum += value;
  return sum / static_cast<double>(values.size());
}

Course constant_course(const std::vector<double>& looks) {
  const double mean = mean_of(looks);
  double squares = 0.0;
  for (const double look : looks) squares += (look - mean) * (look - mean);
  const auto n = static_cast<double>(looks.size());
  const double scatter = std::sqrt(squares / std::max(1.0, n - 1.0));
  const bool significant =
      looks.size() < kLeastLooks || std::abs(mean) > kOffset_u * scatter / std::sqrt(n);
  return {std::vector<double>(looks.size(), significant ? mean : 0.0), scatter};
}

Course course_of(const std::vector<double>& looks, const LocalLines& lines) {
  Course course{.smooth = {}, .scatter = 0.0};
  double squares = 0.0;
  double freedom = 0.0;
  double most_left = 0.0;
  for (std::size_t k = 0; k < looks.size(); ++k) {
    course.smooth.push_back(lines.value(k, looks));
    squares += std::pow(looks[k] - course.smooth[k], 2);
    freedom += 1.0 - lines.own_share(k);
    most_left = std::max(most_left, lines.left_of_scatter(k));
  }
  course.scatter = std::sqrt(squares / std::max(1.0, freedom));
  const auto [least, most] = std::ranges::minmax(course.smooth);
  if (most - least > kCreep_u * most_left * course.scatter) return course;
  return constant_course(looks);
}

Parameters between(const Parameters& a, const Parameters& b, double share) {
  Parameters p{};
  for (std::size_t k = 0; k < p.size(); ++k) p[k] = a[k] + share * (b[k] - a[k]);
  return p;
}

Parameters smooth_at(const std::vector<double>& t_s,
                     const std::vector<Parameters>& smooth,
                     double t) {
  const auto next = std::ranges::upper_bound(t_s, t);
  if (next == t_s.begin()) return smooth.front();
  if (next == t_s.end()) return smooth.back();
  const auto k = static_cast<std::size_t>(next - t_s.begin());
  return between(smooth[k - 1], smooth[k], (t - t_s[k - 1]) / (t_s[k] - t_s[k - 1]));
}

}  // namespace

CameraCorrection::CameraCorrection(std::span<const CameraRow> rows, calibration::FrameSize frame)
    : frame_(frame) {
  bool was_step = false;
  for (const CameraRow& row : rows) {
    ++looks_;
    if (!is_registered(row.state)) {
      ++failed_;
      if (!pieces_.empty() && !pieces_.back().doubtful_from_s) {
        pieces_.back().doubtful_from_s = row.t_s;
      }
      continue;
    }
    const bool is_step = row.state == CameraState::kMoved;
    if (is_step && !was_step) ++bumps_;
    was_step = is_step;
    if (is_step || pieces_.empty()) {
      pieces_.push_back({.from_s = row.t_s, .least_u_px = row.u_shift_px});
    }
    Piece& piece = pieces_.back();
    piece.doubtful_from_s.reset();  // the same place again: it had not moved meanwhile
    piece.t_s.push_back(row.t_s);
    piece.looks.push_back(parameters_of(row.motion));
    piece.least_u_px = std::min(piece.least_u_px, row.u_shift_px);
  }
  for (Piece& piece : pieces_) smooth(piece);
}

void CameraCorrection::smooth(Piece& piece) const {
  const LocalLines lines(piece.t_s);
  piece.smooth.resize(piece.looks.size());
  for (std::size_t p = 0; p < kParameters; ++p) {
    std::vector<double> looks;
    for (const Parameters& look : piece.looks) looks.push_back(look[p]);
    const Course course =
        looks.size() < kLeastLooks ? constant_course(looks) : course_of(looks, lines);
    for (std::size_t k = 0; k < looks.size(); ++k) piece.smooth[k][p] = course.smooth[k];
    piece.scatter[p] = course.scatter;
  }
}

const CameraCorrection::Piece& CameraCorrection::piece_at(double t_s) const {
  auto next = std::ranges::upper_bound(pieces_, t_s, {}, &Piece::from_s);
  return next == pieces_.begin() ? *next : *(next - 1);
}

/// Of the place that single looks would give a pixel. Its parts are taken as independent.
double CameraCorrection::scatter_px(const Piece& piece, PixelPoint pixel) const {
  const PixelPoint centre = picture_centre(frame_);
  const double far_px = std::hypot(pixel.x_px - centre.x_px, pixel.y_px - centre.y_px);
  const Parameters& s = piece.scatter;
  const double turn_px = far_px * std::hypot(s[2], s[3]);
  const double keystone_px = far_px * far_px * std::hypot(s[4], s[5]);
  return std::hypot(std::max({s[0], s[1], piece.least_u_px}), turn_px, keystone_px);
}

SteadyPixel CameraCorrection::steady(double t_s, PixelPoint pixel) const {
  if (pieces_.empty()) return {pixel, 0.0};
  const PixelPoint centre = picture_centre(frame_);
  const Piece& piece = piece_at(t_s);
  const PixelPoint steady =
      reference_from_moved(motion_of(smooth_at(piece.t_s, piece.smooth, t_s)), centre, pixel);
  double u_px = scatter_px(piece, pixel);
  const bool has_next = &piece != &pieces_.back();
  if (has_next && piece.doubtful_from_s && t_s >= *piece.doubtful_from_s) {
    const Piece& next = *(&piece + 1);
    const PixelPoint other = reference_from_moved(motion_of(next.smooth.front()), centre, pixel);
    u_px = std::hypot(u_px, other.x_px - steady.x_px, other.y_px - steady.y_px);
  }
  return {steady, u_px};
}

}  // namespace nightswing::tracker
