#include "analysis/quantities/monte_carlo.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <random>
#include <stdexcept>

#include <Eigen/Dense>

namespace nightswing::analysis {
namespace {

constexpr std::size_t kBlock = 10000;

/// Inputs that are drawn together.
struct Group {
  std::vector<Eigen::Index> members;
  Eigen::MatrixXd root;  // of the correlation
  double degrees_of_freedom;
};

class Sampler {
 public:
  Sampler(const std::vector<BudgetInput>& inputs,
          const Eigen::MatrixXd& correlation,
          std::uint64_t seed)
      : inputs_(inputs), generator_(seed) {
    const auto n = std::ssize(inputs);
    std::vector<bool> placed(inputs.size(), false);
    for (Eigen::Index i = 0; i < n; ++i) {
      if (placed[static_cast<std::size_t>(i)]) continue;
      std::vector<Eigen::Index> members{i};
      placed[static_cast<std::size_t>(i)] = true;
      // Everything that is correlated with a member belongs to the group.
      for (std::size_t k = 0; k < members.size() && correlation.size() > 0; ++k) {
        for (Eigen::Index j = 0; j < n; ++j) {
          if (placed[static_cast<std::size_t>(j)] || correlation(members[k], j) == 0.0) continue;
          members.push_back(j);
          placed[static_cast<std::size_t>(j)] = true;
        }
      }
      groups_.push_back(group_of(std::move(members), correlation));
    }
  }

  void draw(Eigen::VectorXd& values) {
    for (const Group& group : groups_) {
      const BudgetInput& first = inputs_[static_cast<std::size_t>(group.members[0])];
      if (group.members.size() == 1) {
        values[group.members[0]] =
            first.value + first.u * standard(first.distribution) * widening(group);
        continue;
      }
      Eigen::VectorXd z(std::ssize(group.members));
      for (double& one : z) one = normal_(generator_);
      z = (widening(group) * (group.root * z)).eval();
      for (std::size_t k = 0; k < group.members.size(); ++k) {
        const BudgetInput& input = inputs_[static_cast<std::size_t>(group.members[k])];
        values[group.members[k]] = input.value + input.u * z[static_cast<Eigen::Index>(k)];
      }
    }
  }

 private:
  [[nodiscard]] Group group_of(std::vector<Eigen::Index> members,
                               const Eigen::MatrixXd& correlation) const {
    const auto size = std::ssize(members);
    Eigen::MatrixXd part = Eigen::MatrixXd::Identity(size, size);
    double freedom = std::numeric_limits<double>::infinity();
    for (Eigen::Index a = 0; a < size; ++a) {
      const auto index = members[static_cast<std::size_t>(a)];
      const BudgetInput& input = inputs_[static_cast<std::size_t>(index)];
      if (size > 1 && input.distribution != Distribution::kNormal) {
        throw std::invalid_argument("monte_carlo: " + input.name + " is correlated but not normal");
      }
      freedom = std::min(freedom, input.degrees_of_freedom);
      for (Eigen::Index b = 0; b < size && size > 1; ++b) {
        part(a, b) = correlation(index, members[static_cast<std::size_t>(b)]);
      }
    }
    // Eigenvectors serve singular matrices too, where a triangle would fail.
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(part);
    if (solver.eigenvalues().minCoeff() < -1e-6) {
      throw std::invalid_argument("monte_carlo: the correlation matrix is not one");
    }
    return {
        .members = std::move(members),
        .root = solver.eigenvectors() * solver.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal(),
        .degrees_of_freedom = freedom};
  }

  double standard(Distribution distribution) {
    switch (distribution) {
      case Distribution::kNormal:
        return normal_(generator_);
      case Distribution::kRectangular:
        return std::sqrt(3.0) * (2.0 * uniform_(generator_) - 1.0);
      case Distribution::kTriangular:
        return std::sqrt(6.0) * (uniform_(generator_) + uniform_(generator_) - 1.0);
      case Distribution::kArcsine:
        return std::sqrt(2.0) * std::sin(2.0 * std::numbers::pi * uniform_(generator_));
    }
    return 0.0;
  }

  double widening(const Group& group) {
    const double nu = group.degrees_of_freedom;
    const BudgetInput& first = inputs_[static_cast<std::size_t>(group.members[0])];
    // A limited distribution is all that is known: its degrees of freedom belong to the budget.
    if (!std::isfinite(nu) || first.distribution != Distribution::kNormal) return 1.0;
    std::gamma_distribution<double> gamma(0.5 * nu, 2.0);
    return std::sqrt(nu / std::max(1e-300, gamma(generator_)));
  }

  const std::vector<BudgetInput>& inputs_;
  std::mt19937_64 generator_;
  std::normal_distribution<double> normal_{0.0, 1.0};
  std::uniform_real_distribution<double> uniform_{0.0, 1.0};
  std::vector<Group> groups_;
};

struct Summary {
  double mean, u, low, high;
};

Interval symmetric_interval(const std::vector<double>& sorted, double coverage) {
  const auto n = static_cast<double>(sorted.size());
  const auto low = static_cast<std::size_t>(0.5 * (1.0 - coverage) * n);
  const auto high = std::min(sorted.size() - 1, low + static_cast<std::size_t>(coverage * n));
  return {sorted[low], sorted[high]};
}

Summary summary_of(const std::vector<double>& sorted, double coverage) {
  double sum = 0.0;
  // About the median: a small u beside a large value keeps its digits.
  const double middle = sorted[sorted.size() / 2];
  double square = 0.0;
  for (const double v : sorted) {
    sum += v - middle;
    square += (v - middle) * (v - middle);
  }
  const auto n = static_cast<double>(sorted.size());
  const Interval interval = symmetric_interval(sorted, coverage);
  return {.mean = middle + sum / n,
          .u = std::sqrt(std::max(0.0, (square - sum * sum / n) / (n - 1.0))),
          .low = interval.low,
          .high = interval.high};
}

/// Half a unit of the second significant digit (JCGM 101:2008, 7.9.2).
double tolerance_of(double u) {
  if (!(u > 0.0)) return 0.0;
  return 0.5 * std::pow(10.0, std::floor(std::log10(u)) - 1.0);
}

/// Whether the averages over the blocks are known to within the tolerance.
bool stable(const std::vector<Summary>& blocks, double tolerance) {
  const auto h = static_cast<double>(blocks.size());
  for (double Summary::*item : {&Summary::mean, &Summary::u, &Summary::low, &Summary::high}) {
    double sum = 0.0;
    double square = 0.0;
    for (const Summary& block : blocks) {
      const double v = block.*item - blocks[0].*item;
      sum += v;
      square += v * v;
    }
    const double variance = std::max(0.0, square - sum * sum / h) / (h * (h - 1.0));
    if (2.0 * std::sqrt(variance) > tolerance) return false;
  }
  return true;
}

}  // namespace

Interval shortest_interval(const std::vector<double>& sorted, double coverage) {
  const auto inside = std::min(
      sorted.size() - 1, static_cast<std::size_t>(coverage * static_cast<double>(sorted.size())));
  std::size_t best = 0;
  for (std::size_t i = 0; i + inside < sorted.size(); ++i) {
    if (sorted[i + inside] - sorted[i] < sorted[best + inside] - sorted[best]) best = i;
  }
  return {sorted[best], sorted[best + inside]};
}

MonteCarloResult monte_carlo(const std::vector<BudgetInput>& inputs,
                             const std::function<double(const Eigen::VectorXd&)>& function,
                             const Eigen::MatrixXd& correlation,
                             const MonteCarloOptions& options) {
  check_inputs(inputs);
  const auto n = std::ssize(inputs);
  Sampler sampler(inputs,
                  correlation.size() > 0 ? checked_correlation(correlation, n) : Eigen::MatrixXd{},
                  options.seed);
  std::vector<double> all;
  std::vector<Summary> blocks;
  Eigen::VectorXd values(n);
  MonteCarloResult result;
  while (all.size() < options.most_trials && !result.converged) {
    std::vector<double> block(kBlock);
    for (double& one : block) {
      sampler.draw(values);
      one = function(values);
    }
    std::ranges::sort(block);
    all.insert(all.end(), block.begin(), block.end());
    blocks.push_back(summary_of(block, options.coverage));
    if (all.size() < options.least_trials || blocks.size() < 2) continue;
    double u = 0.0;
    for (const Summary& b : blocks) u += b.u / static_cast<double>(blocks.size());
    result.converged = stable(blocks, tolerance_of(u));
  }
  std::ranges::sort(all);
  const Summary whole = summary_of(all, options.coverage);
  result.mean = whole.mean;
  result.u = whole.u;
  result.symmetric = {whole.low, whole.high};
  result.symmetric_68 = symmetric_interval(all, 0.6827);
  result.shortest = shortest_interval(all, options.coverage);
  result.trials = all.size();
  return result;
}

}  // namespace nightswing::analysis
