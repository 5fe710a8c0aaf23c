#include "analysis/positions/position_history.h"

#include <cmath>
#include <utility>

namespace nightswing::analysis {

void PositionHistory::Cell::join(const Cell& other) {
  const double share = other.weight / (weight + other.weight);
  t_s += share * (other.t_s - t_s);
  x_mm += share * (other.x_mm - x_mm);
  weight += other.weight;
}

void PositionHistory::add(const SwingSample& sample) {
  if (!first_s_) first_s_ = sample.t_s;
  const Cell cell{.number = std::floor((sample.t_s - *first_s_) / cell_s_),
                  .weight = 1.0 / (sample.u_mm * sample.u_mm),
                  .t_s = sample.t_s,
                  .x_mm = sample.x_mm};
  if (!cells_.empty() && cells_.back().number == cell.number) {
    cells_.back().join(cell);
    return;
  }
  if (cells_.size() < most_cells_) {
    cells_.push_back(cell);
    return;
  }
  halve();
  add(sample);
}

void PositionHistory::halve() {
  // Cells far apart (gaps) do not join: it may take more than one doubling.
  while (cells_.size() >= most_cells_) {
    cell_s_ *= 2.0;
    std::vector<Cell> joined;
    joined.reserve(most_cells_);
    for (Cell& cell : cells_) {
      cell.number = std::floor(0.5 * cell.number);
      if (!joined.empty() && joined.back().number == cell.number) {
        joined.back().join(cell);
      } else {
        joined.push_back(cell);
      }
    }
    cells_ = std::move(joined);
  }
}

std::vector<SwingSample> PositionHistory::series() const {
  std::vector<SwingSample> samples;
  samples.reserve(cells_.size());
  for (const Cell& cell : cells_) {
    samples.push_back({.t_s = cell.t_s, .x_mm = cell.x_mm, .u_mm = 1.0 / std::sqrt(cell.weight)});
  }
  return samples;
}

}  // namespace nightswing::analysis
