#include "tracker/spot/spot_noise.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <Eigen/Cholesky>

namespace nightswing::tracker {
namespace {

constexpr double kLargestSquare = 16.0;
constexpr double kLargestCorrelation = 0.95;

using Terms = Eigen::Vector3d;

/// Least squares with the terms that `present` allows.
Terms solve_terms(const Eigen::Matrix3d& normal,
                  const Terms& right,
                  const std::array<bool, 3>& present) {
  Eigen::Matrix3d reduced = normal;
  Terms target = right;
  for (int k = 0; k < 3; ++k) {
    if (present[static_cast<std::size_t>(k)]) continue;
    reduced.row(k).setZero();
    reduced.col(k).setZero();
    reduced(k, k) = 1.0;
    target(k) = 0.0;
  }
  return reduced.ldlt().solve(target);
}

/// Correlation at a distance, of noise that has so much of it at lag 1.
double correlation_at(Eigen::Index distance, double at_lag_one) {
  return 1.0 - static_cast<double>(distance) * (1.0 - at_lag_one);
}

/// Adds to column j of `sums` the correlation at |j - k| times column k, for all other k. Of
/// transposed arrays that is done along the columns.
template <typename Values, typename Sums>
void add_neighbours(const Values& values, double at_lag_one, Sums&& sums) {
  const Eigen::Index columns = values.cols();
  for (Eigen::Index d = 1; at_lag_one > 0.0 && d < columns; ++d) {
    const double correlation = correlation_at(d, at_lag_one);
    if (correlation <= 0.0) break;
    sums.leftCols(columns - d) += correlation * values.rightCols(columns - d);
    sums.rightCols(columns - d) += correlation * values.leftCols(columns - d);
  }
}

/// Weighted correlation of two arrays of neighbours; 0 if it is not significant.
template <typename First, typename Second, typename Weight>
double significant_correlation(const First& first, const Second& second, const Weight& weight) {
  const double total = weight.sum();
  const double power = 0.5 * (weight * (first.square() + second.square())).sum();
  if (total <= 0.0 || power <= 0.0) return 0.0;
  const double correlation = (weight * first * second).sum() / power;
  const double standard_error = std::sqrt(weight.square().sum()) / total;
  if (correlation < 1.5 * standard_error) return 0.0;
  return std::min(correlation, kLargestCorrelation);
}

}  // namespace

Eigen::ArrayXXd variance_of(const SpotNoise& noise, const Eigen::ArrayXXd& light) {
  const Eigen::ArrayXXd lit = light.max(0.0);
  return noise.background + noise.shot * lit + noise.speckle * lit.square();
}

SpotNoise estimate_noise(const Eigen::ArrayXXd& squares,
                         const Eigen::ArrayXXd& light,
                         const Eigen::ArrayXXd& certainty,
                         const Eigen::ArrayXXd& counted,
                         double rounding) {
  const double scale = std::max(light.maxCoeff(), 1.0);
  const Eigen::ArrayXXd lit = light.max(0.0) / scale;
  const Eigen::ArrayXXd weight = counted * certainty.square();
  const Eigen::ArrayXXd target = weight * squares.min(kLargestSquare / certainty);

  std::array<double, 5> moments{};
  Eigen::ArrayXXd power = weight;
  Terms right;
  for (std::size_t k = 0; k < moments.size(); ++k) {
    moments[k] = power.sum();
    power *= lit;
  }
  right << target.sum(), (target * lit).sum(), (target * lit.square()).sum();
  Eigen::Matrix3d normal;
  for (std::size_t a = 0; a < 3; ++a) {
    for (std::size_t b = 0; b < 3; ++b) {
      normal(static_cast<int>(a), static_cast<int>(b)) = moments[a + b];
    }
  }
  SpotNoise noise;
  if (moments[0] <= 0.0) return noise;

  std::array<bool, 3> present{true, moments[2] > 0.0, moments[4] > 0.0};
  Terms terms = solve_terms(normal, right, present);
  for (int round = 0; round < 2 && (terms(1) < 0.0 || terms(2) < 0.0); ++round) {
    present[terms(1) < terms(2) ? 1 : 2] = false;
    terms = solve_terms(normal, right, present);
  }
  if (!terms.allFinite()) return noise;
  noise.background = std::max(terms(0), rounding);
  noise.shot = std::max(terms(1), 0.0) / scale;
  noise.speckle = std::max(terms(2), 0.0) / (scale * scale);
  return noise;
}

ResidualCorrelation correlation_of(const Eigen::ArrayXXd& residuals,
                                   const Eigen::ArrayXXd& weight) {
  const Eigen::Index n = residuals.rows();
  const Eigen::Index m = residuals.cols();
  ResidualCorrelation correlation;
  if (n < 2 || m < 2) return correlation;
  correlation.x =
      significant_correlation(residuals.topRows(n - 1),
                              residuals.bottomRows(n - 1),
                              (weight.topRows(n - 1) * weight.bottomRows(n - 1)).sqrt().eval());
  correlation.y =
      significant_correlation(residuals.leftCols(m - 1),
                              residuals.rightCols(m - 1),
                              (weight.leftCols(m - 1) * weight.rightCols(m - 1)).sqrt().eval());
  return correlation;
}

double variance_of_sum(const Eigen::ArrayXXd& influence, const ResidualCorrelation& correlation) {
  if (is_white(correlation)) return influence.square().sum();
  // A correlation that falls in a straight line is that of a real process: the sum is small for an
  // influence of changing sign, but only rounding makes it negative.
  Eigen::ArrayXXd along_x = influence;
  add_neighbours(influence.transpose(), correlation.x, along_x.transpose());
  Eigen::ArrayXXd spread = along_x;
  add_neighbours(along_x, correlation.y, spread);
  return std::max((influence * spread).sum(), 0.0);
}

}  // namespace nightswing::tracker
