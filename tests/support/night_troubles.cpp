#include "tests/support/night_troubles.h"

#include <algorithm>
#include <cmath>

namespace nightswing::test {

Trouble reflection(double peak, double x_px, double sigma_px) {
  return [=](int, ScenePicture& picture, std::mt19937_64&) {
    add_light(picture.light, peak, x_px, 135.6, sigma_px);
  };
}

Trouble moving_ghost(double share, double gain) {
  return [=](int, ScenePicture& picture, std::mt19937_64&) {
    const double x_px = 250.0 + gain * (picture.spot_x_px - 240.0);
    add_light(picture.light, share * kSceneSpotPeak, x_px, 134.5, kSceneSpotSigma_px);
  };
}

void lamp_and_dawn(int frame, ScenePicture& picture, std::mt19937_64&) {
  if ((frame >= 400 && frame < 800) || (frame >= 1200 && frame < 1300)) picture.light *= 2.1;
  if (frame >= 1400) picture.light += 0.1 * (frame - 1400);
}

void hot_pixels(int, ScenePicture& picture, std::mt19937_64& random) {
  std::mt19937_64 fixed(4);
  std::uniform_int_distribution<int> x(0, kSceneSize.width - 1);
  std::uniform_int_distribution<int> y(0, kSceneSize.height - 1);
  for (int k = 0; k < 60; ++k) picture.light.at<float>(y(fixed), x(fixed)) += 180.0F;
  for (int k = 0; k < 10; ++k) picture.light.at<float>(y(random), x(random)) += 150.0F;
}

void person(int frame, ScenePicture& picture, std::mt19937_64&) {
  const int walk = frame % 300 - 100;
  if (walk < 0 || walk >= 25) return;
  const int left_px = -110 + walk * (kSceneSize.width + 110) / 25;
  const cv::Rect body = cv::Rect(left_px, 30, 110, 240) & cv::Rect({0, 0}, kSceneSize);
  cv::Mat shaded = picture.light(body);
  shaded *= 0.35;
  const double from_body_px =
      std::max(left_px - picture.spot_x_px, picture.spot_x_px - (left_px + 110));
  if (from_body_px < 0) picture.spot_share = 0.0;  // the body is nearer than the wall: no spot
  if (from_body_px < 4 * kSceneSpotSigma_px) picture.visible = false;
}

void torch(int frame, ScenePicture& picture, std::mt19937_64&) {
  const int play = frame % 250 - 120;
  if (play < 0 || play >= 40) return;
  const int times = frame / 250;
  const double x_px = 240 + 180 * std::sin(0.31 * play + times);
  const double y_px = 120 + 60 * std::sin(0.47 * play);
  add_light(picture.light, 150, x_px, y_px, 9.0 + 9.0 * (times % 2));
  const double apart_px = std::hypot(x_px - picture.spot_x_px, y_px - picture.spot_y_px);
  if (apart_px < 60) picture.visible = false;  // within its light
}

void black_frames(int frame, ScenePicture& picture, std::mt19937_64&) {
  if (frame % 150 < 142) return;
  picture.light *= 0.0;
  picture.spot_share = 0.0;
}

void exposure(int frame, ScenePicture& picture, std::mt19937_64&) {
  const int step = frame / 170 % 4;
  picture.gain = step == 1 ? 0.6 : step == 3 ? 1.5 : 1.0;
}

}  // namespace nightswing::test
