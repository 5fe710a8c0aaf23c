#pragma once

#include <vector>

namespace nightswing::analysis {

struct QuadraturePoint {
  double x;  // in (-1, 1)
  double weight;
};

/// The Gauss-Legendre rule with `count` points on [-1, 1], exact for polynomials up to degree
/// 2 count - 1; weights add up to 2. Points are the zeros of the Legendre polynomial, found by
/// Newton's method (M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, 25.4.29).
/// throws  std::invalid_argument if count < 1.
[[nodiscard]] std::vector<QuadraturePoint> gauss_legendre(int count);

}  // namespace nightswing::analysis
