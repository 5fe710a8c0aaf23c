#include "calibration/map/robust_fit.h"

#include <algorithm>
#include <vector>

#include <Eigen/QR>

#include "calibration/map/median.h"

namespace nightswing::calibration {
namespace {

double usual_scale(const Eigen::VectorXd& residuals) {
  const Eigen::VectorXd sizes = residuals.cwiseAbs();
  return std::max(1e-9, 1.5 * upper_median_of(std::vector<double>(sizes.begin(), sizes.end())));
}

}  // namespace

Eigen::VectorXd robust_solution(const Eigen::MatrixXd& rows,
                                const Eigen::VectorXd& values,
                                const RobustWeights& weights) {
  Eigen::VectorXd beforehand = weights.beforehand;
  if (beforehand.size() == 0) beforehand.setOnes(values.size());
  Eigen::VectorXd current = beforehand;
  Eigen::VectorXd solution;
  for (int round = 0; round < weights.rounds; ++round) {
    const Eigen::VectorXd root = current.cwiseSqrt();
    solution = (root.asDiagonal() * rows).colPivHouseholderQr().solve(root.cwiseProduct(values));
    const Eigen::VectorXd residuals = values - rows * solution;
    const double scale = weights.half_weight ? *weights.half_weight : usual_scale(residuals);
    current = beforehand.array() / (1.0 + (residuals / scale).array().square());
  }
  return solution;
}

}  // namespace nightswing::calibration
