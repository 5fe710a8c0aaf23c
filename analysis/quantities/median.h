#pragma once

#include <vector>

namespace nightswing::analysis {

/// Median; for an even count the mean of the middle two. values must not be empty.
[[nodiscard]] double median_of(std::vector<double> values);

/// 1.4826 times the median of |r|: the standard deviation of normal scatter about 0, blind to a few
/// outliers. residuals must not be empty.
[[nodiscard]] double robust_sigma(std::vector<double> residuals);

}  // namespace nightswing::analysis
