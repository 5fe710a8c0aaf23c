#include "analysis/quantities/uncertainty_budget.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace nightswing::analysis {
namespace {

constexpr double kLeastGain = 0.005;

using Function = std::function<double(const Eigen::VectorXd&)>;

double sensitivity(const Function& function,
                   const Eigen::VectorXd& values,
                   Eigen::Index i,
                   double u) {
  const double step = std::max(1e-3 * u, 1e-4 * std::abs(values[i]));
  if (step == 0) return 0.0;
  Eigen::VectorXd above = values;
  Eigen::VectorXd below = values;
  above[i] += step;
  below[i] -= step;
  return (function(above) - function(below)) / (above[i] - below[i]);
}

double effective_degrees_of_freedom(const UncertaintyBudget& budget) {
  double sum = 0;
  for (const BudgetRow& row : budget.rows) {
    sum += std::pow(row.contribution, 4) / row.input.degrees_of_freedom;
  }
  if (!(sum > 0)) return std::numeric_limits<double>::infinity();
  return std::pow(budget.u, 4) / sum;
}

}  // namespace

void check_inputs(const std::vector<BudgetInput>& inputs) {
  for (const BudgetInput& input : inputs) {
    if (!std::isfinite(input.value) || !std::isfinite(input.u) || input.u < 0) {
      throw std::invalid_argument("propagate: value or uncertainty of " + input.name +
                                  " is not a usable number");
    }
    if (!(input.degrees_of_freedom > 0)) {
      throw std::invalid_argument("propagate: degrees of freedom of " + input.name +
                                  " must be above zero");
    }
  }
}

Eigen::MatrixXd checked_correlation(const Eigen::MatrixXd& correlation, Eigen::Index count) {
  if (correlation.size() == 0) return Eigen::MatrixXd::Identity(count, count);
  constexpr double kRounding = 1e-9;
  const bool is_square = correlation.rows() == count && correlation.cols() == count;
  const bool is_correlation =
      is_square && correlation.allFinite() && correlation.isApprox(correlation.transpose()) &&
      (correlation.diagonal().array() - 1.0).abs().maxCoeff() <= kRounding &&
      correlation.array().abs().maxCoeff() <= 1.0 + kRounding;
  if (!is_correlation) {
    throw std::invalid_argument("propagate: not a correlation matrix of the inputs");
  }
  return correlation;
}

UncertaintyBudget propagate(const std::vector<BudgetInput>& inputs,
                            const Function& function,
                            const Eigen::MatrixXd& correlation) {
  check_inputs(inputs);
  const auto count = static_cast<Eigen::Index>(inputs.size());
  const Eigen::MatrixXd r = checked_correlation(correlation, count);

  Eigen::VectorXd values(count);
  for (Eigen::Index i = 0; i < count; ++i) values[i] = inputs[static_cast<std::size_t>(i)].value;
  UncertaintyBudget budget{function(values), 0, 0, {}, std::nullopt, {}};
  Eigen::VectorXd contributions(count);
  for (Eigen::Index i = 0; i < count; ++i) {
    const BudgetInput& input = inputs[static_cast<std::size_t>(i)];
    const double c = sensitivity(function, values, i, input.u);
    contributions[i] = c * input.u;
    budget.rows.push_back({input, c, contributions[i], 0.0});
    if (input.u == 0) budget.without_uncertainty.push_back(input.name);
  }

  const Eigen::VectorXd parts = contributions.cwiseProduct(r * contributions);
  const double variance = std::max(0.0, parts.sum());
  budget.u = std::sqrt(variance);
  if (variance > 0) {
    for (Eigen::Index i = 0; i < count; ++i) {
      BudgetRow& row = budget.rows[static_cast<std::size_t>(i)];
      row.share = parts[i] / variance;
      // Half of one contribution v_i: the variance falls by v_i (R v)_i - v_i^2/4.
      const double less = parts[i] - 0.25 * contributions[i] * contributions[i];
      row.gain = 1.0 - std::sqrt(std::max(0.0, 1.0 - less / variance));
    }
    const auto largest = std::ranges::max_element(budget.rows, {}, &BudgetRow::share);
    budget.dominating = static_cast<std::size_t>(largest - budget.rows.begin());
  }
  budget.effective_degrees_of_freedom = effective_degrees_of_freedom(budget);
  return budget;
}

std::vector<BudgetRow> rows_by_gain(const UncertaintyBudget& budget, std::size_t most) {
  std::vector<BudgetRow> rows = budget.rows;
  std::erase_if(rows, [](const BudgetRow& row) { return row.gain < kLeastGain; });
  std::ranges::stable_sort(rows, std::ranges::greater{}, &BudgetRow::gain);
  if (rows.size() > most) rows.erase(rows.begin() + static_cast<std::ptrdiff_t>(most), rows.end());
  return rows;
}

}  // namespace nightswing::analysis
