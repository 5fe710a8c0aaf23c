#pragma once

#include <chrono>
#include <condition_variable>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <opencv2/core.hpp>

#include "tracker/camera/camera.h"
#include "tracker/camera/clock.h"

namespace nightswing::tracker {

struct FrameGrabberOptions {
  double least_step_s = 0.1;       ///< pictures that come faster are passed over undecoded
  double silence_s = 5.0;          ///< without a picture for so long, the camera is lost
  double repetition_s = 10.0;      ///< so is one that sends the same lit picture for so long
  double settings_every_s = 60.0;  ///< between two looks at the camera's settings
  std::chrono::milliseconds first_wait{1000};  ///< before a lost camera is opened again; doubled
  std::chrono::milliseconds longest_wait{30'000};  ///< each time up to this
};

/// One picture of a camera at work.
struct LivePicture {
  cv::Mat picture;        ///< 8-bit BGR
  double steady_s = 0.0;  ///< when it was taken, by the steady clock
};

/// What happened to a camera at work.
struct CameraNotice {
  enum class Kind {
    kLost,     ///< no more pictures: `text` says why
    kBack,     ///< pictures again: `text` says after how long
    kChanged,  ///< a setting is not what it was: `text` says which
  };
  Kind kind;
  double steady_s;
  std::string text;
};

/// Takes pictures from a camera without pause in a thread of its own and keeps the newest, so that
/// nothing waits in a buffer, and whoever measures them may take the time it needs. A camera that
/// is lost, hangs, sends no pictures but something else, or one picture again and again is opened
/// anew, with longer and longer waits between the attempts; pictures of another size than the first
/// are not let through.
class FrameGrabber {
 public:
  ///   camera  the open one
  ///   reopen  called in a thread of this object's own
  ///   clock   must outlive the grabber
  FrameGrabber(std::unique_ptr<Camera> camera,
               OpenCamera reopen,
               const Clock& clock,
               const FrameGrabberOptions& options = {});
  /// Stops; waits neither for a picture nor for a camera to open.
  ~FrameGrabber();
  FrameGrabber(const FrameGrabber&) = delete;
  FrameGrabber& operator=(const FrameGrabber&) = delete;

  /// Waits for a picture newer than the last one that was taken; false if none came in time.
  [[nodiscard]] bool next(LivePicture& picture, std::chrono::milliseconds patience);

  /// What has happened since the last call, in order. A notice comes before the pictures after it.
  [[nodiscard]] std::vector<CameraNotice> take_notices();

  /// Of the camera as it was first opened; where its times are from, once a picture was taken.
  [[nodiscard]] const CameraFacts& facts() const { return facts_; }
  [[nodiscard]] const std::vector<CameraSetting>& settings() const { return settings_; }

 private:
  void run();
  void work();
  void grab_one();
  void reopen();
  void lose(std::string why);  // by value: it may be a text of the camera's
  void publish(cv::Mat& picture, double steady_s);
  void note(CameraNotice::Kind kind, const std::string& text);
  void look_at_settings(double now_s);
  [[nodiscard]] bool is_stopped();
  void note_sign(double now_s);
  [[nodiscard]] bool is_due(double taken_s) const;
  [[nodiscard]] bool is_repeated(const cv::Mat& picture) const;

  // of the thread
  OpenCamera reopen_;
  const Clock& clock_;
  FrameGrabberOptions options_;
  std::unique_ptr<Camera> camera_;
  CameraFacts facts_;
  std::vector<CameraSetting> settings_;       // as first opened
  std::vector<CameraSetting> last_settings_;  // last seen
  cv::Mat picture_;
  cv::Mat last_picture_;      // the last one let through
  double due_s_ = 0.0;        // when the next one may come
  double last_sign_s_ = 0.0;  // of life: a picture, or the opening
  bool was_damaged_ = false;  // something since then
  double last_new_s_ = 0.0;   // a picture that differed
  double next_settings_s_ = 0.0;
  double lost_since_s_ = 0.0;
  bool is_lost_ = false;
  std::string last_fault_;
  int tries_ = 0;
  std::chrono::milliseconds wait_{0};

  // shared
  std::mutex mutex_;
  std::condition_variable changed_;
  LivePicture newest_;
  bool is_new_ = false;
  bool stop_ = false;
  std::vector<CameraNotice> notices_;

  std::thread thread_;  // last: it uses all of the above
};

}  // namespace nightswing::tracker
