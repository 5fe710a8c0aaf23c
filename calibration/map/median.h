#pragma once

#include <algorithm>
#include <cstddef>
#include <utility>
#include <vector>

namespace nightswing::calibration {

/// The median of |x| of normal scatter about 0, in its standard deviations: the upper quartile of
/// the standard normal distribution (any table of it).
inline constexpr double kMedianSizeOfNormal = 0.67449;

/// The median length of normal scatter about 0 in two directions alike, in the standard deviations
/// of either: sqrt(2 ln 2), of the Rayleigh distribution.
inline constexpr double kMedianLengthOfNormal = 1.1774;

/// The middle one of the values in order; of an even number the upper of the two in the middle.
/// values  at least one; they are put out of order, so move in what is not needed any more
template <typename T>
[[nodiscard]] T upper_median_of(std::vector<T> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// The standard deviation of normal scatter about 0 that the median of these sizes |x| tells, which
/// a minority of foreign values does not raise.
template <typename T>
[[nodiscard]] double scatter_of(std::vector<T> sizes) {
  return static_cast<double>(upper_median_of(std::move(sizes))) / kMedianSizeOfNormal;
}

}  // namespace nightswing::calibration
