#include "analysis/night/combined_nights.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <stdexcept>
#include <tuple>

#include <Eigen/Cholesky>
#include <Eigen/Core>

namespace nightswing::analysis {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

// Of a night's variance: what a night keeps of its own even if every input is shared, so that the
// covariance stays invertible.
constexpr double kLeastOwn = 1e-8;

void check(const std::vector<NightValue>& nights) {
  if (nights.size() < 2) throw std::invalid_argument("combine_nights: fewer than two nights");
  for (const NightValue& night : nights) {
    if (!(night.g.value > 0.0 && night.g.u > 0.0)) {
      throw std::invalid_argument("combine_nights: G and its u must be above zero");
    }
  }
}

/// The uncertainties of ln G: a column for each shared input, and what each night has of its own.
struct Doubts {
  MatrixXd shared;
  VectorXd own_variance;
  std::vector<std::string> names;

  [[nodiscard]] MatrixXd covariance() const {
    return own_variance.asDiagonal().toDenseMatrix() + shared * shared.transpose();
  }
};

Doubts doubts_of(const std::vector<NightValue>& nights) {
  const auto count = static_cast<Index>(nights.size());
  std::map<std::tuple<std::string, double, double>, VectorXd> columns;
  for (Index k = 0; k < count; ++k) {
    const NightValue& night = nights[static_cast<std::size_t>(k)];
    for (const BudgetRow& row : night.rows) {
      if (row.contribution == 0.0) continue;
      const auto key = std::tuple{row.input.name, row.input.value, row.input.u};
      auto& column = columns.try_emplace(key, VectorXd::Zero(count)).first->second;
      column[k] += row.contribution / night.g.value;
    }
  }
  std::erase_if(columns,
                [](const auto& entry) { return (entry.second.array() != 0.0).count() < 2; });
  Doubts doubts{.shared = MatrixXd::Zero(count, static_cast<Index>(columns.size())),
                .own_variance = VectorXd::Zero(count),
                .names = {}};
  for (const auto& [key, column] : columns) {
    doubts.shared.col(static_cast<Index>(doubts.names.size())) = column;
    doubts.names.push_back(std::get<0>(key));
  }
  for (Index k = 0; k < count; ++k) {
    const Measured& g = nights[static_cast<std::size_t>(k)].g;
    const double variance = std::pow(g.u / g.value, 2);
    doubts.own_variance[k] =
        std::max(variance - doubts.shared.row(k).squaredNorm(), kLeastOwn * variance);
  }
  return doubts;
}

/// Weights of the least variance that add up to 1. Where a strongly shared doubt asks for a
/// negative weight the night gets none: an extrapolation beyond all nights is no mean.
VectorXd weights_for(const MatrixXd& covariance) {
  std::vector<Index> used(static_cast<std::size_t>(covariance.rows()));
  for (std::size_t k = 0; k < used.size(); ++k) used[k] = static_cast<Index>(k);
  while (true) {
    const MatrixXd part = covariance(used, used);
    VectorXd weights = part.llt().solve(VectorXd::Ones(part.rows()));
    weights /= weights.sum();
    Index worst = 0;
    if (weights.minCoeff(&worst) >= 0.0) {
      VectorXd all = VectorXd::Zero(covariance.rows());
      all(used) = weights;
      return all;
    }
    used.erase(used.begin() + worst);
  }
}

/// sqrt(chi2 / (n - 1)) about the mean weighted by what the nights have of their own: a shared
/// error moves all of them alike and says nothing of how they agree.
double birge_ratio(const VectorXd& values, const VectorXd& own_variance) {
  const VectorXd precision = own_variance.cwiseInverse();
  const double mean = precision.dot(values) / precision.sum();
  const double chi2 = (values.array() - mean).square().matrix().dot(precision);
  return std::sqrt(chi2 / static_cast<double>(values.size() - 1));
}

}  // namespace

CombinedNights combine_nights(const std::vector<NightValue>& nights) {
  check(nights);
  const Doubts doubts = doubts_of(nights);
  const MatrixXd covariance = doubts.covariance();
  const VectorXd weights = weights_for(covariance);
  VectorXd values(covariance.rows());
  for (Index k = 0; k < values.size(); ++k) {
    values[k] = std::log(nights[static_cast<std::size_t>(k)].g.value);
  }
  const double mean = weights.dot(values);
  const double g = std::exp(mean);
  const double own_variance = weights.array().square().matrix().dot(doubts.own_variance);
  const double shared_variance = (doubts.shared.transpose() * weights).squaredNorm();

  CombinedNights combined{
      .g = {g, g * std::sqrt(own_variance + shared_variance)},
      .common_u = g * std::sqrt(shared_variance),
      .birge_ratio = birge_ratio(values, doubts.own_variance),
      .birge_spread = 1.0 / std::sqrt(2.0 * static_cast<double>(values.size() - 1)),
      .widened_u = 0.0,
      .nights = {},
      .shared = doubts.names};
  const double widening = std::max(1.0, combined.birge_ratio);
  combined.widened_u = g * std::sqrt(own_variance * widening * widening + shared_variance);
  const VectorXd with_mean = covariance * weights;
  for (Index k = 0; k < values.size(); ++k) {
    const double variance = covariance(k, k) - 2.0 * with_mean[k] + weights.dot(with_mean);
    const double u = std::sqrt(std::max(variance, kLeastOwn * covariance(k, k)));
    combined.nights.push_back({.weight = weights[k],
                               .own_u = g * std::sqrt(doubts.own_variance[k]),
                               .deviation = (values[k] - mean) / u});
  }
  return combined;
}

}  // namespace nightswing::analysis
