#include "analysis/swing/swing_uncertainty.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include <Eigen/Dense>

namespace nightswing::analysis {
namespace {

constexpr double kNegligible = 1e-3;
constexpr std::size_t kGrowth = 2;  // places among the parameters
constexpr std::size_t kSlowRatio = 3;
constexpr std::size_t kSlowMemory = 4;
constexpr int kPoints = 48;
/// Of the proposal against the likelihood's own spread: its tails shall cover.
constexpr double kProposalWidth = 0.8;
constexpr double kWidestLog = 1.5;
/// No part of the noise can be much larger than all of it.
constexpr double kLargestNoise = 1.5;

/// What holds at one state of the noise.
struct Conditional {
  std::vector<double> x;
  double log_weight;
  Eigen::VectorXd mean;
  Eigen::MatrixXd covariance;
};

Eigen::VectorXd picked(const Eigen::VectorXd& all, const std::vector<std::size_t>& places) {
  Eigen::VectorXd part(std::ssize(places));
  for (std::size_t k = 0; k < places.size(); ++k) {
    part(static_cast<Eigen::Index>(k)) = all(static_cast<Eigen::Index>(places[k]));
  }
  return part;
}

/// The inverse of a matrix that should be positive definite, at most `widest` in any direction.
Eigen::MatrixXd spread_from(const Eigen::MatrixXd& information, double widest) {
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(
      0.5 * (information + information.transpose()));
  const Eigen::VectorXd values = solver.eigenvalues().cwiseMax(1.0 / (widest * widest));
  return solver.eigenvectors() * values.cwiseInverse().asDiagonal() *
         solver.eigenvectors().transpose();
}

/// Minus the Hessian of the log-likelihood over `places`, by differences of the gradient that
/// `gradient` gives at these places.
template <typename Gradient>
std::optional<Eigen::MatrixXd> information_over(const std::vector<double>& x,
                                                const std::vector<std::size_t>& places,
                                                double step,
                                                const Gradient& gradient) {
  Eigen::MatrixXd information(std::ssize(places), std::ssize(places));
  for (std::size_t k = 0; k < places.size(); ++k) {
    std::vector<double> above = x;
    std::vector<double> below = x;
    above[places[k]] += step;
    below[places[k]] -= step;
    const auto up = gradient(above);
    const auto down = gradient(below);
    if (!up || !down) return std::nullopt;
    information.col(static_cast<Eigen::Index>(k)) = -(*up - *down) / (2.0 * step);
  }
  return information;
}

/// Averages over one belief.
class Averaging {
 public:
  Averaging(const NoiseBelief& belief, double scatter_mm)
      : track_(belief.track),
        layout_(belief.layout),
        places_(belief.layout.swing_places()),
        x_(belief.optimum.x) {
    const FilterFit fit = filter_fit(track_, layout_, x_);
    const double largest_ratio = kLargestNoise * kLargestNoise * scatter_mm * scatter_mm /
                                 std::max(1e-300, fit.white_variance_mm2);
    largest_log_ratio_ = std::log(std::max(largest_ratio, 1.0));
    shortest_memory_ = typical_slow_step(track_);
    double whole = 0.0;
    for (const FilterPoint& point : track_.points) whole += point.slow_step;
    longest_memory_ = std::max(4.0 * shortest_memory_, 0.25 * whole);
  }

  /// The noise's states with their weights.
  [[nodiscard]] std::vector<Conditional> run() {
    return layout_.slow_noise ? sampled() : on_grid();
  }

 private:
  /// Log of the belief before the data, as a density in the logarithms of the parameters.
  [[nodiscard]] double log_prior(const std::vector<double>& x) const {
    double log_density = std::log(0.5) + 0.5 * (x[kGrowth] - largest_log_ratio_);
    if (layout_.slow_noise) {
      if (x[kSlowMemory] < std::log(shortest_memory_) ||
          x[kSlowMemory] > std::log(longest_memory_)) {
        return -std::numeric_limits<double>::infinity();
      }
      log_density += std::log(0.5) + 0.5 * (x[kSlowRatio] - largest_log_ratio_) + x[kSlowMemory] -
                     std::log(longest_memory_ - shortest_memory_);
    }
    return log_density;
  }

  /// Adjusts w and g to the noise in x (one Newton step: they hardly depend on it) and takes the
  /// likelihood over them by its curvature.
  [[nodiscard]] std::optional<Conditional> at(std::vector<double> x) const {
    const double prior = log_prior(x);
    if (!std::isfinite(prior)) return std::nullopt;
    const auto gradient = [&](const std::vector<double>& y) -> std::optional<Eigen::VectorXd> {
      const FilterGradient here = swing_gradient(track_, layout_, y);
      if (!here.usable) return std::nullopt;
      return here.gradient;
    };
    constexpr double kStep = 0.02;
    const auto information = information_over(x, places_, kStep, gradient);
    FilterGradient here = swing_gradient(track_, layout_, x);
    if (!information || !here.usable) return std::nullopt;
    // No top of the likelihood near by, or one as wide as w itself: not a state to believe in.
    constexpr double kLeastInformation = 1e-4;
    const Eigen::MatrixXd symmetric = 0.5 * (*information + information->transpose());
    if (Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(symmetric).eigenvalues().minCoeff() <
        kLeastInformation) {
      return std::nullopt;
    }
    const Eigen::MatrixXd spread = symmetric.inverse();
    const Eigen::VectorXd move = spread * here.gradient;
    std::vector<double> moved = x;
    for (std::size_t k = 0; k < places_.size(); ++k) {
      moved[places_[k]] += move(static_cast<Eigen::Index>(k));
    }
    const FilterGradient after = swing_gradient(track_, layout_, moved);
    if (after.usable && after.restricted_log_likelihood > here.restricted_log_likelihood) {
      x = moved;
      here = after;
    }
    const FilterFit fit = filter_fit(track_, layout_, x);
    if (!fit.usable) return std::nullopt;
    const double log_weight =
        fit.restricted_log_likelihood + 0.5 * std::log(spread.determinant()) + prior;
    return moments(std::move(x), log_weight, fit, here.beta_by_x, spread);
  }

  [[nodiscard]] Conditional moments(std::vector<double> x,
                                    double log_weight,
                                    const FilterFit& fit,
                                    const Eigen::MatrixXd& beta_by_swing,
                                    const Eigen::MatrixXd& spread) const {
    const Eigen::Index p = fit.beta.size();
    const auto q = std::ssize(places_);
    const double unit = 1e-3 * track_.omega_per_s;
    Eigen::MatrixXd by_swing(p + q, q);
    by_swing.topRows(p) = beta_by_swing;
    by_swing.bottomRows(q) = unit * Eigen::MatrixXd::Identity(q, q);
    Conditional result{.x = std::move(x), .log_weight = log_weight, .mean = {}, .covariance = {}};
    result.covariance = by_swing * spread * by_swing.transpose();
    result.covariance.topLeftCorner(p, p) += fit.covariance;
    result.mean.resize(p + q);
    result.mean.head(p) = fit.beta;
    for (std::size_t k = 0; k < places_.size(); ++k) {
      result.mean(p + static_cast<Eigen::Index>(k)) = unit * result.x[places_[k]];
    }
    return result;
  }

  [[nodiscard]] std::optional<Eigen::MatrixXd> noise_information(
      const std::vector<std::size_t>& places) const {
    return information_over(
        x_, places, 0.1, [&](const std::vector<double>& y) -> std::optional<Eigen::VectorXd> {
          const FilterGradient here = filter_gradient(track_, layout_, y);
          if (!here.usable) return std::nullopt;
          return picked(here.gradient, places);
        });
  }

  /// Steps of one standard deviation of ln D both ways, until the weight is negligible.
  [[nodiscard]] std::vector<Conditional> on_grid() const {
    auto top = at(x_);
    if (!top) return {};
    const auto information = noise_information({kGrowth});
    const double curvature = information ? (*information)(0, 0) : 1.0;
    const double step = std::clamp(1.0 / std::sqrt(std::max(curvature, 1e-6)), 0.3, 1.5);
    std::vector<Conditional> grid{std::move(*top)};
    const double least = grid.front().log_weight + std::log(kNegligible);
    for (const double direction : {step, -step}) {
      std::vector<double> x = grid.front().x;
      for (int k = 0; k < 12; ++k) {
        x[kGrowth] += direction;
        auto next = at(x);
        if (!next) break;
        x = next->x;
        grid.push_back(std::move(*next));
        if (grid.back().log_weight < least) break;
      }
    }
    for (Conditional& c : grid) c.log_weight += std::log(step);
    return grid;
  }

  /// The `index`th Halton number of a base, in 0..1.
  [[nodiscard]] static double halton(int index, int base) {
    double fraction = 1.0;
    double value = 0.0;
    for (int i = index; i > 0; i /= base) {
      fraction /= base;
      value += fraction * (i % base);
    }
    return value;
  }

  [[nodiscard]] std::vector<Conditional> sampled() const {
    const std::vector<std::size_t> places{kGrowth, kSlowRatio, kSlowMemory};
    const auto information = noise_information(places);
    if (!information) return {};
    const Eigen::Matrix3d covariance = spread_from(*information, kWidestLog);
    const Eigen::Matrix3d root = covariance.llt().matrixL();
    const double log_volume = std::log(root.determinant());
    std::vector<Conditional> states;
    for (int i = 1; i <= kPoints; ++i) {
      // Logistic numbers: heavier tails than normal ones.
      Eigen::Vector3d z;
      double log_density = 0.0;
      for (int k = 0; k < 3; ++k) {
        const double u = halton(i, k == 0 ? 2 : (k == 1 ? 3 : 5));
        z(k) = kProposalWidth * std::log(u / (1.0 - u));
        log_density += std::log(u * (1.0 - u) / kProposalWidth);
      }
      const Eigen::Vector3d move = root * z;
      std::vector<double> x = x_;
      for (std::size_t k = 0; k < places.size(); ++k) {
        x[places[k]] += move(static_cast<Eigen::Index>(k));
      }
      auto state = at(std::move(x));
      if (!state) continue;
      state->log_weight += log_volume - log_density - std::log(kPoints);
      states.push_back(std::move(*state));
    }
    return states;
  }

  const FilterTrack& track_;
  FilterLayout layout_;
  std::vector<std::size_t> places_;
  std::vector<double> x_;
  double largest_log_ratio_ = 0.0;
  double shortest_memory_ = 1.0;
  double longest_memory_ = 1.0;
};

}  // namespace

SwingEstimate average_over_noise(std::span<const NoiseBelief> beliefs,
                                 double scatter_mm,
                                 const Eigen::VectorXd& direction) {
  SwingEstimate estimate;
  std::vector<Conditional> states;
  std::vector<std::size_t> belief_of;
  for (std::size_t b = 0; b < beliefs.size(); ++b) {
    for (Conditional& state : Averaging(beliefs[b], scatter_mm).run()) {
      states.push_back(std::move(state));
      belief_of.push_back(b);
    }
  }
  if (states.empty()) return estimate;
  const double top = std::ranges::max(states, {}, &Conditional::log_weight).log_weight;
  std::vector<double> weights;
  double sum = 0.0;
  for (const Conditional& c : states) sum += weights.emplace_back(std::exp(c.log_weight - top));
  estimate.weights.assign(beliefs.size(), 0.0);
  const Eigen::Index size = states.front().mean.size();
  const Eigen::Index p = direction.size();
  estimate.mean = Eigen::VectorXd::Zero(size);
  for (std::size_t k = 0; k < states.size(); ++k) {
    weights[k] /= sum;
    estimate.weights[belief_of[k]] += weights[k];
    estimate.mean += weights[k] * states[k].mean;
  }
  estimate.covariance = Eigen::MatrixXd::Zero(size, size);
  double variance = 0.0;
  double variance_square = 0.0;
  for (std::size_t k = 0; k < states.size(); ++k) {
    const Eigen::VectorXd off = states[k].mean - estimate.mean;
    estimate.covariance += weights[k] * (states[k].covariance + off * off.transpose());
    const double along = direction.dot(states[k].covariance.topLeftCorner(p, p) * direction);
    variance += weights[k] * along;
    variance_square += weights[k] * along * along;
  }
  const double spread = std::max(variance_square - variance * variance, 1e-12 * variance_square);
  estimate.degrees_of_freedom = std::max(1.0, 2.0 * variance * variance / spread);
  estimate.usable = estimate.covariance.allFinite() && estimate.mean.allFinite();
  return estimate;
}

}  // namespace nightswing::analysis
