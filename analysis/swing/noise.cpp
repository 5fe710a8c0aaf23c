#include "analysis/swing/noise.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <Eigen/Cholesky>

namespace nightswing::analysis {
namespace {

constexpr int kBinsPerWindow = 40;

/// Rows J_i^T r_i added up within bins; row k of the result is bin k.
Eigen::MatrixXd binned_scores(const Eigen::MatrixXd& jacobian,
                              const Eigen::VectorXd& residuals,
                              std::span<const double> times_s,
                              double bin_s) {
  const double span_s = times_s.back() - times_s.front();
  const auto bins = static_cast<Eigen::Index>(span_s / bin_s) + 1;
  Eigen::MatrixXd scores = Eigen::MatrixXd::Zero(bins, jacobian.cols());
  for (Eigen::Index i = 0; i < residuals.size(); ++i) {
    const double since_s = times_s[static_cast<std::size_t>(i)] - times_s.front();
    const auto bin = std::min(bins - 1, static_cast<Eigen::Index>(since_s / bin_s));
    scores.row(bin) += residuals(i) * jacobian.row(i);
  }
  return scores;
}

}  // namespace

ParameterCovariance parameter_covariance(const Eigen::MatrixXd& jacobian,
                                         const Eigen::VectorXd& residuals,
                                         std::span<const double> times_s,
                                         double window_s) {
  const Eigen::Index n = residuals.size();
  const Eigen::Index p = jacobian.cols();
  if (jacobian.rows() != n || std::ssize(times_s) != n || n <= p || window_s <= 0.0) {
    throw std::invalid_argument("parameter_covariance: sizes do not match");
  }
  // Scale the columns to unit length: the parameters differ by many orders of magnitude.
  const Eigen::VectorXd lengths = jacobian.colwise().norm().transpose().cwiseMax(1e-300);
  const Eigen::MatrixXd unit = jacobian * lengths.cwiseInverse().asDiagonal();
  const Eigen::MatrixXd inverse =
      (unit.transpose() * unit).ldlt().solve(Eigen::MatrixXd::Identity(p, p));

  const double bin_s = window_s / kBinsPerWindow;
  const Eigen::MatrixXd scores = binned_scores(unit, residuals, times_s, bin_s);
  Eigen::MatrixXd meat = scores.transpose() * scores;
  const Eigen::Index bins = scores.rows();
  for (int lag = 1; lag < kBinsPerWindow && lag < bins; ++lag) {
    const double weight = 1.0 - static_cast<double>(lag) / kBinsPerWindow;
    const Eigen::MatrixXd cross =
        scores.topRows(bins - lag).transpose() * scores.bottomRows(bins - lag);
    meat += weight * (cross + cross.transpose());
  }
  const double freedom = static_cast<double>(n - p);
  const Eigen::VectorXd to_parameters = lengths.cwiseInverse();
  ParameterCovariance covariance;
  covariance.independent = residuals.squaredNorm() / freedom * to_parameters.asDiagonal() *
                           inverse * to_parameters.asDiagonal();
  covariance.correlated = static_cast<double>(n) / freedom * to_parameters.asDiagonal() * inverse *
                          meat * inverse * to_parameters.asDiagonal();
  Eigen::VectorXd widen = Eigen::VectorXd::Ones(p);
  for (Eigen::Index k = 0; k < p; ++k) {
    const double ratio =
        covariance.independent(k, k) / std::max(covariance.correlated(k, k), 1e-300);
    if (ratio > 1.0) widen(k) = std::sqrt(ratio);
  }
  covariance.correlated = widen.asDiagonal() * covariance.correlated * widen.asDiagonal();
  return covariance;
}

}  // namespace nightswing::analysis
