#include "analysis/night/source_move.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <Eigen/Dense>

#include "analysis/swing/swing_track.h"

namespace nightswing::analysis {
namespace {

constexpr double kWindowPeriods = 0.5;
constexpr double kLeastPeriods = 0.2;
constexpr std::ptrdiff_t kLeastReadings = 8;
/// Averaging over so much takes (w over)^2/24, 4e-5, off a swing and off the answer to the move.
constexpr double kReadingsPerPeriod = 200.0;
constexpr double kScanStepsPerPeriod = 60.0;
constexpr int kNewtonSteps = 8;
/// Of a swing without damping: what a thousand periods gather, as SwingNoise counts it.
constexpr double kLeastDampingTimesPeriod = 0.5e-3;

struct Swing {
  double omega;
  double damping;

  [[nodiscard]] double stiffness() const { return omega * omega + damping * damping; }
  /// How far the spot has followed a step of the rest position by 1.
  [[nodiscard]] double response(double since_s) const {
    if (since_s <= 0.0) return 0.0;
    return 1.0 - std::exp(-damping * since_s) *
                     (std::cos(omega * since_s) + damping / omega * std::sin(omega * since_s));
  }
  /// By a push of 1 mm/s; times the stiffness it is the derivative of the response.
  [[nodiscard]] double pushed(double since_s) const {
    if (since_s <= 0.0) return 0.0;
    return std::exp(-damping * since_s) * std::sin(omega * since_s) / omega;
  }
  /// The speed that is left of such a push.
  [[nodiscard]] double pushed_speed(double since_s) const {
    if (since_s < 0.0) return 0.0;
    return std::exp(-damping * since_s) *
           (std::cos(omega * since_s) - damping / omega * std::sin(omega * since_s));
  }
  /// Correlation of the swing that white torque noise keeps up.
  [[nodiscard]] double correlation(double apart_s) const {
    return 1.0 - response(std::abs(apart_s));
  }
};

/// Both sides' swings.
struct Swings {
  Swing before;
  Swing after;

  /// Half of what the acceleration changes by at the middle between the rest positions, if those
  /// are 1 apart, comes from either side.
  [[nodiscard]] double stiffness() const { return 0.5 * (before.stiffness() + after.stiffness()); }
  /// From place and speed at the move on.
  [[nodiscard]] double carried(double place, double speed, double since_s) const {
    return place * (1.0 - after.response(since_s)) + speed * after.pushed(since_s);
  }
  /// What is left of a push at `push_s`, before the move at `move_s` or after it.
  [[nodiscard]] double pushed(double push_s, double move_s, double t_s) const {
    if (t_s <= move_s) return before.pushed(t_s - push_s);
    if (push_s >= move_s) return after.pushed(t_s - push_s);
    return carried(
        before.pushed(move_s - push_s), before.pushed_speed(move_s - push_s), t_s - move_s);
  }
};

/// The readings around one move, made independent of each other.
class MoveWindow {
 public:
  MoveWindow(std::vector<PlacedSample> readings,
             const SwingFit& fit,
             double sample_u_mm,
             double origin_s)
      : readings_(std::move(readings)), fit_(fit), origin_s_(origin_s) {
    const auto n = static_cast<Eigen::Index>(readings_.size());
    positions_mm_.resize(n);
    for (Eigen::Index i = 0; i < n; ++i) positions_mm_(i) = reading(i).x_mm;
    factor_ = covariance(sample_u_mm).llt();
  }

  /// Has place and speed go on at the move, where they do so only with what was taken off: the
  /// jump, as the swing afterwards carries it on, is taken off as well.
  void put_back(const Swings& swings, double t_s, const WideSwing& before, const WideSwing& after) {
    const double jump_mm = before.departure_mm(t_s) - after.departure_mm(t_s);
    const double jump_mm_per_s = before.departure_mm_per_s(t_s) - after.departure_mm_per_s(t_s);
    for (Eigen::Index i = 0; i < positions_mm_.size(); ++i) {
      const double since_s = reading(i).t_s - t_s;
      if (since_s > 0.0) positions_mm_(i) -= swings.carried(jump_mm, jump_mm_per_s, since_s);
    }
  }

  struct Fit {
    bool usable = false;
    double t_s = 0.0;
    double shift_mm = 0.0;
    double chi2 = 0.0;
    Eigen::Matrix2d covariance = Eigen::Matrix2d::Zero();  ///< of shift and time
  };

  /// The best moment of a scan.
  [[nodiscard]] double scan(const Swings& swings, double from_s, double to_s) const {
    const double step_s = 2.0 * std::numbers::pi / swings.before.omega / kScanStepsPerPeriod;
    const auto steps = static_cast<int>(std::ceil((to_s - from_s) / step_s));
    double best_s = from_s;
    double least = -1.0;
    for (int i = 0; i <= steps; ++i) {
      const double t_s = from_s + (to_s - from_s) * i / std::max(1, steps);
      const double chi2 = at(swings, t_s).chi2;
      if (least >= 0.0 && chi2 >= least) continue;
      least = chi2;
      best_s = t_s;
    }
    return best_s;
  }

  [[nodiscard]] Fit refined(const Swings& swings, double t_s) const {
    Fit fit = at(swings, t_s);
    for (int i = 0; i < kNewtonSteps && fit.usable; ++i) {
      // The last column is the time's, linearised at this shift; that the swing's own frequency
      // changes at that time too is too little to matter for it.
      Eigen::MatrixXd design = columns(swings, fit.t_s);
      design.conservativeResize(Eigen::NoChange, design.cols() + 1);
      const Eigen::Index last = design.cols() - 1;
      for (Eigen::Index r = 0; r < design.rows(); ++r) {
        design(r, last) = -fit.shift_mm * swings.after.stiffness() *
                          swings.after.pushed(reading(r).t_s - fit.t_s);
      }
      const Eigen::MatrixXd white = factor_.matrixL().solve(design);
      const Eigen::MatrixXd inverse =
          (white.transpose() * white)
              .ldlt()
              .solve(Eigen::MatrixXd::Identity(design.cols(), design.cols()));
      const Eigen::VectorXd beta =
          inverse * (white.transpose() * factor_.matrixL().solve(positions_mm_));
      fit.covariance = inverse.bottomRightCorner<2, 2>();
      const double next_s = fit.t_s + beta(last);
      const bool settled = std::abs(beta(last)) < 1e-3;
      const Eigen::Matrix2d covariance = fit.covariance;
      fit = at(swings, next_s);
      fit.covariance = covariance;
      if (settled) break;
    }
    const double freedom = static_cast<double>(positions_mm_.size() - columns(swings, t_s).cols());
    fit.covariance *= std::max(1.0, fit.chi2 / std::max(1.0, freedom - 1.0));
    fit.usable = fit.usable && fit.covariance.allFinite() && fit.covariance(0, 0) > 0.0;
    return fit;
  }

 private:
  [[nodiscard]] const SwingSample& reading(Eigen::Index i) const {
    return readings_[static_cast<std::size_t>(i)].sample;
  }

  [[nodiscard]] Eigen::MatrixXd covariance(double sample_u_mm) const {
    const SwingNoise& noise = fit_.noise;
    const Swing swing{
        2.0 * std::numbers::pi / fit_.period_s.value,
        std::max(fit_.damping_per_s.value, kLeastDampingTimesPeriod / fit_.period_s.value)};
    const auto n = static_cast<Eigen::Index>(readings_.size());
    Eigen::VectorXd way(n);  // what the slow noise fades with
    for (Eigen::Index i = 0; i < n; ++i) {
      const bool in_position = noise.slow == SlowNoise::kInPosition;
      const double step = i == 0        ? 0.0
                          : in_position ? std::abs(reading(i).x_mm - reading(i - 1).x_mm)
                                        : reading(i).t_s - reading(i - 1).t_s;
      way(i) = (i == 0 ? 0.0 : way(i - 1)) + step;
    }
    Eigen::MatrixXd v(n, n);
    for (Eigen::Index i = 0; i < n; ++i) {
      for (Eigen::Index j = 0; j < n; ++j) {
        v(i, j) =
            noise.torque_mm * noise.torque_mm * swing.correlation(reading(i).t_s - reading(j).t_s);
        if (noise.slow != SlowNoise::kNone) {
          v(i, j) += noise.slow_mm * noise.slow_mm *
                     std::exp(-std::abs(way(i) - way(j)) / noise.slow_memory);
        }
      }
      const double white_mm = noise.white_mm * reading(i).u_mm / sample_u_mm;
      v(i, i) += white_mm * white_mm + 1e-12;
    }
    return v;
  }

  /// Rest position, swing, kicks, and last the answer to the move.
  [[nodiscard]] Eigen::MatrixXd columns(const Swings& swings, double t_s) const {
    std::vector<double> kicks_s;
    for (const Kick& kick : fit_.kicks) {
      if (kick.t_s > reading(0).t_s && kick.t_s < readings_.back().sample.t_s) {
        kicks_s.push_back(kick.t_s);
      }
    }
    const auto kicks = static_cast<Eigen::Index>(kicks_s.size());
    Eigen::MatrixXd design(positions_mm_.size(), 4 + kicks);
    const auto swung = [&](double since_s) {  // as a cosine and as a sine, with their speeds
      const auto [omega, damping] = swings.before;
      const double c = std::exp(-damping * since_s) * std::cos(omega * since_s);
      const double s = std::exp(-damping * since_s) * std::sin(omega * since_s);
      return Eigen::Matrix2d{{c, -damping * c - omega * s}, {s, -damping * s + omega * c}};
    };
    const Eigen::Matrix2d at_move = swung(t_s - origin_s_);
    for (Eigen::Index i = 0; i < design.rows(); ++i) {
      const double here_s = reading(i).t_s;
      design(i, 0) = 1.0;
      for (Eigen::Index wave = 0; wave < 2; ++wave) {
        design(i, 1 + wave) =
            here_s <= t_s ? swung(here_s - origin_s_)(wave, 0)
                          : swings.carried(at_move(wave, 0), at_move(wave, 1), here_s - t_s);
      }
      for (Eigen::Index k = 0; k < kicks; ++k) {
        // A kick acts just before its reading.
        design(i, 3 + k) = swings.pushed(kicks_s[static_cast<std::size_t>(k)], t_s, here_s);
      }
      design(i, 3 + kicks) = swings.after.response(here_s - t_s);
    }
    return design;
  }

  [[nodiscard]] Fit at(const Swings& swings, double t_s) const {
    const Eigen::MatrixXd white = factor_.matrixL().solve(columns(swings, t_s));
    const Eigen::VectorXd positions = factor_.matrixL().solve(positions_mm_);
    const Eigen::VectorXd beta = white.colPivHouseholderQr().solve(positions);
    Fit fit;
    fit.usable = beta.allFinite();
    fit.t_s = t_s;
    fit.shift_mm = beta(beta.size() - 1);
    fit.chi2 = (positions - white * beta).squaredNorm();
    return fit;
  }

  std::vector<PlacedSample> readings_;
  const SwingFit& fit_;
  double origin_s_;
  Eigen::VectorXd positions_mm_;
  Eigen::LLT<Eigen::MatrixXd> factor_;
};

/// The samples of the window that the fit of the night used, less the drift, averaged.
std::vector<PlacedSample> readings_of(std::span<const SwingSample> series,
                                      const SwingFit& fit,
                                      const std::vector<Segment>& window,
                                      double slope_mm_per_s,
                                      double& sample_u_mm) {
  std::vector<PlacedSample> samples = placed_samples(series, window);
  std::vector<double> left_out_s = fit.left_out_s;
  std::ranges::sort(left_out_s);
  std::erase_if(samples, [&](const PlacedSample& s) {
    return std::ranges::binary_search(left_out_s, s.sample.t_s);
  });
  double squares = 0.0;
  for (PlacedSample& s : samples) {
    s.sample.x_mm -= slope_mm_per_s * (s.sample.t_s - window[0].to_s) + fit.plus_mm.value;
    squares += s.sample.u_mm * s.sample.u_mm;
  }
  if (samples.empty()) return samples;
  sample_u_mm = std::sqrt(squares / static_cast<double>(samples.size()));
  return averaged(samples, fit.period_s.value / kReadingsPerPeriod);
}

bool watched_enough(const std::vector<PlacedSample>& readings,
                    const std::vector<Segment>& window,
                    double period_s) {
  for (std::size_t k = 0; k < window.size(); ++k) {
    if (window[k].to_s - window[k].from_s < kLeastPeriods * period_s) return false;
    if (std::ranges::count(readings, k, &PlacedSample::segment) < kLeastReadings) return false;
  }
  return true;
}

}  // namespace

std::optional<SourceMove> fit_source_move(std::span<const SwingSample> series,
                                          const SwingFit& fit,
                                          std::size_t k,
                                          double reach_s,
                                          std::span<const WideSwing> taken_off) {
  const Segment& before = fit.segments[k].segment;
  const Segment& after = fit.segments[k + 1].segment;
  const double period_s = fit.period_s.value;
  const double length_s = kWindowPeriods * period_s;
  const std::vector<Segment> window{
      {before.side, std::max(before.from_s, before.to_s - length_s), before.to_s},
      {after.side, after.from_s, std::min(after.to_s, after.from_s + length_s)}};
  const double slope_mm_per_s =
      0.5 * (fit.segments[k].drift_mm_per_hour + fit.segments[k + 1].drift_mm_per_hour) / 3600.0;
  double sample_u_mm = 1.0;
  auto readings = readings_of(series, fit, window, slope_mm_per_s, sample_u_mm);
  if (!watched_enough(readings, window, period_s)) return std::nullopt;
  MoveWindow move(std::move(readings), fit, sample_u_mm, before.to_s);

  const auto swings_with = [&](double period, double damping_per_s) {
    const double omega = 2.0 * std::numbers::pi / period;
    return Swings{{before.frequency_ratio * omega, damping_per_s},
                  {after.frequency_ratio * omega, damping_per_s}};
  };
  const Swings swings = swings_with(period_s, fit.damping_per_s.value);
  const double from_s = std::max(window[0].from_s, before.to_s - reach_s);
  const double to_s = std::min(window[1].to_s, after.from_s + reach_s);
  auto best = move.refined(swings, move.scan(swings, from_s, to_s));
  if (best.usable && !taken_off.empty()) {
    move.put_back(swings, best.t_s, taken_off[k], taken_off[k + 1]);
    best = move.refined(swings, best.t_s);
  }
  if (!best.usable || best.t_s < from_s || best.t_s > to_s) return std::nullopt;

  // What the uncertain period and damping pass on, by differences.
  const auto acceleration = [&](const Swings& other) {
    return other.stiffness() * move.refined(other, best.t_s).shift_mm;
  };
  const double value = swings.stiffness() * best.shift_mm;
  const Swings longer = swings_with(period_s + fit.period_s.u, fit.damping_per_s.value);
  const Swings damped = swings_with(period_s, fit.damping_per_s.value + fit.damping_per_s.u);
  const Eigen::Vector2d by_u(acceleration(longer) - value, acceleration(damped) - value);
  const Eigen::Matrix2d swing_covariance = fit.covariance.bottomRightCorner<2, 2>();
  const double both = fit.period_s.u * fit.damping_per_s.u;
  const double correlation = both > 0.0 ? swing_covariance(0, 1) / both : 0.0;
  const double passed_on = by_u.squaredNorm() + 2.0 * correlation * by_u(0) * by_u(1);
  const double u_shift_mm = std::sqrt(best.covariance(0, 0));
  return SourceMove{
      .before = before,
      .after = after,
      .t_s = {best.t_s, std::sqrt(std::max(0.0, best.covariance(1, 1)))},
      .shift_mm = {best.shift_mm, u_shift_mm},
      .acceleration_mm_per_s2 = {
          value,
          std::sqrt(std::pow(swings.stiffness() * u_shift_mm, 2) + std::max(0.0, passed_on))}};
}

}  // namespace nightswing::analysis
