#include "demo_video/wall_film.h"

#include <cmath>

#include "demo_video/camera_mount.h"
#include "demo_video/spot_renderer.h"
#include "demo_video/wall_renderer.h"

namespace nightswing::demo {
namespace {

constexpr double kStepPx = 0.25;

}  // namespace

const cv::Mat& WallFilm::exact(int step, bool bumped) {
  const auto found = exact_.find({bumped, step});
  if (found != exact_.end()) return found->second;
  const CameraView view = view_with(settings_, step * kStepPx, bumped);
  cv::Mat wall = render_wall(settings_, view);
  add_reflection(wall, view, settings_.spot);
  return exact_[{bumped, step}] = wall;
}

cv::Mat WallFilm::light_at(double t_s) {
  const bool bumped = is_bumped(settings_.mount, t_s);
  const double steps = creep_px_at(settings_, t_s) / kStepPx;
  const int step = cvFloor(steps);
  std::erase_if(exact_, [&](const auto& entry) {
    return entry.first.first != bumped || std::abs(entry.first.second - step) > 1;
  });
  const double share = steps - step;
  if (share == 0) return exact(step, bumped).clone();
  return exact(step, bumped) * (1 - share) + exact(step + 1, bumped) * share;
}

}  // namespace nightswing::demo
