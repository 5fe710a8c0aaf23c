#pragma once

#include <string>
#include <vector>

#include "calibration/map/map_quality.h"
#include "calibration/map/wall_map.h"
#include "tests/calibration/scale/rendered_scale.h"

/// Rendered views of the printed scale, read and mapped, against the truth of the renderer.
namespace nightswing::test {

struct ScaleTrial {
  CameraPose pose;
  RenderOptions options;
  int film_frames = 0;  ///< 0 = one picture as it is; else the mean of so many frames of an H.264
                        ///< film of low rate, as a camera stores it
  bool second_is_true = false;  ///< the bar of the second sheet measures what it must, and that of
                                ///< the first does not, if the second was printed larger
};

/// What is drawn, each evenly: tilt up to most_tilt_rad in any direction, distance and aim so that
/// most of the scale is in view at 1280 x 720, k1 from -0.12 to 0.05, blur 0.5 to 2 px, noise 1 to
/// 6 counts, paper 40 to 250 counts; the lens's centre within some 10 px of the middle (normal); a
/// second sheet taped within 0.3 mm and 1 mrad (normal).
/// Two sheets besides, all assumed: the second is larger by 0(5e-4), as one that is damper by some
/// 5 % of relative humidity (paper grows by about 1e-4 for each, from memory); either end of each
/// sheet stands off by |0(0.2) mm|, which two layers of tape and the waves of a taped sheet are,
/// and of that the difference between the sheets counts; and each says that its own bar must
/// measure 200 mm, so that the bar of either may be the one that was measured, with equal chance.
ScaleTrial random_trial(cv::RNG& random, int pages, double most_tilt_rad);

struct ScaleOutcome {
  bool mapped = false;
  std::string message;       ///< why not, or what was noted
  double error = 0.0;        ///< relative, of the displacement along the path
  double u = 0.0;            ///< stated, of the same
  double inner_error = 0.0;  ///< relative, of a third of the path inside it over the whole path
  double inner_u = 0.0;      ///< stated, of the same
  double correlation = 0.0;  ///< stated, of the two
  calibration::WallMap map;
};

/// The path lies at y = +35 mm and takes the middle 60 % of what is visible of the scale there.
ScaleOutcome judge_picture(const ScaleTrial& trial, const cv::Mat& picture);

/// Renders, and films if asked to.
cv::Mat picture_of(const ScaleTrial& trial);

ScaleOutcome run_trial(const ScaleTrial& trial);

struct ScaleStatistics {
  int views = 0;
  int refused = 0;
  double error_rms = 0.0;
  double error_worst = 0.0;
  double pull = 0.0;        ///< root mean square of error / u
  double inner_pull = 0.0;  ///< likewise
};

ScaleStatistics statistics_of(const std::vector<ScaleOutcome>& outcomes);

}  // namespace nightswing::test
