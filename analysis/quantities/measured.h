#pragma once

namespace nightswing::analysis {

/// What is believed of a value within its uncertainty. The limited ones are symmetric about the
/// value, with half-width a: u = a/sqrt(3), a/sqrt(6), a/sqrt(2) (JCGM 101:2008, 6.4.2 to 6.4.6).
enum class Distribution { kNormal, kRectangular, kTriangular, kArcsine };

/// A measured value with its standard uncertainty (k = 1), both in the unit that the variable's
/// name ends in. There is no default: a forgotten input does not compile.
struct Measured {
  double value;
  double u;
  Distribution distribution = Distribution::kNormal;

  constexpr Measured(double value_in,
                     double u_in,
                     Distribution distribution_in = Distribution::kNormal)
      : value(value_in), u(u_in), distribution(distribution_in) {}
  bool operator==(const Measured&) const = default;
};

}  // namespace nightswing::analysis
