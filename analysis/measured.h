#pragma once

namespace nightswing::analysis {

/// A measured value with its standard uncertainty (k = 1), both in the unit that the variable's
/// name ends in. There is no default: a forgotten input does not compile.
struct Measured {
  double value;
  double u;

  constexpr Measured(double value_in, double u_in) : value(value_in), u(u_in) {}
  bool operator==(const Measured&) const = default;
};

}  // namespace nightswing::analysis
