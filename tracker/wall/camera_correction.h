#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "calibration/map/wall_map.h"
#include "calibration/motion/camera_motion.h"
#include "tracker/run/camera_file.h"

namespace nightswing::tracker {

/// A pixel of the calibrated picture, and the standard uncertainty that the camera's motion adds to
/// each of its coordinates.
struct SteadyPixel {
  calibration::PixelPoint pixel;
  double u_px;
};

/// Takes pixels of any frame back to the first picture, from the looks of the whole night.
///
/// The night is cut where the camera made a step (a `moved` look); nothing is interpolated across.
/// Between steps each of the six parameters of the motion is smoothed by local straight lines
/// (tricube weights over ten minutes to either side, at least eight looks: W. Cleveland, J. Am.
/// Stat. Assoc. 74 (1979) 829, without its robust rounds). What is not significant is not applied,
/// so that a camera that stood still adds no noise: a course that spans less than five of its
/// standard uncertainties counts as constant, and a constant of less than four as none.
///
/// The uncertainty is the scatter of single looks about the smooth course, not divided by their
/// number: in lossy film their errors are alike from look to look. From a look that failed until a
/// step the step itself is added, since it may have come at any moment in between.
class CameraCorrection {
 public:
  /// rows  in order of time; those not registered only mark doubt.
  CameraCorrection(std::span<const CameraRow> rows, calibration::FrameSize frame);

  [[nodiscard]] SteadyPixel steady(double t_s, calibration::PixelPoint pixel) const;

  [[nodiscard]] long looks() const { return looks_; }
  [[nodiscard]] long failed() const { return failed_; }
  [[nodiscard]] int bumps() const { return bumps_; }  ///< steps; those in a row count as one

  static constexpr std::size_t kParameters = 6;
  using Parameters = std::array<double, kParameters>;  ///< zoom as zoom - 1

 private:
  /// The night between two steps.
  struct Piece {
    double from_s = 0.0;
    std::optional<double> doubtful_from_s{};  ///< looks failed from here to the next piece
    std::vector<double> t_s{};
    std::vector<Parameters> looks{};
    std::vector<Parameters> smooth{};
    double least_u_px = 0.0;  ///< of the best look, as stated
    Parameters scatter{};
  };

  void smooth(Piece& piece) const;
  [[nodiscard]] const Piece& piece_at(double t_s) const;
  [[nodiscard]] double scatter_px(const Piece& piece, calibration::PixelPoint pixel) const;

  calibration::FrameSize frame_;
  std::vector<Piece> pieces_;
  long looks_ = 0;
  long failed_ = 0;
  int bumps_ = 0;
};

}  // namespace nightswing::tracker
