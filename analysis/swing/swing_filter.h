#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include <Eigen/Core>

/// The driven damped oscillator as a state-space model, and its likelihood.
///
///   y(t)  = design . beta + u(t) + a(t) + white
///   u'' + 2 g u' + w0^2 u = f(t),   f white torque noise,   w0^2 = w^2 + g^2
///   a(t)  slow reading noise, first-order Markov
///
/// The step over dt is exact, whatever dt is, so that gaps and uneven frames need no interpolation;
/// with E = exp(-g dt), c = cos w dt, s = sin(w dt)/w
///   Phi = E [c + g s, s; -w0^2 s, c - g s],   Q = P - Phi P Phi^T,   P = v diag(1, w0^2),
/// v = r.m.s.^2 of u due to f. (Solution of the linear oscillator; P solves the stationary Lyapunov
/// equation A P + P A^T + diag(0, S) = 0 with S = 4 g w0^2 v.)
///
/// beta (rest positions, drift, and u and u' at the start of each segment) enters linearly: its
/// columns run through the same filter as the data, and generalised least squares on the
/// innovations gives beta, its covariance and the variance of the white noise in closed form. What
/// remains is a likelihood of three to six numbers.
///   source  diffuse, augmented Kalman filter: de Jong, Ann. Stat. 19, 1073 (1991) (from memory);
///           restricted likelihood: Patterson and Thompson, Biometrika 58, 545 (1971) (from memory)
namespace nightswing::analysis {

/// One reading as the filter wants it.
struct FilterPoint {
  double t_s;
  double x_mm;
  /// Variance of its white noise in units of the variance that is estimated.
  double variance_ratio = 1.0;
  /// How far it is from the reading before, as slow noise counts: seconds, or mm of travel.
  double slow_step = 0.0;
  bool starts_segment = false;
  bool away = false;             ///< the sources are away: the oscillator has another frequency
  double frequency_ratio = 1.0;  ///< of this reading's segment: its w over the track's (or away) w
  /// Variance of an instant change of u' just before this reading, in units of the white variance
  /// over s^2; 0 for none.
  double kick_variance = 0.0;
};

/// Readings and design. Columns of beta: those of `design`, then u [mm] and u'/w [mm] at the first
/// reading of each segment.
struct FilterTrack {
  std::vector<FilterPoint> points;
  Eigen::MatrixXd design;  ///< a row for each reading
  int segments = 0;
  double omega_per_s = 0.0;  ///< start value, the unit of the parameters below
  /// Largest logarithm of a noise over the white one that is considered: without a bound the
  /// likelihood may take everything for torque noise read without error.
  double largest_log_noise = 40.0;
};

/// Which of the nonlinear parameters exist. Their vector, in this order:
///   w/(1e-3 w_start) and g/(1e-3 w_start)
///   ln D, D the variance of u that torque noise adds in one period, over the white variance
///   ln s, s = variance of the slow noise over the white variance, ln of its memory  if slow_noise
///   w of the away segments/(1e-3 w_start)                                           if away
/// so that a change of 1 in any of them is about one uncertainty or a few.
struct FilterLayout {
  bool slow_noise = false;
  bool away = false;
  [[nodiscard]] int size() const { return 3 + (slow_noise ? 2 : 0) + (away ? 1 : 0); }
  /// The places of w, g and the away w.
  [[nodiscard]] std::vector<std::size_t> swing_places() const;
};

/// The parameters in plain units.
struct SwingParameters {
  double omega_per_s = 0.0;
  double damping_per_s = 0.0;
  double growth = 0.0;  ///< D above
  double slow_ratio = 0.0;
  double slow_memory = 1.0;  ///< in the unit of slow_step
  double away_omega_per_s = 0.0;
};
[[nodiscard]] SwingParameters plain_parameters(const FilterTrack& track,
                                               const FilterLayout& layout,
                                               std::span<const double> x);
[[nodiscard]] std::vector<double> parameter_vector(const FilterTrack& track,
                                                   const FilterLayout& layout,
                                                   const SwingParameters& parameters);

/// What generalised least squares gives at fixed nonlinear parameters.
struct FilterFit {
  bool usable = false;  ///< false if the parameters make no sense or the design is singular
  double restricted_log_likelihood = 0.0;  ///< up to a constant of the design
  double log_likelihood = 0.0;             ///< maximised over beta; compares different designs
  Eigen::VectorXd beta;
  Eigen::MatrixXd covariance;
  double white_variance_mm2 = 0.0;
  std::vector<double> end_amplitude_mm;  ///< of u at the last reading of each segment
};
[[nodiscard]] FilterFit filter_fit(const FilterTrack& track,
                                   const FilterLayout& layout,
                                   std::span<const double> x);

/// Likelihood and rest positions with their derivatives.
struct FilterGradient {
  bool usable = false;
  double restricted_log_likelihood = 0.0;
  Eigen::VectorXd gradient;
  Eigen::MatrixXd beta_by_x;  ///< d beta/d x, a column for each parameter
};
/// By all nonlinear parameters.
[[nodiscard]] FilterGradient filter_gradient(const FilterTrack& track,
                                             const FilterLayout& layout,
                                             std::span<const double> x);
/// By w, g and, if there are away segments, their w: two or three columns.
[[nodiscard]] FilterGradient swing_gradient(const FilterTrack& track,
                                            const FilterLayout& layout,
                                            std::span<const double> x);

/// Each reading less what is foretold for it from those before it, beta being known [mm]. Empty if
/// the parameters make no sense.
[[nodiscard]] std::vector<double> innovations_mm(const FilterTrack& track,
                                                 const FilterLayout& layout,
                                                 std::span<const double> x,
                                                 const Eigen::VectorXd& beta);

/// How much each reading would like to be an exception.
struct Shock {
  double kick_z = 0.0;  ///< change of u' just before it, in its standard deviations
  double kick_mm_per_s = 0.0;
  double outlier_z = 0.0;  ///< error of the reading, in its standard deviations
};
/// By the smoother's disturbances.
///   source  de Jong and Penzer, J. Am. Stat. Assoc. 93, 796 (1998) (from memory)
[[nodiscard]] std::vector<Shock> find_shocks(const FilterTrack& track,
                                             const FilterLayout& layout,
                                             std::span<const double> x);

}  // namespace nightswing::analysis
