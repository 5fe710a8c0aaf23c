#include "tracker/wall/camera_watch.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include <fmt/format.h>

#include "analysis/quantities/median.h"

namespace nightswing::tracker {
namespace {

using calibration::CameraMotion;
using calibration::PixelPoint;
using calibration::Registration;
using calibration::RegistrationStatus;

constexpr int kEveryFrames = 25;        // between two looks; more often after a step,
constexpr double kEvery_s = 10.0;       // and at least so far apart
constexpr double kLeastStep_px = 0.12;  // a change from look to look that counts as a step
constexpr double kLeastAlarm_px = 0.1;  // one from frame to frame that calls for a look
constexpr double kSpot_widths = 12.0;   // sigmas; beyond, nothing is left of a halo either
constexpr double kMostSpot_px = 200.0;  // a false spot shall not hide the wall
constexpr int kLooksAfterStep = 5;
constexpr int kStillLooks = 3;
constexpr double kStep_u = 5.0;
constexpr double kStep_creeps = 4.0;
constexpr std::size_t kCreepMemory = 5;
constexpr double kAlarm_usual = 6.0;
constexpr double kUsualMemory_frames = 50.0;
constexpr std::size_t kFewestGlances = 4;

/// The middle of the picture and of its quarters.
std::array<PixelPoint, 5> probes(calibration::FrameSize frame) {
  const double x = 0.25 * frame.width_px;
  const double y = 0.25 * frame.height_px;
  return {{{2 * x, 2 * y}, {x, y}, {3 * x, y}, {x, 3 * y}, {3 * x, 3 * y}}};
}

CameraState state_of(RegistrationStatus status) {
  switch (status) {
    case RegistrationStatus::kRegistered:
      return CameraState::kRegistered;
    case RegistrationStatus::kTooFewPatches:
      return CameraState::kTooFewPatches;
    case RegistrationStatus::kInconsistent:
      return CameraState::kInconsistent;
  }
  throw std::invalid_argument("camera watch: not a registration status");
}

std::string step_text(const CameraMotion& from, const CameraMotion& to) {
  const double x_px = to.shift_x_px - from.shift_x_px;
  const double y_px = to.shift_y_px - from.shift_y_px;
  const double turn_deg = (to.rotation_rad - from.rotation_rad) * 180.0 / std::numbers::pi;
  return fmt::format(
      "the picture moved by {:.2f} px to the {} and {:.2f} px {}, turned by {:.3f} degrees {} and "
      "became {:.3f} % {}; positions are taken back from here on",
      std::abs(x_px),
      x_px < 0 ? "left" : "right",
      std::abs(y_px),
      y_px < 0 ? "up" : "down",
      std::abs(turn_deg),
      turn_deg < 0 ? "anticlockwise" : "clockwise",
      100.0 * std::abs(to.zoom / from.zoom - 1.0),
      to.zoom < from.zoom ? "smaller" : "larger");
}

}  // namespace

calibration::IgnoredCircle hidden_by(const SpotPosition& spot) {
  return {{spot.x_px, spot.y_px}, std::min(kSpot_widths * spot.width_px, kMostSpot_px)};
}

void CameraWatch::note_spot(const SpotMeasurement& spot) {
  if (!spot.position) return;
  if (is_started()) spots_.clear();
  spots_.push_back(hidden_by(*spot.position));
}

void CameraWatch::start(const Picture& reference) {
  registration_.emplace(reference.gray(reference.area()), spots_);
  if (spots_.size() > 1) spots_.erase(spots_.begin(), spots_.end() - 1);
  since_look_ = kEveryFrames;  // the next frame is looked at
  last_look_s_ = -kEvery_s;
}

bool CameraWatch::is_due(double t_s) const {
  if (looks_wanted_ > 0) return true;
  return since_look_ >= kEveryFrames && t_s - last_look_s_ >= kEvery_s;
}

/// Compares with the last frame's glances and learns how much they usually change.
bool CameraWatch::is_alarming(const Glances& now) {
  std::vector<double> changes_px;
  std::size_t seen = 0;
  std::size_t seen_before = 0;
  for (std::size_t k = 0; k < now.size() && k < glances_.size(); ++k) {
    if (now[k]) ++seen;
    if (glances_[k]) ++seen_before;
    if (!now[k] || !glances_[k]) continue;
    changes_px.push_back(
        std::hypot(now[k]->x_px - glances_[k]->x_px, now[k]->y_px - glances_[k]->y_px));
  }
  const bool went_or_came = (2 * seen < seen_before) || (2 * seen_before < seen);
  if (changes_px.size() < kFewestGlances) return went_or_came;
  const double change_px = analysis::median_of(changes_px);
  const bool jumped = change_px > std::max(kLeastAlarm_px, kAlarm_usual * usual_change_px_);
  usual_change_px_ += (change_px - usual_change_px_) / kUsualMemory_frames;
  return jumped || went_or_came;
}

double CameraWatch::step_px(const Registration& found) const {
  const PixelPoint centre = picture_centre(registration_->frame());
  double largest_px = 0.0;
  for (const PixelPoint& probe : probes(registration_->frame())) {
    const PixelPoint before = moved_from_reference(motion_, centre, probe);
    const PixelPoint now = moved_from_reference(found.motion, centre, probe);
    largest_px = std::max(largest_px, std::hypot(now.x_px - before.x_px, now.y_px - before.y_px));
  }
  return largest_px;
}

/// A change that is not yet a step.
double CameraWatch::most_still_px(const Registration& found) const {
  const PixelPoint centre = picture_centre(registration_->frame());
  double u_px = 0.0;
  for (const PixelPoint& probe : probes(registration_->frame())) {
    u_px = std::max(u_px, motion_u_px(found.covariance, centre, probe));
  }
  const double creep_px = creep_px_.empty() ? 0.0 : analysis::median_of(creep_px_);
  return std::max(
      {kLeastStep_px, kStep_u * std::hypot(u_px, u_motion_px_), kStep_creeps * creep_px});
}

CameraRow CameraWatch::row_for(const Registration& found, double t_s, bool sudden) {
  CameraRow row{.t_s = t_s, .patches = found.patches, .state = state_of(found.status)};
  ++looks_;
  if (row.state != CameraState::kRegistered) {
    ++failed_;
    return row;
  }
  row.motion = found.motion;
  row.u_shift_px = found.u_shift_px;
  const double change_px = step_px(found);
  if (sudden && change_px > most_still_px(found)) {
    row.state = CameraState::kMoved;
  } else if (looks_wanted_ == 0) {  // looks in a hurry say nothing of the usual creep
    if (creep_px_.size() == kCreepMemory) creep_px_.erase(creep_px_.begin());
    creep_px_.push_back(change_px);
  }
  return row;
}

/// Opens, continues or closes the event that a step belongs to.
std::optional<CameraWatch::Event> CameraWatch::follow_knock(const CameraRow& row) {
  if (row.state == CameraState::kMoved) {
    if (!knock_) knock_ = Knock{.t_s = row.t_s, .before = motion_};
    knock_->still_looks = 0;
  } else if (knock_ && row.state == CameraState::kRegistered &&
             ++knock_->still_looks == kStillLooks) {
    const Event event{knock_->t_s, step_text(knock_->before, row.motion)};
    knock_.reset();
    return event;
  }
  return std::nullopt;
}

CameraWatch::Look CameraWatch::look(const Picture& picture, double t_s) {
  if (!registration_) return {};
  // Each patch is compared with a gain and an offset of its own: any range of luma will do.
  const cv::Mat& luma = picture.stored_luma();
  Glances now = registration_->glance(luma, spots_, motion_);
  ++since_look_;
  const bool alarm = is_alarming(now);
  glances_ = std::move(now);
  if (!alarm && !is_due(t_s)) return {};

  const Registration found = registration_->find(luma, spots_, motion_);
  Look look;
  look.row = row_for(found, t_s, alarm || looks_wanted_ > 0 || last_look_failed_);
  last_look_failed_ = !is_registered(look.row->state);
  look.moved = follow_knock(*look.row);
  since_look_ = 0;
  last_look_s_ = t_s;
  if (look.row->state == CameraState::kMoved || (alarm && !is_registered(look.row->state))) {
    looks_wanted_ = kLooksAfterStep;
  } else if (looks_wanted_ > 0) {
    --looks_wanted_;
  }
  if (is_registered(look.row->state)) {
    motion_ = found.motion;
    u_motion_px_ = motion_u_px(found.covariance,
                               picture_centre(registration_->frame()),
                               probes(registration_->frame())[1]);
    // The glances are distances from where this motion has the patches.
    glances_ = registration_->glance(luma, spots_, motion_);
  }
  return look;
}

std::optional<CameraWatch::Event> CameraWatch::finish() {
  if (!knock_) return std::nullopt;
  const Event event{knock_->t_s, step_text(knock_->before, motion_)};
  knock_.reset();
  return event;
}

}  // namespace nightswing::tracker
