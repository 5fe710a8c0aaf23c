#include "calibration/map/linearised_fit.h"

#include <cstddef>

#include <ceres/crs_matrix.h>

namespace nightswing::calibration {

std::optional<LinearisedFit> linearised(ceres::Problem& problem,
                                        const std::vector<double*>& unknowns) {
  ceres::Problem::EvaluateOptions options;
  options.parameter_blocks = unknowns;
  std::vector<double> residuals;
  ceres::CRSMatrix sparse;
  if (!problem.Evaluate(options, nullptr, &residuals, nullptr, &sparse)) return std::nullopt;
  LinearisedFit result;
  result.residuals =
      Eigen::Map<Eigen::VectorXd>(residuals.data(), static_cast<Eigen::Index>(residuals.size()));
  result.jacobian.setZero(sparse.num_rows, sparse.num_cols);
  for (int row = 0; row < sparse.num_rows; ++row) {
    const auto at = static_cast<std::size_t>(row);
    for (int k = sparse.rows[at]; k < sparse.rows[at + 1]; ++k) {
      const auto entry = static_cast<std::size_t>(k);
      result.jacobian(row, sparse.cols[entry]) = sparse.values[entry];
    }
  }
  return result;
}

}  // namespace nightswing::calibration
