#pragma once

#include <functional>
#include <random>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

/// A swinging spot on a dim wall with marks on it, in pictures that one fault after the other makes
/// difficult. The spot's place is known, and so is whether it can be seen.
namespace nightswing::test {

/// What is in one picture besides the wall.
struct ScenePicture {
  cv::Mat light;         ///< CV_32FC1, counts: the wall without the spot, to be changed
  double spot_x_px = 0;  ///< may be changed
  double spot_y_px = 0;
  double spot_share = 1;  ///< of the spot's usual light; 0: not there
  double gain = 1;        ///< of everything, as automatic exposure does it
  bool visible = true;    ///< whether the spot should be measured
};

using Trouble = std::function<void(int frame, ScenePicture& picture, std::mt19937_64& random)>;

struct TroubledNight {
  std::vector<Trouble> troubles{};
  int frames = 2000;
  double amplitude_px = 150;
  double period_frames = 120;
  int first_phase = 0;  ///< frames; where the swing begins
  /// ffmpeg's options for a film that the pictures go through, such as `-c:v libx264 -crf 23`;
  /// empty: they are measured as the camera gives them
  std::string encoding{};
  std::uint64_t seed = 1;
};

/// How a night was measured. Wrong: more than 5 stated uncertainties and 0.3 px off.
struct NightOutcome {
  int visible = 0;
  int visible_measured = 0;
  int measured = 0;
  int wrong = 0;
  int longest_wrong = 0;  ///< in a row
  double worst_px = 0;
  double rms_px = 0;       ///< of x, over the right ones
  double pull_width = 0;   ///< root mean square of error / uncertainty in x, over the right ones
  std::string failures{};  ///< frame numbers of wrong and missing ones, for finding out why
};

/// Runs a new finder over the night.
[[nodiscard]] NightOutcome run_night(const TroubledNight& night);

/// Adds a Gaussian light.
void add_light(cv::Mat& light, double peak, double x_px, double y_px, double sigma_px);

extern const cv::Size kSceneSize;
constexpr double kSceneSpotSigma_px = 4.0;
constexpr double kSceneSpotPeak = 110.0;

}  // namespace nightswing::test
