#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include <Eigen/Core>

#include "analysis/swing/swing_filter.h"

/// The Kalman recursion of swing_filter.h, written once for plain numbers and for numbers that
/// carry derivatives.
namespace nightswing::analysis::swing_recursion {

template <typename T>
struct Parameters {
  T omega;
  T damping;
  T growth;
  T slow_ratio;
  T slow_memory;
  T away_omega;
};

template <typename T>
Parameters<T> parameters_from(const FilterTrack& track, const FilterLayout& layout, const T* x) {
  using std::exp;
  const double unit = 1e-3 * track.omega_per_s;
  Parameters<T> p{x[0] * unit, x[1] * unit, exp(x[2]), T(0.0), T(1.0), x[0] * unit};
  int next = 3;
  if (layout.slow_noise) {
    p.slow_ratio = exp(x[3]);
    p.slow_memory = exp(x[4]);
    next = 5;
  }
  if (layout.away) p.away_omega = x[next] * unit;
  return p;
}

/// Phi and Q of one step, in units of the white variance.
template <typename T>
struct Step {
  T phi11, phi12, phi21, phi22, q11, q12, q22;
};

template <typename T>
Step<T> step_of(const T& omega, const Parameters<T>& p, double dt_s) {
  using std::abs;
  using std::cos;
  using std::exp;
  using std::sin;
  const T& g = p.damping;
  const T envelope = exp(-g * dt_s);
  const T c = envelope * cos(omega * dt_s);
  const T s = envelope * sin(omega * dt_s) / omega;
  const T omega0_square = omega * omega + g * g;
  Step<T> step{c + g * s, s, -omega0_square * s, c - g * s, T(0.0), T(0.0), T(0.0)};
  // D = 2 g v T. The formula for Q goes on smoothly through g = 0, but not its digits.
  const double least = 1e-6;
  const T safe_g = abs(g) > least * omega ? g : least * omega;
  const T v = p.growth * omega / (4.0 * std::numbers::pi * safe_g);
  Step<T> r = step;
  if (!(abs(g) > least * omega)) {
    const T e = exp(-safe_g * dt_s);
    const T cc = e * cos(omega * dt_s);
    const T ss = e * sin(omega * dt_s) / omega;
    r = {cc + safe_g * ss, ss, -omega0_square * ss, cc - safe_g * ss, T(0.0), T(0.0), T(0.0)};
  }
  step.q11 = v * (1.0 - r.phi11 * r.phi11 - omega0_square * r.phi12 * r.phi12);
  step.q12 = -v * (r.phi11 * r.phi21 + omega0_square * r.phi12 * r.phi22);
  step.q22 = v * (omega0_square * (1.0 - r.phi22 * r.phi22) - r.phi21 * r.phi21);
  return step;
}

/// Covariance of (u, u', a) in units of the white variance.
template <typename T>
struct Spread {
  T uu, uv, vv, ua, va, aa;
};

/// What one reading did, kept for the smoother.
struct Visit {
  Step<double> step;
  double slow_decay;
  double gain_u, gain_v, gain_a;
  double innovation_variance;
};

/// How much of the filter there is.
struct Shape {
  std::size_t design_columns = 0;
  std::size_t segments = 0;
  double omega_per_s = 0.0;  ///< the unit of u'
};

inline Shape shape_of(const FilterTrack& track) {
  return {static_cast<std::size_t>(track.design.cols()),
          static_cast<std::size_t>(track.segments),
          track.omega_per_s};
}

/// Runs the filter, over a whole track or one reading after the other. Column 0 is the data, then
/// come the columns of beta.
///   normal       sum of E E^T/F over the innovations E of all columns
///   log_f        sum of ln F
template <typename T>
class Recursion {
 public:
  using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;

  Recursion(const Shape& shape, const FilterLayout& layout, const Parameters<T>& p)
      : layout_(layout),
        p_(p),
        design_columns_(shape.design_columns),
        columns_(1 + design_columns_ + 2 * shape.segments),
        omega_unit_per_s_(shape.omega_per_s),
        u_(columns_, T(0.0)),
        v_(columns_, T(0.0)),
        a_(columns_, T(0.0)),
        innovation_(columns_, T(0.0)),
        normal_(columns_ * columns_, T(0.0)) {
    spread_ = {T(0.0), T(0.0), T(0.0), T(0.0), T(0.0), p.slow_ratio};
  }

  /// visitor(index, recursion), called after each reading; plain numbers only.
  template <typename Visitor>
  bool run(const FilterTrack& track, const Visitor& visitor) {
    for (std::size_t i = 0; i < track.points.size(); ++i) {
      if (!take(track.points[i], track.design.row(static_cast<Eigen::Index>(i)))) return false;
      visitor(i, *this);
    }
    return true;
  }

  /// The next reading with its row of the design. False if the parameters make no sense.
  template <typename Row>
  bool take(const FilterPoint& point, const Row& design) {
    foretell(point, design);
    return update();
  }

  /// Goes on to a reading, without using it: innovations and their variance are there then.
  template <typename Row>
  void foretell(const FilterPoint& point, const Row& design) {
    predict(point);
    last_t_s_ = point.t_s;
    has_begun_ = true;
    observe(point, design);
  }

  [[nodiscard]] std::size_t columns() const { return columns_; }
  [[nodiscard]] const T& log_f() const { return log_f_; }
  /// Each column's innovation at the last reading.
  [[nodiscard]] const std::vector<T>& innovations() const { return innovation_; }
  [[nodiscard]] const T& innovation_variance() const { return f_; }
  [[nodiscard]] const std::vector<T>& u() const { return u_; }
  [[nodiscard]] const std::vector<T>& v() const { return v_; }
  [[nodiscard]] Visit visit() const { return {step_, slow_decay_, gain_u_, gain_v_, gain_a_, f_}; }
  [[nodiscard]] Matrix normal() const {
    const auto n = static_cast<Eigen::Index>(columns_);
    Matrix full(n, n);
    for (Eigen::Index j = 0; j < n; ++j) {
      for (Eigen::Index k = 0; k <= j; ++k) {
        full(j, k) = full(k, j) = normal_[static_cast<std::size_t>(j * n + k)];
      }
    }
    return full;
  }

 private:
  void predict(const FilterPoint& point) {
    if (has_begun_ && layout_.slow_noise) {
      using std::exp;
      slow_decay_ = exp(-point.slow_step / p_.slow_memory);
      for (T& value : a_) value *= slow_decay_;
      spread_.ua *= slow_decay_;
      spread_.va *= slow_decay_;
      spread_.aa = slow_decay_ * slow_decay_ * (spread_.aa - p_.slow_ratio) + p_.slow_ratio;
    }
    if (point.starts_segment) {
      start_segment();
    } else {
      move(point.t_s - last_t_s_, (point.away ? p_.away_omega : p_.omega) * point.frequency_ratio);
    }
    if (point.kick_variance > 0.0) spread_.vv += point.kick_variance;
  }

  void start_segment() {
    active_ = 1 + design_columns_ + 2 * (segment_ + 1);
    std::fill(u_.begin(), u_.end(), T(0.0));
    std::fill(v_.begin(), v_.end(), T(0.0));
    u_[active_ - 2] = T(1.0);
    v_[active_ - 1] = T(omega_unit_per_s_);
    spread_ = {T(0.0), T(0.0), T(0.0), T(0.0), T(0.0), spread_.aa};
    ++segment_;
    last_dt_s_ = -1.0;
  }

  void move(double dt_s, const T& omega) {
    // Frames come evenly: the same step serves until the distance, or the segment, changes.
    if (std::abs(dt_s - last_dt_s_) > 1e-7 * dt_s) {
      step_ = step_of(omega, p_, dt_s);
      last_dt_s_ = dt_s;
    }
    for (std::size_t k = 0; k < active_; ++k) {
      const T u = u_[k];
      u_[k] = step_.phi11 * u + step_.phi12 * v_[k];
      v_[k] = step_.phi21 * u + step_.phi22 * v_[k];
    }
    const Spread<T> s = spread_;
    const T uu = step_.phi11 * s.uu + step_.phi12 * s.uv;
    const T uv = step_.phi11 * s.uv + step_.phi12 * s.vv;
    const T vu = step_.phi21 * s.uu + step_.phi22 * s.uv;
    const T vv = step_.phi21 * s.uv + step_.phi22 * s.vv;
    spread_.uu = uu * step_.phi11 + uv * step_.phi12 + step_.q11;
    spread_.uv = uu * step_.phi21 + uv * step_.phi22 + step_.q12;
    spread_.vv = vu * step_.phi21 + vv * step_.phi22 + step_.q22;
    spread_.ua = step_.phi11 * s.ua + step_.phi12 * s.va;
    spread_.va = step_.phi21 * s.ua + step_.phi22 * s.va;
  }

  template <typename Row>
  void observe(const FilterPoint& point, const Row& design) {
    f_ = spread_.uu + spread_.ua + (spread_.ua + spread_.aa) + point.variance_ratio;
    innovation_[0] = point.x_mm + u_[0] + a_[0];
    for (std::size_t k = 1; k < active_; ++k) {
      innovation_[k] = u_[k] + a_[k];
      if (k <= design_columns_) innovation_[k] += design(static_cast<Eigen::Index>(k - 1));
    }
  }

  bool update() {
    using std::log;
    Spread<T>& s = spread_;
    const T along_u = s.uu + s.ua;
    const T along_v = s.uv + s.va;
    const T along_a = s.ua + s.aa;
    if (!(f_ > 0.0)) return false;
    const T inverse = 1.0 / f_;
    gain_u_ = along_u * inverse;
    gain_v_ = along_v * inverse;
    gain_a_ = along_a * inverse;
    log_f_ += log(f_);
    for (std::size_t k = 0; k < active_; ++k) {
      const T weighted = inverse * innovation_[k];
      u_[k] -= gain_u_ * innovation_[k];
      v_[k] -= gain_v_ * innovation_[k];
      if (layout_.slow_noise) a_[k] -= gain_a_ * innovation_[k];
      for (std::size_t l = 0; l <= k; ++l) normal_[k * columns_ + l] += weighted * innovation_[l];
    }
    s.uu -= gain_u_ * along_u;
    s.uv -= gain_u_ * along_v;
    s.vv -= gain_v_ * along_v;
    s.ua -= gain_u_ * along_a;
    s.va -= gain_v_ * along_a;
    s.aa -= gain_a_ * along_a;
    return true;
  }

  FilterLayout layout_;
  Parameters<T> p_;
  std::size_t design_columns_;
  std::size_t columns_;
  double omega_unit_per_s_;
  bool has_begun_ = false;
  double last_t_s_ = 0.0;
  std::size_t active_ = 0;
  std::size_t segment_ = 0;
  std::vector<T> u_, v_, a_, innovation_, normal_;
  Spread<T> spread_{};
  Step<T> step_{};
  T slow_decay_ = T(1.0);
  T gain_u_{}, gain_v_{}, gain_a_{}, f_{};
  T log_f_ = T(0.0);
  double last_dt_s_ = -1.0;
};

/// Generalised least squares from the sums of a recursion.
struct Solved {
  bool usable = false;
  double restricted = 0.0;
  double plain = 0.0;
  double variance = 0.0;
  Eigen::VectorXd beta;
  Eigen::MatrixXd inverse;  // of the normal matrix
};

/// normal    as Recursion::normal() gives it: row and column 0 of the data, then those of beta
/// log_f     of the same recursion
/// readings  their number
[[nodiscard]] Solved solve(const Eigen::MatrixXd& normal, double log_f, std::size_t readings);

[[nodiscard]] inline Solved solve(const Recursion<double>& recursion, std::size_t readings) {
  return solve(recursion.normal(), recursion.log_f(), readings);
}

}  // namespace nightswing::analysis::swing_recursion
