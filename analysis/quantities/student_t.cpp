#include "analysis/quantities/student_t.h"

#include <cmath>
#include <stdexcept>

namespace nightswing::analysis {
namespace {

/// Continued fraction of the incomplete beta function, by Lentz's method.
double beta_fraction(double a, double b, double x) {
  constexpr double kTiny = 1e-300;
  double c = 1.0;
  double d = 1.0 - (a + b) * x / (a + 1.0);
  d = 1.0 / (std::abs(d) < kTiny ? kTiny : d);
  double fraction = d;
  for (int m = 1; m < 500; ++m) {
    const double even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m));
    const double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0));
    double change = 1.0;
    for (const double term : {even, odd}) {
      d = 1.0 + term * d;
      d = 1.0 / (std::abs(d) < kTiny ? kTiny : d);
      c = 1.0 + term / c;
      if (std::abs(c) < kTiny) c = kTiny;
      change = c * d;
      fraction *= change;
    }
    if (std::abs(change - 1.0) < 1e-15) break;
  }
  return fraction;
}

double incomplete_beta(double a, double b, double x) {
  if (x <= 0.0) return 0.0;
  if (x >= 1.0) return 1.0;
  const double front = std::exp(std::lgamma(a + b) - std::lgamma(a) - std::lgamma(b) +
                                a * std::log(x) + b * std::log1p(-x));
  // The fraction converges quickly on one side only; the other follows by symmetry.
  if (x < (a + 1.0) / (a + b + 2.0)) return front * beta_fraction(a, b, x) / a;
  return 1.0 - front * beta_fraction(b, a, 1.0 - x) / b;
}

}  // namespace

double student_t_probability(double t, double degrees_of_freedom) {
  if (!(degrees_of_freedom > 0.0)) {
    throw std::invalid_argument("student_t_probability: degrees of freedom");
  }
  // Beyond a million the two cannot be told apart by a double's root.
  if (degrees_of_freedom > 1e6) return 0.5 * std::erfc(-t / std::sqrt(2.0));
  const double x = degrees_of_freedom / (degrees_of_freedom + t * t);
  const double tail = 0.5 * incomplete_beta(0.5 * degrees_of_freedom, 0.5, x);
  return t > 0.0 ? 1.0 - tail : tail;
}

double coverage_factor(double coverage, double degrees_of_freedom) {
  if (!(coverage > 0.0 && coverage < 1.0)) throw std::invalid_argument("coverage_factor: coverage");
  const double wanted = 0.5 + 0.5 * coverage;
  double low = 0.0;
  double high = 1.0;
  while (student_t_probability(high, degrees_of_freedom) < wanted && high < 1e9) high *= 2.0;
  for (int i = 0; i < 100; ++i) {
    const double middle = 0.5 * (low + high);
    (student_t_probability(middle, degrees_of_freedom) < wanted ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace nightswing::analysis
