#include "tracker/page/aim_page.h"

#include <utility>

#include <fmt/format.h>

namespace nightswing::tracker {

std::vector<PageValue> values_of(const AimReading& reading) {
  std::vector<PageValue> values;
  if (const auto& p = reading.spot.position) {
    values.push_back({"spot at", fmt::format("{:.1f} px, {:.1f} px", p->x_px, p->y_px)});
    values.push_back({"width", fmt::format("{:.1f} px (sigma)", p->width_px)});
    values.push_back(
        {"peak",
         fmt::format("{:.0f} counts above the wall, {}",
                     p->peak,
                     reading.spot.state == SpotState::kClipped ? "clipped" : "not clipped")});
  }
  // A clipped core alone is far less of the picture.
  constexpr double kWorthTelling = 1e-3;
  if (reading.saturated_share >= kWorthTelling) {
    values.push_back(
        {"saturated", fmt::format("{:.1f} % of the picture", 100.0 * reading.saturated_share)});
  }
  if (reading.room) {
    values.push_back({"room to swing",
                      fmt::format("{:.0f} px to the left, {:.0f} px to the right",
                                  reading.room->left_px,
                                  reading.room->right_px)});
  }
  // Until it is read it stands in the advice.
  if (reading.mm_per_px) values.push_back({"scale", reading.scale});
  if (reading.mm_per_px)
    values.push_back({"one pixel", fmt::format("{:.3f} mm", *reading.mm_per_px)});
  if (reading.reading_u_mm) {
    values.push_back(
        {"one reading",
         fmt::format("\u00b1 {:.3f} mm (standard uncertainty)", *reading.reading_u_mm)});
  }
  values.push_back(
      {"sharpness", fmt::format("{:.0f} % of the best so far", 100.0 * reading.sharpness)});
  return values;
}

AimPage::AimPage(const PageAddress& address, const std::string& camera, const std::string& cautions)
    : page_(
          address,
          {.title = fmt::format("nightswing aim: {}", camera),
           .cautions = cautions,
           .state = [this] { return state(); },
           .picture =
               [this] { return newest_.jpeg(seen().picture, std::chrono::steady_clock::now()); }}) {
}

void AimPage::see(const cv::Mat& picture, const AimReading& reading) {
  ++pictures_;
  SeenPicture old;  // its pixels are given back after the lock
  const std::unique_lock lock(mutex_, std::try_to_lock);
  if (!lock) return;
  shared_.reading = reading;
  shared_.camera_fault.clear();
  old = std::exchange(
      shared_.picture,
      {.picture = picture, .spot = reading.spot, .room = reading.room, .number = pictures_});
}

void AimPage::lose(const std::string& why) {
  const std::lock_guard lock(mutex_);
  shared_.camera_fault = why;
}

AimPage::Seen AimPage::seen() {
  const std::lock_guard lock(mutex_);
  return shared_;
}

PageState AimPage::state() {
  const Seen now = seen();
  PageState state;
  if (!now.reading) {
    state.headline = "No picture yet.";
    return state;
  }
  state.picture = now.picture.number;
  if (!now.camera_fault.empty()) {
    state.headline =
        fmt::format("No camera ({}); it is tried again until it is back", now.camera_fault);
    state.is_well = false;
    return state;
  }
  const std::size_t faults = now.reading->advice.size();
  state.headline = fmt::format("Spot {}; {}",
                               word_for(now.reading->spot.state),
                               faults == 0   ? std::string("nothing to mend")
                               : faults == 1 ? std::string("one thing to mend")
                                             : fmt::format("{} things to mend", faults));
  state.is_well = faults == 0;
  state.values = values_of(*now.reading);
  state.warnings = now.reading->advice;
  return state;
}

}  // namespace nightswing::tracker
