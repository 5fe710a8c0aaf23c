#include "calibration/map/scatter_components.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <Eigen/Cholesky>
#include <Eigen/LU>

namespace nightswing::calibration {
namespace {

/// What the estimate needs of all markers: index 0 belongs to the points' own scatter, 1 to what
/// the points of a marker have in common.
struct Sums {
  Eigen::Vector2d squares = Eigen::Vector2d::Zero();
  Eigen::Matrix2d traces = Eigen::Matrix2d::Zero();
  std::array<Eigen::MatrixXd, 2> single;               // sum of J^T A_k J
  std::array<std::array<Eigen::MatrixXd, 2>, 2> both;  // sum of J^T A_k A_j J
};

Sums sums_of(const std::vector<WhitenedMarker>& markers, Eigen::Index unknowns) {
  Sums sums;
  for (std::size_t k = 0; k < 2; ++k) {
    sums.single[k] = Eigen::MatrixXd::Zero(unknowns, unknowns);
    for (auto& sum : sums.both[k]) sum = Eigen::MatrixXd::Zero(unknowns, unknowns);
  }
  for (const WhitenedMarker& marker : markers) {
    const Eigen::MatrixXd own = marker.whitening * marker.u_px.asDiagonal();
    const Eigen::VectorXd common = marker.whitening.rowwise().sum();
    const bool alone = marker.u_px.size() < 2;
    std::array<Eigen::MatrixXd, 2> shapes{own * own.transpose(), common * common.transpose()};
    if (alone) shapes[1].setZero();
    for (std::size_t k = 0; k < 2; ++k) {
      const auto row = static_cast<Eigen::Index>(k);
      sums.squares[row] += (marker.residuals.transpose() * shapes[k] * marker.residuals).trace();
      for (const Eigen::MatrixXd* j : {&marker.jacobian_x, &marker.jacobian_y}) {
        sums.single[k] += j->transpose() * shapes[k] * *j;
      }
      for (std::size_t l = 0; l < 2; ++l) {
        const Eigen::MatrixXd product = shapes[k] * shapes[l];
        sums.traces(row, static_cast<Eigen::Index>(l)) += 2.0 * product.trace();
        for (const Eigen::MatrixXd* j : {&marker.jacobian_x, &marker.jacobian_y}) {
          sums.both[k][l] += j->transpose() * product * *j;
        }
      }
    }
  }
  return sums;
}

}  // namespace

Eigen::MatrixXd whitening_of(const Eigen::VectorXd& u_px, const ScatterComponents& scatter) {
  const Eigen::Index n = u_px.size();
  Eigen::MatrixXd covariance =
      (scatter.widening * scatter.widening * u_px.array().square()).matrix().asDiagonal();
  if (n > 1) covariance.array() += scatter.common_px * scatter.common_px;
  return covariance.llt().matrixL().solve(Eigen::MatrixXd::Identity(n, n));
}

ScatterComponents estimate_scatter(const std::vector<WhitenedMarker>& markers,
                                   const Eigen::MatrixXd& covariance,
                                   const Eigen::MatrixXd& prior,
                                   const ScatterComponents& supposed) {
  const Sums sums = sums_of(markers, covariance.rows());
  Eigen::Vector2d seen = sums.squares;
  Eigen::Matrix2d expected = sums.traces;  // of squares k, for unit variance of component l
  for (std::size_t k = 0; k < 2; ++k) {
    const auto row = static_cast<Eigen::Index>(k);
    const Eigen::MatrixXd absorbed = covariance * sums.single[k] * covariance;
    seen[row] -= (absorbed * prior).trace();
    for (std::size_t l = 0; l < 2; ++l) {
      expected(row, static_cast<Eigen::Index>(l)) +=
          (absorbed * sums.single[l]).trace() - 2.0 * (covariance * sums.both[k][l]).trace();
    }
  }
  const double supposed_own2 = supposed.widening * supposed.widening;
  // In units of the variances supposed so far, `expected` counts degrees of freedom.
  if (expected(0, 0) * supposed_own2 * supposed_own2 < kLeastFreedom) return supposed;
  double own2 = seen[0] / expected(0, 0);
  double common2 = 0.0;
  const double determinant = expected.determinant();
  if (determinant > 1e-6 * expected(0, 0) * expected(1, 1)) {
    common2 = (expected(0, 0) * seen[1] - expected(1, 0) * seen[0]) / determinant;
    common2 = std::max(0.0, common2);
    own2 = (seen[0] - expected(0, 1) * common2) / expected(0, 0);
    if (own2 < 1.0) common2 = std::max(0.0, (seen[1] - expected(1, 0)) / expected(1, 1));
  }
  return {.widening = std::sqrt(std::max(1.0, own2)), .common_px = std::sqrt(common2)};
}

}  // namespace nightswing::calibration
