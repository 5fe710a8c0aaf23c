#pragma once

#include <array>
#include <random>

#include <opencv2/core.hpp>

/// Pictures of spots whose centre is known exactly, and how well that centre can be known at best.
/// Nothing here is shared with the program: a pixel's light is the mean of the Gaussian over the
/// pixel by Gauss-Legendre quadrature, not by the error function.
namespace nightswing::test {

/// The pixels of a picture that are no farther than that from the one nearest to a place, along
/// rows and columns.
[[nodiscard]] cv::Rect square_within(cv::Point2d place_px, double reach_px, cv::Size picture);

/// Centre of the top left pixel is (0, 0); peak in counts of the continuous Gaussian.
struct SpotTruth {
  double peak;
  double x_px;
  double y_px;
  double sigma_x_px;
  double sigma_y_px;
  double tilt_rad = 0;    ///< of the axes, from x towards y
  double halo_share = 0;  ///< of the peak: a second Gaussian around the first,
  double halo_width = 3;  ///< so many times as wide
};

/// Level at the middle of the picture and slopes in counts per px.
struct PlaneTruth {
  double level = 0;
  double slope_x_per_px = 0;
  double slope_y_per_px = 0;
};

/// variance of a pixel = read^2 + light / electrons_per_count + (speckle_contrast * spot light)^2,
/// before rounding to whole counts and clipping at 0 and 255.
struct CameraTruth {
  double read_counts = 1.0;
  double electrons_per_count = 0;  ///< 0: no shot noise
  double speckle_contrast = 0;     ///< grain of one pixel
  int smear_px = 1;  ///< the noise is that of the means over so many by so many pixels, as large
};

/// Light in counts, CV_64FC1.
[[nodiscard]] cv::Mat plane_light(cv::Size size, const PlaneTruth& plane);
[[nodiscard]] cv::Mat spot_light(cv::Size size, const SpotTruth& spot);

/// What an 8-bit gray camera makes of the wall's light and the spot's: CV_8UC1.
[[nodiscard]] cv::Mat photograph(const cv::Mat& wall,
                                 const cv::Mat& spot,
                                 const CameraTruth& camera,
                                 std::mt19937_64& random);

/// Three planes of light (blue, green, red), CV_64FC1 each, with the same noise in each: CV_8UC3.
[[nodiscard]] cv::Mat photograph_colour(const std::array<cv::Mat, 3>& light,
                                        const CameraTruth& camera,
                                        std::mt19937_64& random);

/// Smallest possible standard deviation [px] of an unbiased estimate of the centre, when peak, both
/// widths and the background plane are unknown too (tilt and halo are known): Cramer-Rao bound of
/// the pixel model with rounding as noise of variance 1/12. Pixels that clip at 255 are censored:
/// the information of one on its mean m, with standard deviation s and a = (255 - m) / s, is (P(a)
/// - a p(a) + p(a)^2 / (1 - P(a))) / s^2, p and P the normal density and distribution (textbook:
/// information of a sample censored on one side; from memory, limits checked: all for a ->
/// infinity, none for a -> -infinity). Derivatives are taken numerically.
struct CentreBound {
  double x_px;
  double y_px;
};
[[nodiscard]] CentreBound centre_bound(cv::Size size,
                                       const SpotTruth& spot,
                                       const PlaneTruth& plane,
                                       const CameraTruth& camera);

}  // namespace nightswing::test
