#include "demo_video/spot_renderer.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace nightswing::demo {
namespace {

struct Profile {
  int first;
  std::vector<double> share;
};

// Mean of exp(-(x - centre)^2 / 2 sigma^2) over each pixel from i - 1/2 to i + 1/2.
Profile profile_along(double centre_px, double sigma_px, int size_px) {
  const int first = std::max(0, cvFloor(centre_px - 6 * sigma_px));
  const int last = std::min(size_px - 1, cvCeil(centre_px + 6 * sigma_px));
  Profile profile{first, {}};
  const double root = std::sqrt(2.0) * sigma_px;
  const double area = sigma_px * std::sqrt(std::numbers::pi / 2);
  for (int i = first; i <= last; ++i) {
    profile.share.push_back(
        area * (std::erf((i + 0.5 - centre_px) / root) - std::erf((i - 0.5 - centre_px) / root)));
  }
  return profile;
}

cv::Vec3d colour_of(const Spot& spot, double red_dn) {
  return {spot.blue_share * red_dn, spot.green_share * red_dn, red_dn};
}

}  // namespace

void add_blot(cv::Mat& picture, const Blot& blot) {
  CV_Assert(picture.type() == CV_32FC3);
  const Profile across = profile_along(blot.centre.x_px, blot.sigma_x_px, picture.cols);
  const Profile down = profile_along(blot.centre.y_px, blot.sigma_y_px, picture.rows);
  for (std::size_t j = 0; j < down.share.size(); ++j) {
    auto* row = picture.ptr<cv::Vec3f>(down.first + static_cast<int>(j));
    for (std::size_t i = 0; i < across.share.size(); ++i) {
      const cv::Vec3d light = blot.peak_dn * (down.share[j] * across.share[i]);
      row[across.first + static_cast<int>(i)] += cv::Vec3f(light);
    }
  }
}

void add_spot(cv::Mat& picture, const CameraView& view, const Spot& spot, const WallPlace& place) {
  const PixelPlace centre = view.pixel_from_wall(place);
  const cv::Vec2d scale = view.px_per_mm(place);
  add_blot(picture,
           {centre,
            spot.sigma_x_mm * scale[0],
            spot.sigma_y_mm * scale[1],
            colour_of(spot, spot.peak_dn)});
  add_blot(picture,
           {centre,
            spot.halo_sigma_mm * scale[0],
            spot.halo_sigma_mm * scale[1],
            colour_of(spot, spot.halo_share * spot.peak_dn)});
}

void add_reflection(cv::Mat& picture, const CameraView& view, const Spot& spot) {
  if (spot.reflection_share == 0) return;
  const WallPlace place{spot.reflection_x_mm, spot.reflection_y_mm};
  const cv::Vec2d scale = view.px_per_mm(place);
  add_blot(picture,
           {view.pixel_from_wall(place),
            spot.sigma_x_mm * scale[0],
            spot.sigma_y_mm * scale[1],
            colour_of(spot, spot.reflection_share * spot.peak_dn)});
}

}  // namespace nightswing::demo
