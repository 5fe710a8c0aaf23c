#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>

#include <Eigen/Core>

/// What a lens does to straight lines, as a polynomial that makes them straight again. Inside of
/// the maps and their fits; written once, for numbers and for automatic derivatives.
namespace nightswing::calibration {

/// Beyond this distance from the lens's centre, in half diagonals of the picture, no term is meant
/// to hold.
inline constexpr double kLensReach = 3.0;

inline constexpr std::size_t kLensTerms = 3;                  // that a fit considers
inline constexpr std::size_t kLensUnknowns = kLensTerms + 2;  // and the centre, in half diagonals

/// What is known of lenses beforehand: standard deviations about 0 of k1, k2, k3 and the two
/// coordinates of the centre; common practice, no source.
inline constexpr std::array<double, kLensUnknowns> kUsualLens{0.06, 0.03, 0.02, 0.03, 0.03};

/// With d the place relative to the lens's centre in half diagonals and r = |d|:
///   offset      d (k1 r^2 + k2 r^4 + ...), to be added to the place
///   derivative  d(d + offset) / d(d), symmetric
/// source  radial terms: Hartley, Zisserman: Multiple View Geometry, 2nd ed. 2004, section 7.4,
///         from memory; here they lead from the picture as stored to the straight one.
template <typename T>
struct Undistortion {
  Eigen::Matrix<T, 2, 1> offset;
  Eigen::Matrix<T, 2, 2> derivative;
};

template <typename T>
Undistortion<T> undistortion(const Eigen::Matrix<T, 2, 1>& d, std::span<const T> terms) {
  const T r2 = d.squaredNorm();
  T factor(0.0);  // k1 r^2 + k2 r^4 + ...
  T slope(0.0);   // its derivative by r^2
  T power(1.0);
  for (std::size_t n = 0; n < terms.size(); ++n) {
    slope += static_cast<double>(n + 1) * terms[n] * power;
    power *= r2;
    factor += terms[n] * power;
  }
  Undistortion<T> result;
  result.offset = factor * d;
  result.derivative = (T(2.0) * slope) * d * d.transpose();
  result.derivative(0, 0) += T(1.0) + factor;
  result.derivative(1, 1) += T(1.0) + factor;
  return result;
}

/// The distance from the centre up to which the straightened distance grows with the stored one, so
/// that the polynomial can be undone; at most kLensReach.
[[nodiscard]] inline double monotonic_reach(std::span<const double> terms) {
  constexpr double kStep = 0.01;
  constexpr int kSteps = static_cast<int>(kLensReach / kStep);
  for (int k = 0; k <= kSteps; ++k) {
    const double r = k * kStep;
    double growth = 1.0;
    double power = 1.0;
    for (std::size_t n = 0; n < terms.size(); ++n) {
      power *= r * r;
      growth += static_cast<double>(2 * n + 3) * terms[n] * power;
    }
    if (!(growth > 0.0)) return std::max(0.0, r - kStep);
  }
  return kLensReach;
}

/// The stored distance from the centre whose straightened one is given; that must be reached within
/// `reach` (else the result is `reach`). Newton's steps inside a shrinking bracket.
[[nodiscard]] inline double distorted_radius(double straight,
                                             std::span<const double> terms,
                                             double reach) {
  double low = 0.0;
  double high = reach;
  double r = std::min(straight, reach);
  for (int step = 0; step < 100; ++step) {
    const auto at = undistortion<double>({r, 0.0}, terms);
    const double excess = r + at.offset.x() - straight;
    (excess > 0.0 ? high : low) = r;
    const double newton = r - excess / at.derivative(0, 0);
    const double next = newton > low && newton < high ? newton : (low + high) / 2.0;
    if (std::abs(next - r) < 1e-16) return next;
    r = next;
  }
  return r;
}

}  // namespace nightswing::calibration
