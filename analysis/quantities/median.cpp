#include "analysis/quantities/median.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

namespace nightswing::analysis {

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

double robust_sigma(std::vector<double> residuals) {
  for (double& r : residuals) r = std::abs(r);
  return 1.4826 * median_of(std::move(residuals));
}

}  // namespace nightswing::analysis
