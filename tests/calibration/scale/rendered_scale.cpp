#include "tests/calibration/scale/rendered_scale.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <opencv2/aruco.hpp>
#include <opencv2/imgproc.hpp>

#include "tests/support/synthetic_spot.h"

namespace nightswing::test {
namespace {

enum class Surface : unsigned char { kWall, kPaper, kInk };

/// What is where on the wall.
class Scene {
 public:
  explicit Scene(const RenderOptions& options)
      : length_mm_(40.0 * options.columns),
        joint_(options.joint),
        joint_mm_(40.0 * options.joint.first_column),
        along_(std::cos(joint_.turn_rad) / (1.0 + joint_.larger)),
        across_(std::sin(joint_.turn_rad) / (1.0 + joint_.larger)),
        clutter_(options.clutter) {
    if (joint_mm_ < length_mm_) {
      const double steepness = (joint_.far_mm - joint_.near_mm) / (length_mm_ - joint_mm_);
      lengthening_ = std::hypot(1.0, steepness);
    }
    const int columns = options.columns;
    const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
    for (int id = 0; id < 2 * columns; ++id) {
      cv::Mat cells;  // one pixel a cell: 4 x 4 bits within a border of one cell
      cv::aruco::drawMarker(dictionary, id, 6, cells, 1);
      markers_.push_back(cells);
    }
  }

  [[nodiscard]] Surface at(calibration::WallPoint p) const {
    if (joint_mm_ < length_mm_) {
      const calibration::WallPoint on_second = unjoined(p);
      if (on_second.x_mm >= joint_mm_) return on_paper(on_second);
      if (p.x_mm >= joint_mm_) return Surface::kWall;  // the gap
    }
    return on_paper(p);
  }

 private:
  /// Where on the paper the second sheet has what hangs at p.
  [[nodiscard]] calibration::WallPoint unjoined(calibration::WallPoint p) const {
    const double x_mm = p.x_mm - joint_mm_ - joint_.right_mm;
    const double y_mm = p.y_mm - joint_.up_mm;
    return {joint_mm_ + (along_ * x_mm + across_ * y_mm) * lengthening_,
            -across_ * x_mm + along_ * y_mm};
  }

  [[nodiscard]] Surface on_paper(calibration::WallPoint p) const {
    if (p.x_mm < 0.0 || p.x_mm > length_mm_ || p.y_mm < -45.0 || p.y_mm > 95.0) {
      return clutter_ ? clutter_at(p) : Surface::kWall;
    }
    if (p.y_mm > 68.0 && p.y_mm < 92.0) return marker_at(p.x_mm, 92.0 - p.y_mm, 1);
    if (p.y_mm > -42.0 && p.y_mm < -18.0) return marker_at(p.x_mm, -18.0 - p.y_mm, 0);
    if (p.y_mm <= 0.0 && p.y_mm > -8.0) return tick_at(p);
    return Surface::kPaper;
  }

  /// Graph paper with lines every 5 mm below, lines of words right of the scale.
  [[nodiscard]] Surface clutter_at(calibration::WallPoint p) const {
    const auto phase = [](double value, double period) {
      return value - period * std::floor(value / period);
    };
    if (p.y_mm < -50.0) {
      const bool line = phase(p.x_mm, 5.0) < 0.6 || phase(p.y_mm, 5.0) < 0.6;
      return line ? Surface::kInk : Surface::kPaper;
    }
    if (p.x_mm < length_mm_ + 5.0) return Surface::kWall;
    if (phase(p.y_mm, 6.0) > 3.0) return Surface::kPaper;
    // Letters of 2 mm, drawn or not by a hash of row and column.
    const auto row = static_cast<std::uint32_t>(std::floor(p.y_mm / 6.0) + 100.0);
    const auto column = static_cast<std::uint32_t>(std::floor(p.x_mm / 1.0) + 100.0);
    const std::uint32_t hash = (row * 2654435761U) ^ (column * 2246822519U);
    return (hash >> 13U) % 3U != 0U ? Surface::kInk : Surface::kPaper;
  }

  /// down_mm is counted from the upper edge of the row.
  [[nodiscard]] Surface marker_at(double x_mm, double down_mm, int upper) const {
    const auto column = static_cast<std::size_t>(x_mm / 40.0);
    const double in_column_mm = x_mm - 40.0 * static_cast<double>(column) - 8.0;
    if (in_column_mm < 0.0 || in_column_mm >= 24.0) return Surface::kPaper;
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
  Joint joint_;
  double joint_mm_;
  double along_;              // what a millimetre on the wall is along the second sheet,
  double across_;             // and across it
  double lengthening_ = 1.0;  // how much longer that sheet is than what it covers of the wall
  bool clutter_;
  std::vector<cv::Mat> markers_;
};

double gray_of(Surface surface, const RenderOptions& options) {
  if (surface == Surface::kInk) return options.ink_dn;
  return surface == Surface::kPaper ? options.paper_dn : options.wall_dn;
}

/// Of the plane of the second sheet.
double sheet_height_mm(const RenderOptions& options, double x_mm) {
  const double from_mm = 40.0 * options.joint.first_column;
  const double share = (x_mm - from_mm) / (40.0 * options.columns - from_mm);
  return std::lerp(options.joint.near_mm, options.joint.far_mm, share);
}

bool is_on_second_sheet(const RenderOptions& options, double x_mm) {
  return options.joint.first_column < options.columns && x_mm >= 40.0 * options.joint.first_column;
}

double height_mm(const RenderOptions& options, double x_mm) {
  const double share = std::clamp(x_mm / (40.0 * options.columns), 0.0, 1.0);
  const double sheet_mm = is_on_second_sheet(options, x_mm) ? sheet_height_mm(options, x_mm) : 0.0;
  return options.bulge.middle_mm * std::sin(std::numbers::pi * share) +
         options.bulge.end_mm * share + sheet_mm;
}

/// The place on a lifted surface that the line from the eye to `wall` meets first: along that line
/// what lies h above the wall appears displaced from the foot of the eye.
calibration::WallPoint met_on(double (*surface_mm)(const RenderOptions&, double),
                              const RenderOptions& options,
                              calibration::WallPoint wall) {
  calibration::WallPoint place = wall;
  constexpr double kSettled_mm = 1e-9;
  for (int i = 0; i < 20; ++i) {  // each step lowers the error by height times slope over distance
    const double way = surface_mm(options, place.x_mm) / options.eye_mm[2];
    const double before_mm = place.x_mm;
    place = {wall.x_mm + way * (options.eye_mm[0] - wall.x_mm),
             wall.y_mm + way * (options.eye_mm[1] - wall.y_mm)};
    if (std::abs(place.x_mm - before_mm) < kSettled_mm) break;  // the slope is along x alone
  }
  return place;
}

/// The place on the lifted paper, if it is lifted; the second sheet, standing off, is in front.
calibration::WallPoint on_lifted(const RenderOptions& options, calibration::WallPoint wall) {
  if (options.joint.near_mm != 0.0 || options.joint.far_mm != 0.0) {
    const calibration::WallPoint place = met_on(sheet_height_mm, options, wall);
    return is_on_second_sheet(options, place.x_mm) ? place : wall;
  }
  if (options.bulge.middle_mm == 0.0 && options.bulge.end_mm == 0.0) return wall;
  return met_on(height_mm, options, wall);
}

cv::Point2d lens_centre(const RenderOptions& options) {
  return cv::Point2d((options.size.width - 1) / 2.0, (options.size.height - 1) / 2.0) +
         options.lens.offset_px;
}

double half_diagonal(const RenderOptions& options) {
  return std::hypot(options.size.width, options.size.height) / 2.0;
}

/// What brings a stored pixel to the pinhole's, from the lens's centre: r / stored, where
/// r (1 + k1 r^2) = stored, by Newton's steps.
double straightening(double k1, double stored) {
  double r = stored;
  for (int i = 0; i < 6; ++i) {
    const double k1_r2 = k1 * r * r;
    r -= (r * (1.0 + k1_r2) - stored) / (1.0 + 3.0 * k1_r2);
  }
  return stored > 0.0 ? r / stored : 1.0;
}

/// The pinhole's pixel of a stored one.
calibration::PixelPoint pinhole_pixel(const RenderOptions& options, calibration::PixelPoint p) {
  const cv::Point2d centre = lens_centre(options);
  const double stored = std::hypot(p.x_px - centre.x, p.y_px - centre.y) / half_diagonal(options);
  const double factor = straightening(options.lens.k1, stored);
  return {centre.x + factor * (p.x_px - centre.x), centre.y + factor * (p.y_px - centre.y)};
}

/// The same for millions of pixels, from a table over the squares of the distances, between whose
/// entries it is straight to some 1e-9.
class Straightener {
 public:
  explicit Straightener(const RenderOptions& options)
      : centre_(lens_centre(options)), scale_(kEntries / std::pow(half_diagonal(options), 2)) {
    if (options.lens.k1 == 0.0) return;
    for (int k = 0; k < kMost * kEntries; ++k) {
      factors_.push_back(straightening(options.lens.k1, std::sqrt(k / kEntries)));
    }
  }

  [[nodiscard]] calibration::PixelPoint operator()(double x_px, double y_px) const {
    if (factors_.empty()) return {x_px, y_px};
    const double x = x_px - centre_.x;
    const double y = y_px - centre_.y;
    const double place = scale_ * (x * x + y * y);
    const std::size_t entry = std::min(static_cast<std::size_t>(place), factors_.size() - 2);
    const double next = place - static_cast<double>(entry);
    const double factor = factors_[entry] + next * (factors_[entry + 1] - factors_[entry]);
    return {centre_.x + factor * x, centre_.y + factor * y};
  }

 private:
  static constexpr double kEntries = 4096;  // for the square of a half diagonal
  static constexpr int kMost = 4;           // of these: the lens's centre is well inside

  cv::Point2d centre_;
  double scale_;
  std::vector<double> factors_;  // none of a lens that is straight
};

constexpr int kFine = 3;    // fine pixels along a pixel
constexpr int kPlaces = 8;  // places along a fine pixel where surfaces meet

/// The sharp picture in fine pixels.
cv::Mat fine_picture(const Scene& scene,
                     const cv::Matx33d& wall_from_pixel,
                     const RenderOptions& options,
                     cv::RNG& random) {
  const Straightener straight(options);
  // Fine pixel (0, 0) covers the first ninth of pixel (0, 0), whose corner is at (-0.5, -0.5).
  const auto surface_at = [&](double x, double y) {
    const auto [u, v] = straight(x * (1.0 / kFine) - 0.5, y * (1.0 / kFine) - 0.5);
    const auto row = [&wall_from_pixel, u = u, v = v](int i) {
      return wall_from_pixel(i, 0) * u + wall_from_pixel(i, 1) * v + wall_from_pixel(i, 2);
    };
    const double nearness = 1.0 / row(2);
    return scene.at(on_lifted(options, {row(0) * nearness, row(1) * nearness}));
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

void add_light(const Light& light, cv::Mat& picture) {
  // At eight sigma 1e-14 of the peak is left.
  const cv::Rect area =
      square_within({light.centre.x_px, light.centre.y_px}, 8.0 * light.sigma_px, picture.size());
  for (int y = area.y; y < area.y + area.height; ++y) {
    for (int x = area.x; x < area.x + area.width; ++x) {
      const double dx = (x - light.centre.x_px) / light.sigma_px;
      const double dy = (y - light.centre.y_px) / light.sigma_px;
      picture.at<float>(y, x) +=
          static_cast<float>(light.peak_dn * std::exp(-(dx * dx + dy * dy) / 2.0));
    }
  }
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

cv::Vec3d eye_of(const CameraPose& pose) {
  // The camera looks along (sin yaw, ...) of its rotation's third row, back along it to the eye.
  const double x = -std::sin(pose.yaw_rad) * std::cos(pose.pitch_rad);
  const double y = std::sin(pose.pitch_rad);
  const double z = std::cos(pose.pitch_rad) * std::cos(pose.yaw_rad);
  return {pose.aim.x_mm - pose.distance_mm * x,
          pose.aim.y_mm + pose.distance_mm * y,
          pose.distance_mm * z};
}

calibration::PixelPoint seen_at(const cv::Matx33d& pixel_from_wall,
                                const RenderOptions& options,
                                calibration::WallPoint wall) {
  const double lifted_mm = height_mm(options, wall.x_mm);
  const double beyond = lifted_mm / (options.eye_mm[2] - lifted_mm);  // from the eye to the wall
  const calibration::WallPoint behind{wall.x_mm + beyond * (wall.x_mm - options.eye_mm[0]),
                                      wall.y_mm + beyond * (wall.y_mm - options.eye_mm[1])};
  const calibration::PixelPoint p = project(pixel_from_wall, lifted_mm != 0.0 ? behind : wall);
  const cv::Point2d centre = lens_centre(options);
  const double r = std::hypot(p.x_px - centre.x, p.y_px - centre.y) / half_diagonal(options);
  const double factor = 1.0 + options.lens.k1 * r * r;
  return {centre.x + factor * (p.x_px - centre.x), centre.y + factor * (p.y_px - centre.y)};
}

calibration::WallPoint shown_by(const cv::Matx33d& pixel_from_wall,
                                const RenderOptions& options,
                                calibration::PixelPoint pixel) {
  return unproject(pixel_from_wall, pinhole_pixel(options, pixel));
}

CameraPose random_pose(cv::RNG& random, double most_rad) {
  return {.yaw_rad = random.uniform(-most_rad, most_rad),
          .pitch_rad = random.uniform(-most_rad, most_rad),
          .roll_rad = random.uniform(-most_rad / 3.0, most_rad / 3.0),
          .distance_mm = random.uniform(330.0, 420.0),
          .aim = {random.uniform(110.0, 130.0), random.uniform(15.0, 35.0)}};
}

cv::Mat noiseless_scale(const cv::Matx33d& pixel_from_wall, const RenderOptions& options) {
  const Scene scene(options);
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
  for (const Light& light : options.lights) add_light(light, picture);
  return picture;
}

cv::Mat photograph(const cv::Mat& light, double noise_dn, cv::RNG& random) {
  cv::Mat noise(light.size(), CV_32F);
  random.fill(noise, cv::RNG::NORMAL, 0.0, noise_dn);
  cv::Mat stored;
  cv::Mat(light + noise).convertTo(stored, CV_8U);  // rounds and saturates
  return stored;
}

cv::Mat render_scale(const cv::Matx33d& pixel_from_wall, const RenderOptions& options) {
  cv::RNG random(options.seed * 2654435761U + 1U);
  return photograph(noiseless_scale(pixel_from_wall, options), options.noise_dn, random);
}

}  // namespace nightswing::test
