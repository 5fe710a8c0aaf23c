#pragma once

#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "tracker/aim/aim_reading.h"
#include "tracker/page/live_page.h"
#include "tracker/page/newest_picture.h"

namespace nightswing::tracker {

/// What is seen while a camera is set up, as lines of a table.
[[nodiscard]] std::vector<PageValue> values_of(const AimReading& reading);

/// The live page of `aim`: the newest picture, what is seen in it, and what to mend. Whoever shows
/// it pictures never waits for those who look.
class AimPage {
 public:
  ///   camera  what it is called
  /// throws InputError if nothing can be served at the address.
  AimPage(const PageAddress& address, const std::string& camera, const std::string& cautions);

  void see(const cv::Mat& picture, const AimReading& reading);
  /// There are no pictures any more, because of that; until the next one is seen.
  void lose(const std::string& why);

  [[nodiscard]] const LivePage& page() const { return page_; }

 private:
  struct Seen {
    std::optional<AimReading> reading{};
    std::string camera_fault{};
    SeenPicture picture{};
  };

  [[nodiscard]] Seen seen();
  [[nodiscard]] PageState state();

  NewestPicture newest_;  // of the page's thread
  long pictures_ = 0;     // of the other

  std::mutex mutex_;
  Seen shared_{};

  LivePage page_;  // last: its thread uses all of the above
};

}  // namespace nightswing::tracker
