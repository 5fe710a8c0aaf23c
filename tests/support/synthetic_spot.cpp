#include "tests/support/synthetic_spot.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <Eigen/Dense>

namespace nightswing::test {
namespace {

/// Gauss-Legendre, 5 points on (-1, 1): Abramowitz and Stegun, table 25.4.
constexpr std::array<double, 5> kNode{
    -0.906179845938664, -0.538469310105683, 0.0, 0.538469310105683, 0.906179845938664};
constexpr std::array<double, 5> kWeight{
    0.236926885056189, 0.478628670499366, 0.568888888888889, 0.478628670499366, 0.236926885056189};

/// Mean over each pixel of a Gaussian of unit peak. Four panels a pixel: exact to 1e-9 for
/// sigma >= 0.3 px.
std::vector<double> pixel_means(int pixels, double centre_px, double sigma_px) {
  constexpr int kPanels = 4;
  std::vector<double> means(static_cast<std::size_t>(pixels), 0.0);
  for (int pixel = 0; pixel < pixels; ++pixel) {
    double sum = 0;
    for (int panel = 0; panel < kPanels; ++panel) {
      for (std::size_t k = 0; k < kNode.size(); ++k) {
        const double at_px = pixel - 0.5 + (panel + 0.5 + 0.5 * kNode[k]) / kPanels;
        const double t = (at_px - centre_px) / sigma_px;
        sum += 0.5 * kWeight[k] / kPanels * std::exp(-0.5 * t * t);
      }
    }
    means[static_cast<std::size_t>(pixel)] = sum;
  }
  return means;
}

/// The same for a spot whose axes are not those of the picture: one panel a pixel, for widths of
/// 1.5 px and more.
double tilted_pixel_mean(const SpotTruth& spot, double x_px, double y_px) {
  const double along = std::cos(spot.tilt_rad);
  const double across = std::sin(spot.tilt_rad);
  double mean = 0;
  for (std::size_t j = 0; j < kNode.size(); ++j) {
    for (std::size_t i = 0; i < kNode.size(); ++i) {
      const double dx_px = x_px + 0.5 * kNode[i] - spot.x_px;
      const double dy_px = y_px + 0.5 * kNode[j] - spot.y_px;
      const double u = (along * dx_px + across * dy_px) / spot.sigma_x_px;
      const double v = (along * dy_px - across * dx_px) / spot.sigma_y_px;
      mean += 0.25 * kWeight[i] * kWeight[j] * std::exp(-0.5 * (u * u + v * v));
    }
  }
  return mean;
}

double variance_of_pixel(double wall, double spot, const CameraTruth& camera) {
  double variance = camera.read_counts * camera.read_counts;
  if (camera.electrons_per_count > 0) {
    variance += std::max(wall + spot, 0.0) / camera.electrons_per_count;
  }
  return variance + std::pow(camera.speckle_contrast * spot, 2);
}

double censored_information(double a) {
  const double density = std::exp(-0.5 * a * a) / std::sqrt(2.0 * std::numbers::pi);
  const double below = 0.5 * std::erfc(-a / std::numbers::sqrt2);
  const double above = 0.5 * std::erfc(a / std::numbers::sqrt2);
  if (above < 1e-300) return 1.0;
  return std::clamp(below - a * density + density * density / above, 0.0, 1.0);
}

/// Numbers of mean 0 and variance 1; those within `smear_px` of each other along a row or column
/// are sums of partly the same ones.
cv::Mat unit_noise(cv::Size size, int smear_px, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  cv::Mat white(size.height + smear_px - 1, size.width + smear_px - 1, CV_64FC1);
  for (int y = 0; y < white.rows; ++y) {
    for (int x = 0; x < white.cols; ++x) white.at<double>(y, x) = normal(random);
  }
  if (smear_px == 1) return white;
  cv::Mat noise(size, CV_64FC1);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      noise.at<double>(y, x) = cv::sum(white(cv::Rect(x, y, smear_px, smear_px)))[0] / smear_px;
    }
  }
  return noise;
}

}  // namespace

cv::Mat plane_light(cv::Size size, const PlaneTruth& plane) {
  cv::Mat light(size, CV_64FC1);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      light.at<double>(y, x) = plane.level + plane.slope_x_per_px * (x - 0.5 * (size.width - 1)) +
                               plane.slope_y_per_px * (y - 0.5 * (size.height - 1));
    }
  }
  return light;
}

cv::Mat spot_light(cv::Size size, const SpotTruth& spot) {
  const std::vector<double> along_x = pixel_means(size.width, spot.x_px, spot.sigma_x_px);
  const std::vector<double> along_y = pixel_means(size.height, spot.y_px, spot.sigma_y_px);
  cv::Mat light(size, CV_64FC1);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const double mean = spot.tilt_rad == 0.0 ? along_x[static_cast<std::size_t>(x)] *
                                                     along_y[static_cast<std::size_t>(y)]
                                               : tilted_pixel_mean(spot, x, y);
      light.at<double>(y, x) = spot.peak * mean;
    }
  }
  if (spot.halo_share == 0.0) return light;
  SpotTruth halo = spot;
  halo.peak = spot.halo_share * spot.peak;
  halo.sigma_x_px *= spot.halo_width;
  halo.sigma_y_px *= spot.halo_width;
  halo.halo_share = 0;
  return light + spot_light(size, halo);
}

cv::Mat photograph(const cv::Mat& wall,
                   const cv::Mat& spot,
                   const CameraTruth& camera,
                   std::mt19937_64& random) {
  const cv::Mat noise = unit_noise(wall.size(), camera.smear_px, random);
  cv::Mat picture(wall.size(), CV_8UC1);
  for (int y = 0; y < wall.rows; ++y) {
    for (int x = 0; x < wall.cols; ++x) {
      const double w = wall.at<double>(y, x);
      const double s = spot.at<double>(y, x);
      const double noisy =
          w + s + std::sqrt(variance_of_pixel(w, s, camera)) * noise.at<double>(y, x);
      picture.at<std::uint8_t>(y, x) =
          static_cast<std::uint8_t>(std::lround(std::clamp(noisy, 0.0, 255.0)));
    }
  }
  return picture;
}

cv::Mat photograph_colour(const std::array<cv::Mat, 3>& light,
                          const CameraTruth& camera,
                          std::mt19937_64& random) {
  const cv::Mat none = cv::Mat::zeros(light[0].size(), CV_64FC1);
  std::vector<cv::Mat> planes;
  for (const cv::Mat& plane : light) planes.push_back(photograph(plane, none, camera, random));
  cv::Mat picture;
  cv::merge(planes, picture);
  return picture;
}

CentreBound centre_bound(cv::Size size,
                         const SpotTruth& spot,
                         const PlaneTruth& plane,
                         const CameraTruth& camera) {
  const auto spot_of = [&](const std::array<double, 5>& change) {
    SpotTruth changed = spot;
    changed.peak += change[0];
    changed.x_px += change[1];
    changed.y_px += change[2];
    changed.sigma_x_px += change[3];
    changed.sigma_y_px += change[4];
    return spot_light(size, changed);
  };
  std::vector<cv::Mat> derivatives;
  for (std::size_t k = 0; k < 5; ++k) {
    const double step = 1e-4 * (k == 0 ? spot.peak : 1.0);
    std::array<double, 5> up{};
    std::array<double, 5> down{};
    up[k] = step;
    down[k] = -step;
    derivatives.push_back((spot_of(up) - spot_of(down)) / (2.0 * step));
  }
  derivatives.push_back(plane_light(size, {1.0, 0.0, 0.0}));
  derivatives.push_back(plane_light(size, {0.0, 1.0, 0.0}));
  derivatives.push_back(plane_light(size, {0.0, 0.0, 1.0}));

  const cv::Mat wall = plane_light(size, plane);
  const cv::Mat light = spot_light(size, spot);
  Eigen::Matrix<double, 8, 8> information = Eigen::Matrix<double, 8, 8>::Zero();
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const double w = wall.at<double>(y, x);
      const double s = light.at<double>(y, x);
      const double variance = variance_of_pixel(w, s, camera) + 1.0 / 12.0;
      const double a = (255.0 - w - s) / std::sqrt(variance);
      Eigen::Matrix<double, 8, 1> slope;
      for (int k = 0; k < 8; ++k) {
        slope(k) = derivatives[static_cast<std::size_t>(k)].at<double>(y, x);
      }
      information += censored_information(a) / variance * slope * slope.transpose();
    }
  }
  const Eigen::Matrix<double, 8, 8> covariance = information.inverse();
  return {std::sqrt(covariance(1, 1)), std::sqrt(covariance(2, 2))};
}

cv::Rect square_within(cv::Point2d place_px, double reach_px, cv::Size picture) {
  const int whole_px = static_cast<int>(std::ceil(reach_px));
  const int side_px = 2 * whole_px + 1;
  return cv::Rect(static_cast<int>(std::lround(place_px.x)) - whole_px,
                  static_cast<int>(std::lround(place_px.y)) - whole_px,
                  side_px,
                  side_px) &
         cv::Rect({0, 0}, picture);
}

}  // namespace nightswing::test
