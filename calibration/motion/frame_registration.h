#pragma once

#include <optional>
#include <span>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/motion/camera_motion.h"
#include "calibration/motion/coarse_registration.h"
#include "calibration/motion/motion_fit.h"
#include "calibration/motion/texture_patch.h"

namespace nightswing::calibration {

/// A part of the picture that does not belong to the wall, such as the laser spot with its halo.
struct IgnoredCircle {
  PixelPoint centre;
  double radius_px;
};

enum class RegistrationStatus {
  kRegistered,
  kTooFewPatches,  ///< the reference has too little texture, or too little of it is in view
  kInconsistent,   ///< patches were found, but they do not agree on one motion
};

/// A later picture against the reference. `motion` means something only if it was registered.
struct Registration {
  RegistrationStatus status = RegistrationStatus::kTooFewPatches;
  CameraMotion motion{};
  MotionCovariance covariance = MotionCovariance::Zero();
  double u_shift_px = 0.0;  ///< standard uncertainty of the shift, the worse coordinate (k = 1)
  int patches = 0;          ///< that agree with the motion
};

/// Registers pictures to a reference by the fixed texture of wall and scale.
///
/// The reference is searched for places whose surroundings tell their position in both directions
/// (smaller eigenvalue of the structure tensor: C. Tomasi, T. Kanade, CMU-CS-91-132 (1991)), the
/// best one in each cell of a grid, so that they are spread over the picture. Each is found again
/// with its own gain and offset (TexturePatch); those that are covered, or near an ignored circle,
/// drop out; the rest vote for one motion (fit_motion). A person walking by only makes patches drop
/// out; a quarter of them must be left, since a few ticks may be taken for their neighbours.
///
/// When the picture is found turned by more than half a milliradian from what the patches were cut
/// for, they are cut anew, turned likewise. Equal pictures in equal order give equal results, bit
/// for bit. Pictures are 8-bit BGR or gray.
class FrameRegistration {
 public:
  /// throws std::invalid_argument if the reference is empty or of another type.
  FrameRegistration(const cv::Mat& reference, std::span<const IgnoredCircle> ignored);

  /// expected  the motion so far. The picture may be up to 3 px from it; if it is further, up to
  ///           6 % of the width and 5 degrees from the reference, a coarse search comes first.
  /// throws    std::invalid_argument if the picture is not like the reference in size and type.
  [[nodiscard]] Registration find(const cv::Mat& picture,
                                  std::span<const IgnoredCircle> ignored,
                                  const CameraMotion& expected);

  /// A quick look at some of the strongest patches, to see whether anything moved since the last
  /// look: for each its distance from where `expected` has it, good to a tenth of that; nothing for
  /// those that cannot be seen. Takes some hundredths of the time of `find`.
  struct Glance {
    double x_px;
    double y_px;
  };
  [[nodiscard]] std::vector<std::optional<Glance>> glance(const cv::Mat& picture,
                                                          std::span<const IgnoredCircle> ignored,
                                                          const CameraMotion& expected) const;

  [[nodiscard]] std::size_t patches() const { return patches_.size(); }
  [[nodiscard]] FrameSize frame() const { return frame_; }

 private:
  void check(const cv::Mat& picture) const;
  [[nodiscard]] Registration find_near(const cv::Mat& picture,
                                       std::span<const IgnoredCircle> ignored,
                                       const CameraMotion& expected) const;
  [[nodiscard]] Registration find_from(const cv::Mat& picture,
                                       std::span<const IgnoredCircle> ignored,
                                       const CameraMotion& expected) const;
  void turn_patches(const CameraMotion& motion);
  [[nodiscard]] bool is_turned(const CameraMotion& motion) const;

  cv::Mat reference_;
  FrameSize frame_;
  CameraMotion cut_for_;
  std::vector<TexturePatch> patches_;  // the strongest first
  std::optional<CoarseRegistration> coarse_;
};

}  // namespace nightswing::calibration
