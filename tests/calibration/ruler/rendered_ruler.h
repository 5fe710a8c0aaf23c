#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"

/// Pictures of ordinary rulers on a wall as a camera would see them, for tests.
namespace nightswing::test {

/// How a ruler is made. Its graduated edge is y = 0 of its own coordinates [mm], the ticks reach
/// down from it, x = 0 is the first tick.
struct RulerLook {
  double division_mm = 1.0;
  double length_mm = 300.0;
  double height_mm = 28.0;
  double line_mm = 0.2;
  /// How far tick i reaches [mm]; 0 = no tick.
  std::function<double(int)> tick_mm;
  double ground_dn = 190.0;
  double ink_dn = 45.0;
  int numeral_every = 10;  ///< ticks; 0 = no numerals
};

/// The usual three lengths of a millimetre ruler: shortest, every 5th, every 10th.
RulerLook millimetre_ruler(double shortest_mm, double fifth_mm, double tenth_mm);

/// Sixteenths of an inch with five lengths.
RulerLook inch_ruler(double shortest_mm, double step_mm);

/// Something flat taped to the wall: a picture and where it hangs.
struct Sheet {
  cv::Mat picture;  // CV_32F, gray values
  double px_per_mm = 20.0;
  calibration::WallPoint corner{0.0, 0.0};  ///< of its top left pixel, on the wall
  double turn_rad = 0.0;                    ///< anticlockwise about the corner, seen from the front
};

/// The ruler with its tick 0 at `zero` on the wall, edge upwards; upside_down turns it by half a
/// turn about it.
Sheet ruler_sheet(const RulerLook& look, calibration::WallPoint zero, bool upside_down = false);

/// Millimetre paper: lines right across, every fifth and tenth bolder.
Sheet graph_paper(double width_mm, double height_mm, calibration::WallPoint corner);

/// Lines of invented words, 4 mm high.
Sheet printed_page(double width_mm, double height_mm, calibration::WallPoint corner);

/// A camera: ideal places are those of a pinhole (pixel_from_wall_matrix), and the lens moves a
/// place at distance r from the middle of the picture to r (1 + k1 (r / focal_px)^2).
struct RulerCamera {
  cv::Matx33d pixel_from_wall;
  cv::Size size{1280, 720};
  double k1 = 0.0;
  double focal_px = 1100.0;
};

calibration::PixelPoint project(const RulerCamera& camera, calibration::WallPoint wall);
calibration::WallPoint unproject(const RulerCamera& camera, calibration::PixelPoint pixel);

struct RulerLight {
  double blur_px = 0.8;   ///< standard deviation of the lens's point image, besides the pixel
  double noise_dn = 2.0;  ///< standard deviation of a gray value
  double exposure = 1.0;  ///< factor on all gray values
  double wall_dn = 110.0;
  double shading = 0.2;                ///< relative loss of light from the left to the right border
  std::vector<cv::Rect> hands = {};    ///< covered by something of middle gray
  std::vector<cv::Rect> shadows = {};  ///< half of the light missing, soft edges
  std::vector<cv::Point2d> glare_px = {};  ///< bright blobs, 25 px, saturated in the middle
  std::vector<cv::Point2d> laser_px = {};  ///< round spots, 4 px, of 150 gray values
  std::uint64_t seed = 1;
};

/// The picture, 8-bit gray: 8 x 8 samples a pixel, blurred in quarters of a pixel, summed.
cv::Mat render_wall(const std::vector<Sheet>& sheets,
                    const RulerCamera& camera,
                    const RulerLight& light);

}  // namespace nightswing::test
