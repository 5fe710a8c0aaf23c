#include "demo_video/wall_renderer.h"

#include <algorithm>
#include <cmath>
#include <random>

#include <opencv2/imgproc.hpp>

#include "demo_video/printed_scale.h"
#include "demo_video/random_stream.h"

namespace nightswing::demo {
namespace {

// Reflectances against white paper = 1: blue, green, red.
const cv::Vec3f kPaper(0.97F, 1.0F, 1.0F);
const cv::Vec3f kInk(0.09F, 0.09F, 0.09F);
const cv::Vec3f kPaint(0.555F, 0.575F, 0.60F);
const cv::Vec3f kRuler(0.42F, 0.68F, 0.80F);
const cv::Vec3f kTape(0.60F, 0.74F, 0.78F);

// The ordinary ruler hangs upside up below the paper, its ticks at the upper edge.
constexpr double kRulerLeftMm = 62, kRulerTopMm = -58, kRulerHeightMm = 26, kRulerLengthMm = 300;
constexpr double kRulerEndMm = 4;  // bare wood before the first tick
constexpr std::array<double, 3> kRulerTicksMm = {4, 6, 8};
constexpr double kRulerNumeralsMm = 10, kRulerNumeralHeightMm = 4, kRulerNumeralPxPerMm = 12;

cv::Vec3f mixed(const cv::Vec3f& under, const cv::Vec3f& over, double share) {
  const float part = static_cast<float>(share);
  return under * (1 - part) + over * part;
}

class WallSurface {
 public:
  explicit WallSurface(const Wall& wall)
      : factor_(wall.scale_factor),
        scale_(wall.scale_columns),
        ruler_numerals_(
            numeral_strip(kRulerLengthMm, kRulerNumeralHeightMm, kRulerNumeralPxPerMm)) {}

  [[nodiscard]] cv::Vec3f reflectance(const WallPlace& place) const {
    cv::Vec3f colour = kPaint * static_cast<float>(shade(place));
    if (on_ruler(place)) colour = ruler_colour(place);
    const double x_printed = place.x_mm / factor_, y_printed = place.y_mm / factor_;
    if (x_printed >= 0 && x_printed <= scale_.length_mm() && y_printed >= PrintedScale::kBottomMm &&
        y_printed <= PrintedScale::kTopMm) {
      colour = mixed(kPaper, kInk, scale_.ink(x_printed, y_printed));
    }
    return on_tape(place) ? mixed(colour, kTape, 0.7) : colour;
  }

 private:
  // Soft shadow that the edge of the paper throws on the wall below it.
  [[nodiscard]] double shade(const WallPlace& place) const {
    const double below_mm = PrintedScale::kBottomMm - place.y_mm;
    const bool beside = place.x_mm < 0 || place.x_mm > scale_.length_mm() * factor_;
    if (beside || below_mm < 0 || below_mm > 3) return 1;
    return 0.8 + 0.2 * below_mm / 3;
  }

  static bool on_ruler(const WallPlace& place) {
    return place.y_mm <= kRulerTopMm && place.y_mm >= kRulerTopMm - kRulerHeightMm &&
           place.x_mm >= kRulerLeftMm - kRulerEndMm &&
           place.x_mm <= kRulerLeftMm + kRulerLengthMm + kRulerEndMm;
  }

  [[nodiscard]] cv::Vec3f ruler_colour(const WallPlace& place) const {
    const double x = place.x_mm - kRulerLeftMm, depth = kRulerTopMm - place.y_mm;
    const bool inside = x > -0.5 && x < kRulerLengthMm + 0.5;
    const int column = cvFloor(x * kRulerNumeralPxPerMm);
    const int row = cvFloor((depth - kRulerNumeralsMm) * kRulerNumeralPxPerMm);
    const bool numeral = row >= 0 && row < ruler_numerals_.rows && column >= 0 &&
                         column < ruler_numerals_.cols &&
                         ruler_numerals_.at<unsigned char>(row, column) > 127;
    const bool dark = numeral || (inside && tick_ink(x, depth, 0.2, kRulerTicksMm));
    return dark ? kInk : kRuler;
  }

  // Strips of tape: on the four corners of the paper and at both ends of the ruler.
  [[nodiscard]] bool on_tape(const WallPlace& place) const {
    const double end_mm = scale_.length_mm() * factor_;
    const double top_mm = PrintedScale::kTopMm, bottom_mm = PrintedScale::kBottomMm;
    // The tape keeps 4 mm away from the markers, which begin 8 mm from the edges.
    for (const double x_mm : {-13.0, end_mm - 4.0}) {
      for (const double y_mm : {top_mm - 6.5, bottom_mm - 5.5}) {
        if (inside(place, x_mm, y_mm, 17, 12)) return true;
      }
    }
    return inside(place, kRulerLeftMm - 14, kRulerTopMm - 20, 13, 14) ||
           inside(place, kRulerLeftMm + kRulerLengthMm + 1, kRulerTopMm - 20, 13, 14);
  }

  static bool inside(const WallPlace& place, double x_mm, double y_mm, double w_mm, double h_mm) {
    return place.x_mm >= x_mm && place.x_mm <= x_mm + w_mm && place.y_mm >= y_mm &&
           place.y_mm <= y_mm + h_mm;
  }

  double factor_;
  PrintedScale scale_;
  cv::Mat ruler_numerals_;
};

// Relative brightness of the paint, coarse and fine, from smoothed random numbers; mean 1.
cv::Mat paint_texture(const NightSettings& settings, double px_per_mm) {
  const cv::Size size(settings.camera.width_px, settings.camera.height_px);
  cv::Mat sum = cv::Mat::zeros(size, CV_32F);
  auto random = random_stream(settings.seed, Chance::kPaint);
  std::normal_distribution<float> normal;
  for (const double grain_mm : {0.6, 5.0}) {
    cv::Mat layer(size, CV_32F);
    std::generate(layer.begin<float>(), layer.end<float>(), [&] { return normal(random); });
    cv::GaussianBlur(layer, layer, {}, grain_mm * px_per_mm, 0, cv::BORDER_REFLECT);
    cv::Scalar mean, deviation;
    cv::meanStdDev(layer, mean, deviation);
    sum += (layer - mean[0]) / deviation[0] / std::sqrt(2.0);
  }
  return 1 + settings.wall.texture_contrast * sum;
}

// Brightness of the paint at a place of the picture that it was drawn in.
float texture_at(const cv::Mat& texture, const PixelPlace& place) {
  // Rounding shall not mix pixels where the picture is that very one.
  const auto snapped = [](double value, int size) {
    const double whole = std::round(value);
    return std::clamp(std::abs(value - whole) < 1e-6 ? whole : value, 0.0, size - 1.0);
  };
  const double x = snapped(place.x_px, texture.cols), y = snapped(place.y_px, texture.rows);
  const int left = std::min(cvFloor(x), texture.cols - 2);
  const int top = std::min(cvFloor(y), texture.rows - 2);
  const float across = static_cast<float>(x - left), down = static_cast<float>(y - top);
  const auto row = [&](int k) {
    const float* value = texture.ptr<float>(top + k) + left;
    return value[0] * (1 - across) + value[1] * across;
  };
  return row(0) * (1 - down) + row(1) * down;
}

// The room's little light comes from the upper left.
double illumination(const WallPlace& place, const Camera& camera) {
  const double x = (place.x_mm - camera.aim_x_mm) / 250, y = (place.y_mm - camera.aim_y_mm) / 250;
  return 1 - 0.10 * x + 0.12 * y - 0.05 * (x * x + y * y);
}

}  // namespace

cv::Mat render_wall(const NightSettings& settings, const CameraView& view) {
  constexpr int kPoints = 89, kStride = 55;
  const Camera& camera = settings.camera;
  const WallSurface surface(settings.wall);
  const double middle_px_per_mm =
      CameraView(camera).px_per_mm({camera.aim_x_mm, camera.aim_y_mm})[0];
  const cv::Size size(camera.width_px, camera.height_px);
  const cv::Mat texture = paint_texture(settings, middle_px_per_mm);
  const CameraView drawn_in(camera);
  cv::Mat wall(size, CV_32FC3);
  cv::parallel_for_({0, size.height}, [&](const cv::Range& rows) {
    for (int row = rows.start; row < rows.end; ++row) {
      for (int column = 0; column < size.width; ++column) {
        cv::Vec3f sum(0, 0, 0);
        for (int k = 0; k < kPoints; ++k) {
          const double across = (k + 0.5) / kPoints - 0.5;
          const double down = (k * kStride % kPoints + 0.5) / kPoints - 0.5;
          sum += surface.reflectance(view.wall_from_pixel({column + across, row + down}));
        }
        const WallPlace middle = view.wall_from_pixel({1.0 * column, 1.0 * row});
        // Paper is smoother than paint, but a little of the texture suits both.
        const float light = static_cast<float>(settings.wall.paper_dn *
                                               std::max(illumination(middle, camera), 0.0));
        wall.at<cv::Vec3f>(row, column) =
            sum * (light * texture_at(texture, drawn_in.pixel_from_wall(middle)) /
                   static_cast<float>(kPoints));
      }
    }
  });
  return wall;
}

}  // namespace nightswing::demo
