#pragma once

#include <optional>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/motion/frame_registration.h"
#include "tracker/frames/picture.h"
#include "tracker/run/camera_file.h"
#include "tracker/spot/spot_measurement.h"

namespace nightswing::tracker {

/// Where the spot hides the wall.
[[nodiscard]] calibration::IgnoredCircle hidden_by(const SpotPosition& spot);

/// Decides when a frame is registered to the reference, and what it means.
///
/// - Every 25th frame is registered, at most one in 10 s. In between a glance at a few strong
///   patches is taken of each frame, so that a knock is seen in the very frame: when their median
///   moves by six times what it usually does, or when most of them go missing or come back, the
///   frame is registered too, and the next few.
/// - A step is a change since the last registered look by more than 0.12 px, five standard
///   uncertainties, and four times the usual creep from look to look, if such an alarm or looks
///   that failed lie between. Whatever else changes is creep.
/// - A knock may shake the camera for several frames. It is one event with the whole step, told
///   when the camera has been still for three looks.
///
/// Equal frames give equal results.
class CameraWatch {
 public:
  /// What was measured of the spot, frame by frame, so that its light is not taken for the wall's.
  void note_spot(const SpotMeasurement& spot);

  /// Begins the watch with the picture that the map is made from: the mean of the frames so far.
  void start(const Picture& reference);
  [[nodiscard]] bool is_started() const { return registration_.has_value(); }

  struct Event {
    double t_s;
    std::string detail;
  };

  struct Look {
    std::optional<CameraRow> row;  ///< if the frame was registered, or could not be
    std::optional<Event> moved;    ///< a knock that is over
  };

  /// The next frame after the reference, before its spot is noted. Nothing before `start`.
  [[nodiscard]] Look look(const Picture& picture, double t_s);

  /// The knock that was not over when the frames ended.
  [[nodiscard]] std::optional<Event> finish();

  /// Looks that could not be registered, and all.
  [[nodiscard]] long failed() const { return failed_; }
  [[nodiscard]] long looks() const { return looks_; }

 private:
  using Glances = std::vector<std::optional<calibration::FrameRegistration::Glance>>;

  [[nodiscard]] bool is_due(double t_s) const;
  [[nodiscard]] bool is_alarming(const Glances& now);
  [[nodiscard]] CameraRow row_for(const calibration::Registration& found, double t_s, bool sudden);
  [[nodiscard]] double step_px(const calibration::Registration& found) const;
  [[nodiscard]] double most_still_px(const calibration::Registration& found) const;
  [[nodiscard]] std::optional<Event> follow_knock(const CameraRow& row);

  std::vector<calibration::IgnoredCircle> spots_;  // of the reference; then the last one
  std::optional<calibration::FrameRegistration> registration_;

  calibration::CameraMotion motion_;  // the last one known
  double u_motion_px_ = 0.0;
  Glances glances_;  // of the last frame
  double usual_change_px_ = 0.0;
  std::vector<double> creep_px_;  // steps of the last looks
  int since_look_ = 0;            // frames
  double last_look_s_ = 0.0;
  int looks_wanted_ = 0;  // in the frames to come, because something happened
  bool last_look_failed_ = false;
  long looks_ = 0;
  long failed_ = 0;

  struct Knock {
    double t_s;
    calibration::CameraMotion before;
    int still_looks = 0;
  };
  std::optional<Knock> knock_;
};

}  // namespace nightswing::tracker
