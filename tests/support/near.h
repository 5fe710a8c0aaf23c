#pragma once

#include <cmath>
#include <sstream>
#include <string>

#include <doctest/doctest.h>

/// Comparisons whose tolerance is always stated. doctest::Approx is not used anywhere: its
/// tolerance is absolute near zero, so that 6.7e-11 would equal 0.
namespace nightswing::test {

struct Near {
  double expected;
  double tolerance;
};

inline Near within_abs(double expected, double tolerance) {
  return {expected, tolerance};
}
inline Near within_rel(double expected, double relative) {
  return {expected, std::abs(expected) * relative};
}

inline bool operator==(double actual, const Near& near) {
  return std::abs(actual - near.expected) <= near.tolerance;  // false for NaN
}

inline std::ostream& operator<<(std::ostream& out, const Near& near) {
  const auto digits = out.precision(12);
  out << near.expected << " within " << near.tolerance;
  out.precision(digits);
  return out;
}

}  // namespace nightswing::test
