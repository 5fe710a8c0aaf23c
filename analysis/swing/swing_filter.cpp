#include "analysis/swing/swing_filter.h"

#include <cmath>
#include <stdexcept>

#include <ceres/jet.h>

#include "analysis/swing/swing_recursion.h"

namespace nightswing::analysis {
namespace {

using swing_recursion::Recursion;
using swing_recursion::shape_of;
using swing_recursion::Visit;

constexpr double kLargestLog = 40.0;

bool sensible(const FilterTrack& track, const FilterLayout& layout, std::span<const double> x) {
  if (std::ssize(x) != layout.size()) throw std::invalid_argument("swing_filter: parameters");
  for (const double value : x) {
    if (!std::isfinite(value)) return false;
  }
  const SwingParameters p = plain_parameters(track, layout, x);
  const auto near_start = [&](double omega) {
    return omega > 0.3 * track.omega_per_s && omega < 3.0 * track.omega_per_s;
  };
  const auto fitting = [&](double log_noise) {
    return log_noise > -kLargestLog && log_noise < track.largest_log_noise;
  };
  if (!fitting(x[2])) return false;
  if (layout.slow_noise && (!fitting(x[3]) || std::abs(x[4]) > kLargestLog)) return false;
  // A swing that grows by itself is only noise's doing; over-damped ones are refused before.
  return near_start(p.omega_per_s) && near_start(p.away_omega_per_s) &&
         std::abs(p.damping_per_s) < track.omega_per_s;
}

/// Derivatives by the parameters at N places. Only the recursion carries them; its sums N (normal
/// matrix), r (right-hand side) and y (square of the readings) and their changes give those of
/// beta = N^-1 r, of the square R = y - r.beta of the residuals and of the likelihood:
///   d beta = N^-1 (dr - dN beta),  dR = dy - 2 dr.beta + beta.dN beta,  d ln det N = tr(N^-1 dN).
template <int N>
FilterGradient gradient_of(const FilterTrack& track,
                           const FilterLayout& layout,
                           std::span<const double> x,
                           std::span<const std::size_t> places) {
  using Number = ceres::Jet<double, N>;
  std::vector<Number> seeded;
  for (const double value : x) seeded.emplace_back(value);
  for (int k = 0; k < N; ++k) seeded[places[static_cast<std::size_t>(k)]].v(k) = 1.0;
  FilterGradient result;
  Recursion<Number> recursion(
      shape_of(track), layout, swing_recursion::parameters_from(track, layout, seeded.data()));
  if (!recursion.run(track, [](std::size_t, const Recursion<Number>&) {})) return result;
  const auto sums = recursion.normal();
  Eigen::MatrixXd values(sums.rows(), sums.cols());
  for (Eigen::Index at = 0; at < sums.size(); ++at) values(at) = sums(at).a;
  const auto solved = swing_recursion::solve(values, recursion.log_f().a, track.points.size());
  if (!solved.usable || !std::isfinite(solved.restricted)) return result;
  const Eigen::VectorXd& beta = solved.beta;
  result.restricted_log_likelihood = solved.restricted;
  result.gradient.resize(N);
  result.beta_by_x.resize(beta.size(), N);
  for (int k = 0; k < N; ++k) {
    Eigen::MatrixXd changes(sums.rows(), sums.cols());
    for (Eigen::Index at = 0; at < sums.size(); ++at) changes(at) = sums(at).v(k);
    const Eigen::VectorXd right_change = changes.col(0).tail(beta.size());
    const auto normal_change = changes.bottomRightCorner(beta.size(), beta.size());
    const Eigen::VectorXd normal_change_beta = normal_change * beta;
    result.beta_by_x.col(k) = solved.inverse * (right_change - normal_change_beta);
    const double square_change =
        changes(0, 0) - 2.0 * right_change.dot(beta) + beta.dot(normal_change_beta);
    const double log_determinant_change = solved.inverse.cwiseProduct(normal_change).sum();
    result.gradient(k) =
        -0.5 * (square_change / solved.variance + recursion.log_f().v(k) + log_determinant_change);
  }
  result.usable = result.gradient.allFinite();
  return result;
}

}  // namespace

SwingParameters plain_parameters(const FilterTrack& track,
                                 const FilterLayout& layout,
                                 std::span<const double> x) {
  const auto p = swing_recursion::parameters_from(track, layout, x.data());
  return {.omega_per_s = p.omega,
          .damping_per_s = p.damping,
          .growth = p.growth,
          .slow_ratio = p.slow_ratio,
          .slow_memory = p.slow_memory,
          .away_omega_per_s = p.away_omega};
}

std::vector<double> parameter_vector(const FilterTrack& track,
                                     const FilterLayout& layout,
                                     const SwingParameters& p) {
  const double unit = 1e-3 * track.omega_per_s;
  std::vector<double> x{p.omega_per_s / unit, p.damping_per_s / unit, std::log(p.growth)};
  if (layout.slow_noise) {
    x.push_back(std::log(p.slow_ratio));
    x.push_back(std::log(p.slow_memory));
  }
  if (layout.away) x.push_back(p.away_omega_per_s / unit);
  return x;
}

FilterFit filter_fit(const FilterTrack& track,
                     const FilterLayout& layout,
                     std::span<const double> x) {
  FilterFit fit;
  if (!sensible(track, layout, x)) return fit;
  const auto p = swing_recursion::parameters_from(track, layout, x.data());
  Recursion<double> recursion(shape_of(track), layout, p);
  const auto columns = static_cast<Eigen::Index>(recursion.columns());
  std::vector<Eigen::MatrixXd> ends;
  std::vector<double> omegas_per_s;
  const bool ran = recursion.run(track, [&](std::size_t i, const Recursion<double>& r) {
    if (i + 1 < track.points.size() && !track.points[i + 1].starts_segment) return;
    Eigen::MatrixXd state(2, columns);
    state.row(0) = Eigen::Map<const Eigen::RowVectorXd>(r.u().data(), columns);
    state.row(1) = Eigen::Map<const Eigen::RowVectorXd>(r.v().data(), columns);
    ends.push_back(state);
    const FilterPoint& point = track.points[i];
    omegas_per_s.push_back((point.away ? p.away_omega : p.omega) * point.frequency_ratio);
  });
  if (!ran) return fit;
  const auto solved = swing_recursion::solve(recursion, track.points.size());
  if (!solved.usable || !std::isfinite(solved.restricted)) return fit;
  fit.usable = true;
  fit.restricted_log_likelihood = solved.restricted;
  fit.log_likelihood = solved.plain;
  fit.beta = solved.beta;
  fit.white_variance_mm2 = solved.variance;
  fit.covariance = solved.variance * solved.inverse;
  for (std::size_t k = 0; k < ends.size(); ++k) {
    // Column 0 holds minus the part that the data alone drew the state to.
    const Eigen::Vector2d end = ends[k].rightCols(columns - 1) * fit.beta - ends[k].col(0);
    const double sine_mm = (end(1) + p.damping * end(0)) / omegas_per_s[k];
    fit.end_amplitude_mm.push_back(std::hypot(end(0), sine_mm));
  }
  return fit;
}

std::vector<std::size_t> FilterLayout::swing_places() const {
  std::vector<std::size_t> places{0, 1};
  if (away) places.push_back(static_cast<std::size_t>(size()) - 1);
  return places;
}

FilterGradient filter_gradient(const FilterTrack& track,
                               const FilterLayout& layout,
                               std::span<const double> x) {
  if (!sensible(track, layout, x)) return {};
  constexpr std::size_t kAll[] = {0, 1, 2, 3, 4, 5};
  switch (layout.size()) {
    case 3:
      return gradient_of<3>(track, layout, x, kAll);
    case 4:
      return gradient_of<4>(track, layout, x, kAll);
    case 5:
      return gradient_of<5>(track, layout, x, kAll);
    default:
      return gradient_of<6>(track, layout, x, kAll);
  }
}

FilterGradient swing_gradient(const FilterTrack& track,
                              const FilterLayout& layout,
                              std::span<const double> x) {
  if (!sensible(track, layout, x)) return {};
  const std::vector<std::size_t> places = layout.swing_places();
  return layout.away ? gradient_of<3>(track, layout, x, places)
                     : gradient_of<2>(track, layout, x, places);
}

std::vector<double> innovations_mm(const FilterTrack& track,
                                   const FilterLayout& layout,
                                   std::span<const double> x,
                                   const Eigen::VectorXd& beta) {
  if (!sensible(track, layout, x)) return {};
  if (beta.size() != track.design.cols() + 2 * track.segments) {
    throw std::invalid_argument("innovations_mm: beta");
  }
  std::vector<double> result;
  result.reserve(track.points.size());
  Recursion<double> recursion(
      shape_of(track), layout, swing_recursion::parameters_from(track, layout, x.data()));
  const bool ran = recursion.run(track, [&](std::size_t, const Recursion<double>& r) {
    const Eigen::Map<const Eigen::VectorXd> columns(r.innovations().data() + 1, beta.size());
    result.push_back(r.innovations()[0] - columns.dot(beta));
  });
  if (!ran) result.clear();
  return result;
}

namespace {

struct Record {
  Visit visit;
  std::vector<double> innovations;
};

/// State (u, u', a) after a step from the state before it.
Eigen::Matrix3d transition(const Visit& visit, bool starts_segment) {
  Eigen::Matrix3d phi = Eigen::Matrix3d::Zero();
  phi(2, 2) = visit.slow_decay;
  if (starts_segment) return phi;
  phi(0, 0) = visit.step.phi11;
  phi(0, 1) = visit.step.phi12;
  phi(1, 0) = visit.step.phi21;
  phi(1, 1) = visit.step.phi22;
  return phi;
}

}  // namespace

std::vector<Shock> find_shocks(const FilterTrack& track,
                               const FilterLayout& layout,
                               std::span<const double> x) {
  if (!sensible(track, layout, x)) return {};
  Recursion<double> recursion(
      shape_of(track), layout, swing_recursion::parameters_from(track, layout, x.data()));
  std::vector<Record> records;
  records.reserve(track.points.size());
  if (!recursion.run(track, [&](std::size_t, const Recursion<double>& r) {
        records.push_back({r.visit(), r.innovations()});
      })) {
    return {};
  }
  const auto solved = swing_recursion::solve(recursion, track.points.size());
  if (!solved.usable) return {};
  const auto p = solved.beta.size();
  const Eigen::RowVector3d reads(1.0, 0.0, 1.0);
  // Adjoint of the state for the residuals and for every column of the design.
  Eigen::Vector3d pull = Eigen::Vector3d::Zero();
  Eigen::MatrixXd pulls = Eigen::MatrixXd::Zero(3, p);
  Eigen::Matrix3d weight = Eigen::Matrix3d::Zero();
  std::vector<Shock> shocks(track.points.size());
  for (std::size_t i = track.points.size(); i-- > 0;) {
    const Record& record = records[i];
    const Eigen::Map<const Eigen::RowVectorXd> columns(record.innovations.data() + 1, p);
    const double residual = record.innovations[0] - columns * solved.beta;
    const double inverse_f = 1.0 / record.visit.innovation_variance;
    const Eigen::Vector3d gain(record.visit.gain_u, record.visit.gain_v, record.visit.gain_a);
    // The reading itself: smoothed disturbance and its information.
    const double error = inverse_f * residual - gain.dot(pull);
    const Eigen::RowVectorXd errors = inverse_f * columns - gain.transpose() * pulls;
    const double information = inverse_f + gain.dot(weight * gain) -
                               (errors * solved.inverse * errors.transpose()).value();
    if (information > 1e-3 * inverse_f) {
      shocks[i].outlier_z = error / std::sqrt(information * solved.variance);
    }
    const Eigen::Matrix3d passed = Eigen::Matrix3d::Identity() - gain * reads;
    pull = inverse_f * residual * reads.transpose() + passed.transpose() * pull;
    pulls = inverse_f * reads.transpose() * columns + passed.transpose() * pulls;
    weight = inverse_f * reads.transpose() * reads + passed.transpose() * weight * passed;
    const Eigen::RowVectorXd kicks = pulls.row(1);
    const double stiffness = weight(1, 1) - (kicks * solved.inverse * kicks.transpose()).value();
    if (!track.points[i].starts_segment && stiffness > 1e-3 * weight(1, 1)) {
      shocks[i].kick_z = pull(1) / std::sqrt(stiffness * solved.variance);
      shocks[i].kick_mm_per_s = pull(1) / stiffness;
    }
    const Eigen::Matrix3d phi = transition(record.visit, track.points[i].starts_segment);
    pull = phi.transpose() * pull;
    pulls = phi.transpose() * pulls;
    weight = phi.transpose() * weight * phi;
  }
  return shocks;
}

}  // namespace nightswing::analysis
