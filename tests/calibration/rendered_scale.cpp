#include "rendered_scale.h"

#include <cmath>

#include <opencv2/aruco.hpp>
#include <opencv2/imgproc.hpp>

namespace nightswing::test {
namespace {

enum class Surface : unsigned char { kWall, kPaper, kInk };

/// What is where on the wall.
class Scene {
 public:
  explicit Scene(int columns) : length_mm_(40.0 * columns) {
    const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
    for (int id = 0; id < 2 * columns; ++id) {
      cv::Mat cells;  // one pixel a cell: 4 x 4 bits within a border of one cell
      cv::aruco::drawMarker(dictionary, id, 6, cells, 1);
      markers_.push_back(cells);
    }
  }

  [[nodiscard]] Surface at(calibration::WallPoint p) const {
    if (p.x_mm < 0.0 || p.x_mm > length_mm_ || p.y_mm < -45.0 || p.y_mm > 95.0) {
      return Surface::kWall;
    }
    if (p.y_mm > 68.0 && p.y_mm < 92.0) return marker_at(p.x_mm, 92.0 - p.y_mm, 1);
    if (p.y_mm > -42.0 && p.y_mm < -18.0) return marker_at(p.x_mm, -18.0 - p.y_mm, 0);
    if (p.y_mm <= 0.0 && p.y_mm > -8.0) return tick_at(p);
    return Surface::kPaper;
  }

 private:
  /// down_mm is counted from the upper edge of the row.
  [[nodiscard]] Surface marker_at(double x_mm, double down_mm, int upper) const {
    const double in_column_mm = std::fmod(x_mm, 40.0) - 8.0;
    if (in_column_mm < 0.0 || in_column_mm >= 24.0) return Surface::kPaper;
    const auto column = static_cast<std::size_t>(x_mm / 40.0);
    const cv::Mat& cells = markers_[2 * column + static_cast<std::size_t>(upper)];
    const auto bit = cells.at<unsigned char>(static_cast<int>(down_mm / 4.0),
                                             static_cast<int>(in_column_mm / 4.0));
    return bit == 0 ? Surface::kInk : Surface::kPaper;
  }

  [[nodiscard]] static Surface tick_at(calibration::WallPoint p) {
    const double nearest_mm = std::round(p.x_mm);
    if (std::abs(p.x_mm - nearest_mm) > 0.15) return Surface::kPaper;
    const auto number = static_cast<int>(nearest_mm);
    const double length_mm = number % 10 == 0 ? 8.0 : number % 5 == 0 ? 5.0 : 3.0;
    return -p.y_mm < length_mm ? Surface::kInk : Surface::kPaper;
  }

  double length_mm_;
  std::vector<cv::Mat> markers_;
};

double gray_of(Surface surface, const RenderOptions& options) {
  if (surface == Surface::kInk) return options.ink_dn;
  return surface == Surface::kPaper ? options.paper_dn : options.wall_dn;
}

constexpr int kFine = 3;    // fine pixels along a pixel
constexpr int kPlaces = 8;  // places along a fine pixel where surfaces meet

/// The sharp picture in fine pixels.
cv::Mat fine_picture(const Scene& scene,
                     const cv::Matx33d& wall_from_pixel,
                     const RenderOptions& options,
                     cv::RNG& random) {
  // Fine pixel (0, 0) covers the first ninth of pixel (0, 0), whose corner is at (-0.5, -0.5).
  const auto surface_at = [&](double x, double y) {
    const cv::Vec3d p = wall_from_pixel * cv::Vec3d(x / kFine - 0.5, y / kFine - 0.5, 1.0);
    return scene.at({p[0] / p[2], p[1] / p[2]});
  };
  cv::Mat corners(options.size.height * kFine + 1, options.size.width * kFine + 1, CV_8U);
  for (int y = 0; y < corners.rows; ++y) {
    for (int x = 0; x < corners.cols; ++x) {
      corners.at<unsigned char>(y, x) = static_cast<unsigned char>(surface_at(x, y));
    }
  }
  cv::Mat fine(corners.rows - 1, corners.cols - 1, CV_32F);
  for (int y = 0; y < fine.rows; ++y) {
    for (int x = 0; x < fine.cols; ++x) {
      const unsigned char first = corners.at<unsigned char>(y, x);
      double value = gray_of(static_cast<Surface>(first), options);
      if (first != corners.at<unsigned char>(y, x + 1) ||
          first != corners.at<unsigned char>(y + 1, x) ||
          first != corners.at<unsigned char>(y + 1, x + 1)) {
        const double shift_x = random.uniform(0.0, 1.0);
        const double shift_y = random.uniform(0.0, 1.0);
        value = 0.0;
        for (int i = 0; i < kPlaces * kPlaces; ++i) {
          const int column = i % kPlaces;
          const int row = i / kPlaces;
          value += gray_of(
              surface_at(x + (column + shift_x) / kPlaces, y + (row + shift_y) / kPlaces), options);
        }
        value /= kPlaces * kPlaces;
      }
      fine.at<float>(y, x) = static_cast<float>(value);
    }
  }
  return fine;
}

}  // namespace

cv::Matx33d pixel_from_wall_matrix(const CameraPose& pose, cv::Size size) {
  const double cy = std::cos(pose.yaw_rad);
  const double sy = std::sin(pose.yaw_rad);
  const double cp = std::cos(pose.pitch_rad);
  const double sp = std::sin(pose.pitch_rad);
  const double cr = std::cos(pose.roll_rad);
  const double sr = std::sin(pose.roll_rad);
  const cv::Matx33d yaw(cy, 0, sy, 0, 1, 0, -sy, 0, cy);
  const cv::Matx33d pitch(1, 0, 0, 0, cp, -sp, 0, sp, cp);
  const cv::Matx33d roll(cr, -sr, 0, sr, cr, 0, 0, 0, 1);
  const cv::Matx33d rotation = roll * pitch * yaw;
  // Wall y points up, picture y down; the wall is the plane z = 0 through the aim.
  const cv::Matx33d wall_frame(1, 0, -pose.aim.x_mm, 0, -1, pose.aim.y_mm, 0, 0, 1);
  const cv::Matx33d placed(rotation(0, 0),
                           rotation(0, 1),
                           0,  //
                           rotation(1, 0),
                           rotation(1, 1),
                           0,  //
                           rotation(2, 0),
                           rotation(2, 1),
                           pose.distance_mm);
  const cv::Matx33d camera(pose.focal_px,
                           0,
                           (size.width - 1) / 2.0,  //
                           0,
                           pose.focal_px,
                           (size.height - 1) / 2.0,  //
                           0,
                           0,
                           1);
  return camera * placed * wall_frame;
}

calibration::PixelPoint project(const cv::Matx33d& pixel_from_wall, calibration::WallPoint wall) {
  const cv::Vec3d p = pixel_from_wall * cv::Vec3d(wall.x_mm, wall.y_mm, 1.0);
  return {p[0] / p[2], p[1] / p[2]};
}

calibration::WallPoint unproject(const cv::Matx33d& pixel_from_wall,
                                 calibration::PixelPoint pixel) {
  const cv::Vec3d p = pixel_from_wall.inv() * cv::Vec3d(pixel.x_px, pixel.y_px, 1.0);
  return {p[0] / p[2], p[1] / p[2]};
}

CameraPose random_pose(cv::RNG& random, double most_rad) {
  return {.yaw_rad = random.uniform(-most_rad, most_rad),
          .pitch_rad = random.uniform(-most_rad, most_rad),
          .roll_rad = random.uniform(-most_rad / 3.0, most_rad / 3.0),
          .distance_mm = random.uniform(330.0, 420.0),
          .aim = {random.uniform(110.0, 130.0), random.uniform(15.0, 35.0)}};
}

cv::Mat render_scale(const cv::Matx33d& pixel_from_wall, const RenderOptions& options) {
  const Scene scene(options.columns);
  cv::RNG random(options.seed);
  cv::Mat fine = fine_picture(scene, pixel_from_wall.inv(), options, random);
  // Blur before the sum over the pixel's square, as a lens does. Blur of the finished pixels would
  // make the profile of an edge a broken line, which shifts it by up to 0.02 px with its place in
  // the pixel.
  cv::GaussianBlur(fine, fine, {}, options.blur_px * kFine);
  cv::Mat picture;
  cv::resize(fine, picture, options.size, 0.0, 0.0, cv::INTER_AREA);
  for (int x = 0; x < picture.cols; ++x) {
    picture.col(x) *= 1.0 - options.shading * x / options.size.width;
  }
  for (const cv::Rect& rectangle : options.covered) cv::rectangle(picture, rectangle, 95.0, -1);
  cv::Mat noise(options.size, CV_32F);
  random.fill(noise, cv::RNG::NORMAL, 0.0, options.noise_dn);
  picture += noise;
  cv::Mat stored;
  picture.convertTo(stored, CV_8U);  // rounds and saturates
  return stored;
}

}  // namespace nightswing::test
