#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "analysis/positions/swing_series.h"

namespace nightswing::analysis {

/// The positions of a night in a fixed amount of memory: means over cells of time. When all cells
/// are taken, neighbours are joined in pairs and cells get twice as long. A mean over a cell
/// flattens the swing by (w cell)^2/24 of its amplitude (integral of a cosine) and leaves the
/// equilibrium as it is: with 8192 cells, 16 s after a night of 36 h at a position a second.
class PositionHistory {
 public:
  /// most_cells  at least 2;  cell_s  the first length of a cell
  explicit PositionHistory(std::size_t most_cells = 8192, double cell_s = 1.0)
      : most_cells_(most_cells), cell_s_(cell_s) {}

  /// A position later than those before.
  void add(const SwingSample& sample);

  /// The means, weighted by 1/u^2, with their mean times and u; the last cell may be unfinished.
  [[nodiscard]] std::vector<SwingSample> series() const;
  [[nodiscard]] double cell_s() const { return cell_s_; }
  [[nodiscard]] bool empty() const { return cells_.empty(); }

 private:
  struct Cell {
    double number;  ///< counted from the first position, in cells
    double weight;
    double t_s;
    double x_mm;
    void join(const Cell& other);
  };
  void halve();

  std::size_t most_cells_;
  double cell_s_;
  std::optional<double> first_s_{};
  std::vector<Cell> cells_;
};

}  // namespace nightswing::analysis
