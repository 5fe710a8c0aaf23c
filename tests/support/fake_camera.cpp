#include "tests/support/fake_camera.h"

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::test {
namespace {

constexpr std::chrono::seconds kTestPatience{30};  // a failing test shall end

}  // namespace

class FakeCamera::Opened : public tracker::Camera {
 public:
  explicit Opened(FakeCamera& camera) : camera_(camera), age_(camera.age_) {
    facts_ = {.identity = "test camera",
              .width_px = camera.size_.width,
              .height_px = camera.size_.height,
              .format = "test pictures",
              .time_from = "the test"};
  }

  tracker::Grab grab(std::chrono::milliseconds, const tracker::GiveUp&) override {
    std::unique_lock lock(camera_.mutex_);
    ++camera_.grabs_;
    camera_.changed_.notify_all();
    camera_.changed_.wait_for(lock, std::chrono::milliseconds(1), [this] {
      return camera_.shown_.has_value() || camera_.age_ != age_;
    });
    if (camera_.age_ != age_) return tracker::Grab::kGone;
    if (!camera_.shown_) return tracker::Grab::kNothing;
    taken_ = *camera_.shown_;
    camera_.shown_.reset();
    camera_.changed_.notify_all();
    return tracker::Grab::kPicture;
  }
  double grabbed_steady_s() const override { return taken_.steady_s; }
  bool retrieve(cv::Mat& picture) override {
    taken_.picture.copyTo(picture);
    return !picture.empty();
  }
  const tracker::CameraFacts& facts() const override { return facts_; }
  std::vector<tracker::CameraSetting> settings() override {
    const std::lock_guard lock(camera_.mutex_);
    return {{"exposure", camera_.exposure_}};
  }
  const std::string& fault() const override { return fault_; }

 private:
  FakeCamera& camera_;
  int age_;
  Shown taken_{};
  tracker::CameraFacts facts_;
  std::string fault_ = "it was unplugged";
};

void FakeCamera::show(const cv::Mat& picture) {
  std::unique_lock lock(mutex_);
  shown_ = Shown{picture.clone(), clock_.steady_s()};
  changed_.notify_all();
  REQUIRE(changed_.wait_for(lock, kTestPatience, [this] { return !shown_ || !watched_; }));
}

void FakeCamera::watched(bool by_somebody) {
  const std::lock_guard lock(mutex_);
  watched_ = by_somebody;
  shown_.reset();
  changed_.notify_all();
}

void FakeCamera::unplug() {
  const std::lock_guard lock(mutex_);
  plugged_in_ = false;
  ++age_;
  changed_.notify_all();
}

void FakeCamera::plug_in(cv::Size size) {
  const std::lock_guard lock(mutex_);
  plugged_in_ = true;
  ++age_;
  size_ = size;
}

void FakeCamera::change_setting(const std::string& value) {
  const std::lock_guard lock(mutex_);
  exposure_ = value;
}

void FakeCamera::await_openings(int count) {
  std::unique_lock lock(mutex_);
  REQUIRE(changed_.wait_for(lock, kTestPatience, [&] { return openings_ >= count; }));
}

void FakeCamera::await_more_openings(int count) {
  std::unique_lock lock(mutex_);
  const int wanted = openings_ + count;
  REQUIRE(changed_.wait_for(lock, kTestPatience, [&] { return openings_ >= wanted; }));
}

void FakeCamera::await_grabs(int count) {
  std::unique_lock lock(mutex_);
  const long wanted = grabs_ + count;
  REQUIRE(changed_.wait_for(lock, kTestPatience, [&] { return grabs_ >= wanted; }));
}

tracker::OpenCamera FakeCamera::opener() {
  return [this](const tracker::GiveUp&) -> std::unique_ptr<tracker::Camera> {
    const std::lock_guard lock(mutex_);
    ++openings_;
    changed_.notify_all();
    if (!plugged_in_) throw InputError("no camera");
    return std::make_unique<Opened>(*this);
  };
}

}  // namespace nightswing::test
