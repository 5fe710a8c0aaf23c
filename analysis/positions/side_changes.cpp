#include "analysis/positions/side_changes.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <stdexcept>
#include <utility>

#include <fmt/format.h>

#include <Eigen/Dense>
#include "analysis/positions/track_cleaning.h"

namespace nightswing::analysis {
namespace {

constexpr std::size_t kMostSamples = 6000;
constexpr double kCellsPerPeriod = 20.0;
constexpr double kMostCells = 1200.0;
/// Price of a break in units of (noise variance x log samples). Ordinary criteria ask 5 (four
/// parameters and a time); real noise is not white, so that more is asked.
constexpr double kBreakPrice = 30.0;
constexpr double kJumpInSigmas = 6.0;
/// A period or damping that is a little off leaves jumps that grow with the swing.
constexpr double kJumpInAmplitudes = 0.01;

/// Least-squares sums of the basis {1, t - o, E cos w(t - o), E sin w(t - o)}, E = exp(-g (t - o)),
/// about an origin o that belongs to the holder.
struct Moments {
  Eigen::Matrix4d normal = Eigen::Matrix4d::Zero();
  Eigen::Vector4d right = Eigen::Vector4d::Zero();
  double square = 0.0;
  double count = 0.0;
};

struct Swing {
  double omega;
  double damping;

  [[nodiscard]] Eigen::Vector4d basis(double t) const {
    const double envelope = std::exp(-damping * t);
    return {1.0, t, envelope * std::cos(omega * t), envelope * std::sin(omega * t)};
  }
  /// The basis about an origin `earlier_s` before: basis(t + earlier) = shift * basis(t).
  [[nodiscard]] Eigen::Matrix4d shift(double earlier_s) const {
    const double envelope = std::exp(-damping * earlier_s);
    const double c = envelope * std::cos(omega * earlier_s);
    const double s = envelope * std::sin(omega * earlier_s);
    Eigen::Matrix4d m = Eigen::Matrix4d::Zero();
    m(0, 0) = 1.0;
    m(1, 0) = earlier_s;
    m(1, 1) = 1.0;
    m.bottomRightCorner<2, 2>() << c, -s, s, c;
    return m;
  }
};

void add_sample(Moments& moments, const Eigen::Vector4d& row, double x_mm) {
  moments.normal += row * row.transpose();
  moments.right += x_mm * row;
  moments.square += x_mm * x_mm;
  moments.count += 1.0;
}

void add_shifted(Moments& sum, const Moments& part, const Eigen::Matrix4d& shift) {
  sum.normal += shift * part.normal * shift.transpose();
  sum.right += shift * part.right;
  sum.square += part.square;
  sum.count += part.count;
}

struct Solution {
  Eigen::Vector4d coefficients;
  Eigen::Matrix4d inverse;
  double residual_square;
};

Solution solve(const Moments& moments) {
  // The columns differ by orders of magnitude (1 against seconds): scale them to unit diagonal,
  // with a ridge far below the data's weight for stretches that do not determine all four.
  Eigen::Vector4d scale;
  for (int i = 0; i < 4; ++i) {
    scale(i) = moments.normal(i, i) > 0.0 ? 1.0 / std::sqrt(moments.normal(i, i)) : 1.0;
  }
  Eigen::Matrix4d scaled = scale.asDiagonal() * moments.normal * scale.asDiagonal();
  scaled.diagonal().array() += 1e-10;
  const Eigen::LDLT<Eigen::Matrix4d> factor(scaled);
  Solution solution;
  const Eigen::Vector4d scaled_right = scale.asDiagonal() * moments.right;
  solution.coefficients = scale.asDiagonal() * factor.solve(scaled_right);
  solution.inverse =
      scale.asDiagonal() * factor.solve(Eigen::Matrix4d::Identity()) * scale.asDiagonal();
  solution.residual_square =
      std::max(0.0, moments.square - solution.coefficients.dot(moments.right));
  return solution;
}

/// The night cut into equal cells, each with its sums about its own start.
struct Cells {
  Swing swing;
  double start_s;
  double width_s;
  std::vector<Moments> moments;

  [[nodiscard]] double edge_s(std::size_t index) const {
    return start_s + width_s * static_cast<double>(index);
  }
  /// Sums of the cells begin <= k < end about the start of cell `begin`.
  [[nodiscard]] Moments joined(std::size_t begin, std::size_t end) const {
    Moments sum;
    for (std::size_t k = begin; k < end; ++k) {
      add_shifted(sum, moments[k], swing.shift(edge_s(k) - edge_s(begin)));
    }
    return sum;
  }
};

Cells make_cells(std::span<const SwingSample> samples, const SwingStart& start) {
  const double span_s = samples.back().t_s - samples.front().t_s;
  const double width_s = std::max(start.period_s / kCellsPerPeriod, span_s / kMostCells);
  Cells cells{.swing = {2.0 * std::numbers::pi / start.period_s, start.damping_per_s},
              .start_s = samples.front().t_s,
              .width_s = width_s,
              .moments = std::vector<Moments>(static_cast<std::size_t>(span_s / width_s) + 1)};
  for (const SwingSample& sample : samples) {
    const auto k = static_cast<std::size_t>((sample.t_s - cells.start_s) / width_s);
    // Positions relative to the first one: the sums of squares keep their digits.
    add_sample(cells.moments[k],
               cells.swing.basis(sample.t_s - cells.edge_s(k)),
               sample.x_mm - samples.front().x_mm);
  }
  return cells;
}

/// Noise variance of one sample: the median over stretches of two periods, so that the stretch with
/// the move in it does not count.
double noise_variance(const Cells& cells, std::size_t stretch) {
  std::vector<double> variances;
  for (std::size_t begin = 0; begin + stretch <= cells.moments.size(); begin += stretch) {
    const Moments sum = cells.joined(begin, begin + stretch);
    if (sum.count > 8.0) variances.push_back(solve(sum).residual_square / (sum.count - 4.0));
  }
  if (variances.empty()) return 0.0;
  const auto middle = variances.begin() + static_cast<std::ptrdiff_t>(variances.size() / 2);
  std::nth_element(variances.begin(), middle, variances.end());
  return *middle;
}

/// The edges (cell indices) of the stretches that leave the least squares plus `price` a stretch.
std::vector<std::size_t> best_edges(const Cells& cells, std::size_t shortest, double price) {
  const std::size_t n = cells.moments.size();
  std::vector<double> cost(n + 1, std::numeric_limits<double>::infinity());
  std::vector<std::size_t> previous(n + 1, 0);
  cost[0] = 0.0;
  std::vector<Eigen::Matrix4d> shifts;
  for (std::size_t k = 0; k < n; ++k) {
    shifts.push_back(cells.swing.shift(cells.width_s * static_cast<double>(k)));
  }
  for (std::size_t begin = 0; begin < n; ++begin) {
    if (!std::isfinite(cost[begin])) continue;
    Moments sum;
    for (std::size_t end = begin + 1; end <= n; ++end) {
      add_shifted(sum, cells.moments[end - 1], shifts[end - 1 - begin]);
      if (end - begin < shortest) continue;
      const double total = cost[begin] + solve(sum).residual_square + price;
      if (total < cost[end]) {
        cost[end] = total;
        previous[end] = begin;
      }
    }
  }
  std::vector<std::size_t> edges{n};
  while (edges.back() > 0) edges.push_back(previous[edges.back()]);
  std::reverse(edges.begin(), edges.end());
  return edges;
}

/// Rest positions left and right of a break, continued to the break.
struct Break {
  double t_s;
  double jump_mm;
  double u_jump_mm;
  double amplitude_mm;  // of the swing, at the start of the stretches

  [[nodiscard]] bool is_jump() const {
    return std::abs(jump_mm) >
           std::max(kJumpInSigmas * u_jump_mm, kJumpInAmplitudes * amplitude_mm);
  }
};

Break measure_break(const Cells& cells, std::size_t from, std::size_t at, std::size_t to) {
  const Moments left = cells.joined(from, at);
  const Moments right = cells.joined(at, to);
  const Solution before = solve(left);
  const Solution after = solve(right);
  const double reach_s = cells.edge_s(at) - cells.edge_s(from);
  const Eigen::Vector4d end_row(1.0, reach_s, 0.0, 0.0);
  const double residual = before.residual_square + after.residual_square;
  const double variance = residual / std::max(1.0, left.count + right.count - 8.0);
  // Noise of a real night is correlated over a good part of a period: count a quarter of a period
  // as one independent reading.
  const double cells_with_data = static_cast<double>(to - from);
  const double together =
      std::max(1.0, (left.count + right.count) / cells_with_data * kCellsPerPeriod / 4.0);
  const double spread = end_row.dot(before.inverse * end_row) + after.inverse(0, 0);
  return {.t_s = cells.edge_s(at),
          .jump_mm = after.coefficients(0) - before.coefficients.dot(end_row),
          .u_jump_mm = std::sqrt(variance * together * spread),
          .amplitude_mm =
              std::max(before.coefficients.tail<2>().norm(), after.coefficients.tail<2>().norm())};
}

/// The moment within a cell and a half of `near_s` at which a break leaves the least squares.
double refine_time(std::span<const SwingSample> samples,
                   const Swing& swing,
                   std::pair<double, double> range_s,
                   double near_s,
                   double reach_s) {
  // Sums up to each candidate from the left, and of everything, about the break itself.
  std::vector<SwingSample> part;
  for (const SwingSample& sample : samples) {
    if (sample.t_s >= range_s.first && sample.t_s < range_s.second) part.push_back(sample);
  }
  Moments left;
  Moments all;
  const auto row_of = [&](const SwingSample& sample) { return swing.basis(sample.t_s - near_s); };
  for (const SwingSample& sample : part)
    add_sample(all, row_of(sample), sample.x_mm - part[0].x_mm);
  double best_s = near_s;
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i + 1 < part.size(); ++i) {
    add_sample(left, row_of(part[i]), part[i].x_mm - part[0].x_mm);
    if (std::abs(part[i].t_s - near_s) > reach_s) continue;
    Moments right = all;
    right.normal -= left.normal;
    right.right -= left.right;
    right.square -= left.square;
    const double squares = solve(left).residual_square + solve(right).residual_square;
    if (squares < least) {
      least = squares;
      best_s = 0.5 * (part[i].t_s + part[i + 1].t_s);
    }
  }
  return best_s;
}

FoundSides name_sides(const std::vector<Break>& breaks, double first_s, double u_time_s) {
  FoundSides found;
  found.u_time_s = u_time_s;
  double largest_mm = 0.0;
  for (const Break& b : breaks) {
    if (b.is_jump()) largest_mm = std::max(largest_mm, std::abs(b.jump_mm));
  }
  for (const Break& b : breaks) {
    const bool move = b.is_jump() && std::abs(b.jump_mm) > 0.5 * largest_mm;
    const Side side = b.jump_mm > 0.0 ? Side::kPlus : Side::kMinus;
    if (!move || (!found.changes.empty() && found.changes.back().side == side)) {
      found.disturbances_s.push_back(b.t_s);
      continue;
    }
    if (found.changes.empty()) {
      found.changes.push_back({side == Side::kPlus ? Side::kMinus : Side::kPlus, first_s});
    }
    found.changes.push_back({side, b.t_s});
  }
  if (found.changes.empty()) {
    found.changes.push_back({Side::kPlus, first_s});
    found.message = "the track shows no move of the source masses";
  } else {
    found.message = fmt::format(
        "{} move{} of the source masses found from the track (time within about {:.0f} s); the "
        "side "
        "with the larger x is called plus",
        found.changes.size() - 1,
        found.changes.size() == 2 ? "" : "s",
        u_time_s);
  }
  return found;
}

/// The breaks of one pass, each timed to a sample.
std::vector<Break> find_breaks(std::span<const SwingSample> samples, const SwingStart& start) {
  const Cells cells = make_cells(samples, start);
  const auto period_cells = static_cast<std::size_t>(std::ceil(start.period_s / cells.width_s));
  std::vector<Break> breaks;
  if (cells.moments.size() < 2 * period_cells) return breaks;
  // The floor keeps a noiseless (simulated) track from being broken at every rounding error.
  const double variance = std::max(noise_variance(cells, 2 * period_cells),
                                   1e-6 * start.residual_mm * start.residual_mm);
  const double price = kBreakPrice * variance * std::log(static_cast<double>(samples.size()));
  const std::vector<std::size_t> edges = best_edges(cells, period_cells, price);
  for (std::size_t k = 1; k + 1 < edges.size(); ++k) {
    Break b = measure_break(cells, edges[k - 1], edges[k], edges[k + 1]);
    // Three periods on each side place the break; more would only lose digits to the damping.
    const double near_s = 3.0 * start.period_s;
    b.t_s = refine_time(samples,
                        cells.swing,
                        {std::max(cells.edge_s(edges[k - 1]), b.t_s - near_s),
                         std::min(cells.edge_s(edges[k + 1]), b.t_s + near_s)},
                        b.t_s,
                        1.5 * cells.width_s);
    breaks.push_back(b);
  }
  return breaks;
}

/// The break of `others` nearest to t_s, if one lies within reach.
const Break* nearest(const std::vector<Break>& others, double t_s, double reach_s) {
  const auto best =
      std::ranges::min_element(others, {}, [&](const Break& b) { return std::abs(b.t_s - t_s); });
  return best != others.end() && std::abs(best->t_s - t_s) <= reach_s ? &*best : nullptr;
}

}  // namespace

FoundSides find_sides(std::span<const SwingSample> all_samples, const SwingStart& start) {
  if (!(start.period_s > 0.0)) throw std::invalid_argument("find_sides: no period");
  const std::vector<SwingSample> samples = thinned(without_spikes(all_samples), kMostSamples);
  const double reach_s = 2.0 * start.period_s / kCellsPerPeriod;
  const std::vector<Break> rough = find_breaks(samples, start);
  // A break hardly ever falls on the edge of a cell, and the cell that it cuts invites a second
  // break beside it: look again without the samples around each break, but keep its time.
  std::vector<SwingSample> clear;
  for (const SwingSample& sample : samples) {
    if (nearest(rough, sample.t_s, reach_s) == nullptr) clear.push_back(sample);
  }
  std::vector<Break> breaks = find_breaks(clear, start);
  for (Break& b : breaks) {
    if (const Break* same = nearest(rough, b.t_s, 2.0 * reach_s)) b.t_s = same->t_s;
  }
  return name_sides(breaks, samples.front().t_s, reach_s);
}

}  // namespace nightswing::analysis
