#include "tracker/camera/frame_grabber.h"

#include <algorithm>
#include <cstring>
#include <exception>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

constexpr std::chrono::milliseconds kPatience{200};  // to see soon that it is to stop
constexpr double kEarly = 0.25;                      // of a step
constexpr double kDark = 8.0;  // mean counts: black pictures may well be alike

bool is_dark(const cv::Mat& picture) {
  const cv::Scalar mean = cv::mean(picture);
  return (mean[0] + mean[1] + mean[2]) / 3.0 < kDark;
}

}  // namespace

FrameGrabber::FrameGrabber(std::unique_ptr<Camera> camera,
                           OpenCamera reopen,
                           const Clock& clock,
                           const FrameGrabberOptions& options)
    : reopen_(std::move(reopen)),
      clock_(clock),
      options_(options),
      camera_(std::move(camera)),
      facts_(camera_->facts()),
      settings_(camera_->settings()),
      last_settings_(settings_),
      last_sign_s_(clock.steady_s()),
      last_new_s_(last_sign_s_),
      next_settings_s_(last_sign_s_ + options.settings_every_s),
      wait_(options.first_wait),
      thread_([this] { run(); }) {}

FrameGrabber::~FrameGrabber() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  changed_.notify_all();
  thread_.join();
}

bool FrameGrabber::next(LivePicture& picture, std::chrono::milliseconds patience) {
  std::unique_lock lock(mutex_);
  if (!changed_.wait_for(lock, patience, [this] { return is_new_; })) return false;
  picture = std::exchange(newest_, {});  // whoever measures it may keep its pixels
  is_new_ = false;
  return true;
}

std::vector<CameraNotice> FrameGrabber::take_notices() {
  const std::lock_guard lock(mutex_);
  return std::exchange(notices_, {});
}

bool FrameGrabber::is_stopped() {
  const std::lock_guard lock(mutex_);
  return stop_;
}

void FrameGrabber::run() {
  while (!is_stopped()) {
    try {
      work();
    } catch (const std::exception& error) {
      // Whatever a camera does, the night goes on without it until it is back.
      camera_.reset();
      lose(error.what());
    }
  }
}

void FrameGrabber::work() {
  if (camera_) {
    grab_one();
  } else {
    reopen();
  }
}

void FrameGrabber::grab_one() {
  const Grab grabbed = camera_->grab(kPatience, [this] { return is_stopped(); });
  const double now_s = clock_.steady_s();
  if (grabbed == Grab::kGone) {
    if (!is_stopped()) lose(camera_->fault());  // else it was given up
    return;
  }
  bool is_damaged = grabbed == Grab::kDamaged;
  if (grabbed == Grab::kPicture) {
    const double taken_s = camera_->grabbed_steady_s();
    const bool due = is_due(taken_s);
    is_damaged = due && !camera_->retrieve(picture_);
    if (!is_damaged) note_sign(now_s);
    if (due && !is_damaged) publish(picture_, taken_s);
  }
  if (!camera_) return;  // lost meanwhile
  was_damaged_ = was_damaged_ || is_damaged;
  if (now_s - last_sign_s_ > options_.silence_s) {
    return lose(was_damaged_ ? "what it sends cannot be read as pictures"
                             : "it gives no pictures any more");
  }
  if (now_s - last_new_s_ > options_.repetition_s && last_sign_s_ > last_new_s_) {
    return lose("it gives the same picture again and again");
  }
  look_at_settings(now_s);
}

void FrameGrabber::note_sign(double now_s) {
  last_sign_s_ = now_s;
  was_damaged_ = false;
}

bool FrameGrabber::is_due(double taken_s) const {
  return taken_s >= due_s_ - kEarly * options_.least_step_s;
}

bool FrameGrabber::is_repeated(const cv::Mat& picture) const {
  if (last_picture_.empty() || last_picture_.size() != picture.size()) return false;
  const std::size_t bytes = picture.total() * picture.elemSize();
  return std::memcmp(picture.data, last_picture_.data, bytes) == 0 && !is_dark(picture);
}

void FrameGrabber::publish(cv::Mat& picture, double steady_s) {
  if (picture.cols != facts_.width_px || picture.rows != facts_.height_px) {
    return lose(fmt::format("its pictures are now {} x {}, not {} x {}",
                            picture.cols,
                            picture.rows,
                            facts_.width_px,
                            facts_.height_px));
  }
  // Keeps the mean rate, not each distance: pictures do not come evenly.
  const double step_s = options_.least_step_s;
  due_s_ = std::max(due_s_, steady_s - 0.5 * step_s) + step_s;
  if (is_repeated(picture)) return;
  if (last_picture_.empty()) {
    // Only the first picture tells; nobody asks before it was taken.
    const std::lock_guard lock(mutex_);
    facts_.time_from = camera_->facts().time_from;
  }
  picture.copyTo(last_picture_);
  last_new_s_ = last_sign_s_;
  if (is_lost_) {
    note(CameraNotice::Kind::kBack,
         fmt::format("after {}, at attempt {}", duration_text(steady_s - lost_since_s_), tries_));
    is_lost_ = false;
    last_fault_.clear();
    tries_ = 0;
    wait_ = options_.first_wait;
    next_settings_s_ = 0.0;
  }
  {
    const std::lock_guard lock(mutex_);
    newest_ = {std::exchange(picture, {}), steady_s};
    is_new_ = true;
  }
  changed_.notify_all();
}

void FrameGrabber::lose(std::string why) {
  camera_.reset();
  if (!is_lost_) lost_since_s_ = last_new_s_;
  // Another reason than before is worth a line, the same one is not.
  if (!is_lost_ || (why != last_fault_ && tries_ > 0)) note(CameraNotice::Kind::kLost, why);
  is_lost_ = true;
  last_fault_ = std::move(why);
}

void FrameGrabber::reopen() {
  {
    std::unique_lock lock(mutex_);
    if (changed_.wait_for(lock, wait_, [this] { return stop_; })) return;
  }
  wait_ = std::min(2 * wait_, options_.longest_wait);
  ++tries_;
  try {
    camera_ = reopen_([this] { return is_stopped(); });
  } catch (const InputError&) {
    return;  // why it was lost has been told; that it still is, is no news
  }
  if (!camera_) return;  // to stop is all that is left to do
  note_sign(clock_.steady_s());
  last_new_s_ = last_sign_s_;
  const CameraFacts& facts = camera_->facts();
  if (facts.width_px == facts_.width_px && facts.height_px == facts_.height_px) return;
  lose(fmt::format("its pictures are now {} x {}, not {} x {}",
                   facts.width_px,
                   facts.height_px,
                   facts_.width_px,
                   facts_.height_px));
}

void FrameGrabber::note(CameraNotice::Kind kind, const std::string& text) {
  const std::lock_guard lock(mutex_);
  notices_.push_back({kind, clock_.steady_s(), text});
}

void FrameGrabber::look_at_settings(double now_s) {
  if (now_s < next_settings_s_) return;
  next_settings_s_ = now_s + options_.settings_every_s;
  const auto settings = camera_->settings();
  for (const CameraSetting& now : settings) {
    const auto before = std::ranges::find(last_settings_, now.name, &CameraSetting::name);
    if (before == last_settings_.end() || before->value == now.value) continue;
    note(CameraNotice::Kind::kChanged,
         fmt::format("{} was {}, is now {}", now.name, before->value, now.value));
  }
  if (!settings.empty()) last_settings_ = settings;
}

}  // namespace nightswing::tracker
