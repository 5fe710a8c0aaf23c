#include "analysis/balance/gauss_legendre.h"

#include <cmath>
#include <numbers>
#include <stdexcept>

namespace nightswing::analysis {
namespace {

struct Legendre {
  double value;
  double slope;
};

// Bonnet's recursion n P_n = (2n - 1) x P_(n-1) - (n - 1) P_(n-2); |x| < 1.
Legendre legendre(int degree, double x) {
  double before = 1.0;
  double value = x;
  for (int n = 2; n <= degree; ++n) {
    const double next = ((2 * n - 1) * x * value - (n - 1) * before) / n;
    before = value;
    value = next;
  }
  return {value, degree * (x * value - before) / (x * x - 1)};
}

}  // namespace

std::vector<QuadraturePoint> gauss_legendre(int count) {
  if (count < 1) throw std::invalid_argument("gauss_legendre: at least one point is needed");
  std::vector<QuadraturePoint> points;
  points.reserve(static_cast<std::size_t>(count));
  for (int i = 0; i < count; ++i) {
    // The usual first guess is good to about 1/count^3, from where Newton doubles the digits.
    double x = -std::cos(std::numbers::pi * (i + 0.75) / (count + 0.5));
    Legendre polynomial = legendre(count, x);
    for (int step = 0; step < 5; ++step) {
      x -= polynomial.value / polynomial.slope;
      polynomial = legendre(count, x);
    }
    points.push_back({x, 2 / ((1 - x * x) * polynomial.slope * polynomial.slope)});
  }
  return points;
}

}  // namespace nightswing::analysis
