#include "tracker/page/watch_page.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/quantity.h"
#include "tracker/result/night_of_run.h"
#include "tracker/run/line_file.h"
#include "tracker/run/side_mark.h"
#include "tracker/run/track_file.h"
#include "tracker/run/wall_file.h"
#include "tracker/text/shell_word.h"
#include "tracker/text/time_text.h"
#include "tracker/watch/disk_space.h"
#include "tracker/watch/watch_terminal.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kMostEvents = 40;
constexpr std::size_t kMostWarnings = 6;
constexpr double kSeen_px = 0.05;  // of the chart, less is not seen
constexpr std::string_view kOnScale = "mm on the scale";
constexpr std::string_view kInPicture = "px from the left edge of the first picture";
constexpr double kCameraEvery_s = 60.0;  // creep is slow; a knock stands in the log

/// A `gap` is none: wireless networks pause now and then, and the log has them.
bool is_warning(const Event& event) {
  constexpr std::array<std::string_view, 6> kWords{
      "warning", "camera lost", "camera moved", "camera changed", "clock step", "video ended"};
  return std::ranges::find(kWords, event.event) != kWords.end();
}

/// Whether nobody but its owner can read or write the file.
bool is_private(const std::filesystem::path& path) {
  using std::filesystem::perms;
  std::error_code none;
  const auto status = std::filesystem::status(path, none);
  return !none && (status.permissions() & (perms::group_all | perms::others_all)) == perms::none;
}

/// That of the run's page before it was interrupted, or a new one.
std::string token_of(const RunFolder& run) {
  if (!is_private(run.page_token())) return random_token();
  try {
    std::string text = read_whole_file(run.page_token());
    while (text.ends_with('\n')) text.pop_back();
    if (is_token(text)) return text;
  } catch (const InputError&) {
    // there was none
  }
  return random_token();
}

/// The last part of its path.
std::string name_of(const std::filesystem::path& run) {
  const auto whole = (run / "").lexically_normal();
  return whole.parent_path().filename().string();
}

std::string side_text(const EventLog& log) {
  EventLog copy = log;
  const auto changes = side_changes_in(copy);
  if (changes.empty()) return "not noted yet";
  return fmt::format("{}, from {} on",
                     analysis::name_of(changes.back().side),
                     duration_text(std::max(changes.back().t_s, 0.0)));
}

std::vector<PageValue> estimate_of(const ResultSoFar& result) {
  std::vector<PageValue> values;
  const auto add =
      [&](const char* name, const std::optional<analysis::Measured>& q, const char* u) {
        if (q) values.push_back({name, analysis::format_quantity(*q, u)});
      };
  add("period", result.period_s, "s");
  add("equilibrium now", result.equilibrium_mm, "mm");
  add("shift", result.shift_mm, "mm");
  if (result.shift_relative_u) {
    values.push_back({"shift known to", fmt::format("{:.2g} %", 100.0 * *result.shift_relative_u)});
  }
  if (result.hours_to_target) {
    values.push_back({fmt::format("until {:.2g} %", 100.0 * result.target_relative),
                      *result.hours_to_target > 0.0
                          ? wait_text(kHour_s * *result.hours_to_target) + " more"
                          : std::string("reached")});
  }
  return values;
}

}  // namespace

WatchPage::WatchPage(const PageAddress& address,
                     const std::filesystem::path& run,
                     const Clock& clock,
                     const std::string& cautions)
    : run_{run},
      clock_(clock),
      page_(address,
            {.title = fmt::format("nightswing watch: {}", name_of(run)),
             .cautions = cautions,
             .state = [this] { return state(); },
             .picture =
                 [this] { return newest_.jpeg(seen().picture, std::chrono::steady_clock::now()); },
             .track = [this](const std::string& edition,
                             std::optional<double> since_s) { return track(edition, since_s); },
             .mark = [this](analysis::Side side) { return mark(side); }},
            token_of(run_)) {
  try {
    const Track earlier = read_track(run_.track());
    const std::lock_guard lock(mutex_);
    for (const TrackRow& row : earlier.rows) {
      if (!is_measured(row.spot.state) || !row.spot.position) continue;
      track_.add({row.t_s, row.spot.position->x_px, row.spot.position->y_px});
    }
  } catch (const InputError&) {
    // A new run; or the watch itself will say what is wrong with it.
  }
}

void WatchPage::see(const WatchStatus& status, const cv::Mat& picture) {
  if (!picture.empty()) ++pictures_;
  keep_token();
  if (!picture.empty() && is_measured(status.spot.state) && status.spot.position) {
    waiting_.push_back(
        {status.picture_t_s, status.spot.position->x_px, status.spot.position->y_px});
  }
  SeenPicture old;  // its pixels are given back after the lock
  const std::unique_lock lock(mutex_, std::try_to_lock);
  if (!lock) return;
  shared_.status = status;
  shared_.status_steady_s = clock_.steady_s();
  if (!picture.empty()) {
    old = std::exchange(shared_.picture,
                        {.picture = picture, .spot = status.spot, .number = pictures_});
  }
  for (const TrackPoint& point : waiting_) track_.add(point);
  waiting_.clear();
}

ThinnedTrack WatchPage::track_so_far() {
  const std::lock_guard lock(mutex_);
  return track_;
}

WatchPage::Seen WatchPage::seen() {
  const std::lock_guard lock(mutex_);
  return shared_;
}

void WatchPage::keep_token() {
  if (is_token_kept_) return;
  is_token_kept_ = true;
  try {
    write_whole_file(run_.page_token(), page_.token() + "\n", Readers::kOwner);
  } catch (const InputError&) {
    // The watch itself tells what is wrong with the disk; the next page has another token then.
  }
}

void WatchPage::read_run() {
  try {
    // What cannot be read is tried again at the next look.
    fault_.clear();
    const auto mark = file_mark(run_.events());
    if (mark && mark != log_mark_) {
      log_ = read_events(run_.events());
      log_mark_ = mark;
      next_camera_s_ = 0.0;
    }
    read_wall();
    read_camera();
  } catch (const InputError& error) {
    fault_ = error.what();
  }
}

void WatchPage::read_wall() {
  const auto mark = file_mark(run_.wall());
  if (mark == map_mark_) return;
  if (map_) ++edition_;
  map_.reset();
  if (mark) {
    map_ = read_wall_map(run_.wall());
    ++edition_;
  }
  map_mark_ = mark;
}

void WatchPage::read_camera() {
  const double now_s = clock_.steady_s();
  const auto mark = file_mark(run_.camera());
  if (!mark || mark == camera_mark_ || now_s < next_camera_s_) return;
  camera_mark_ = mark;
  next_camera_s_ = now_s + kCameraEvery_s;
  try {
    CameraReading reading = read_camera_correction(run_, read_run_info(run_));
    camera_faults_ = std::move(reading.warnings);
    take(std::move(reading.correction));
  } catch (const InputError& error) {
    camera_faults_ = {error.what()};
  }
}

void WatchPage::take(std::optional<CameraCorrection> correction) {
  const auto far_px = [&](const TrackPoint& p) {
    const calibration::PixelPoint pixel{p.x_px, p.y_px};
    const auto now = correction->steady(p.t_s, pixel).pixel;
    const auto before = steady(p.t_s, pixel);
    return std::hypot(now.x_px - before.x_px, now.y_px - before.y_px);
  };
  const auto is_seen = [&](const TrackPoint& p) { return far_px(p) > kSeen_px; };
  if (correction && std::ranges::none_of(track_so_far().points(), is_seen)) return;
  correction_ = std::move(correction);
  ++edition_;
}

calibration::PixelPoint WatchPage::steady(double t_s, calibration::PixelPoint pixel) const {
  return correction_ ? correction_->steady(t_s, pixel).pixel : pixel;
}

std::optional<double> WatchPage::place(double t_s, calibration::PixelPoint pixel) const {
  const calibration::PixelPoint first = steady(t_s, pixel);
  if (!map_) return first.x_px;
  if (calibration::beyond_horizon(*map_, first)) return std::nullopt;
  return calibration::wall_from_pixel(*map_, first).x_mm;
}

std::vector<PageValue> WatchPage::values_of(const Seen& seen) const {
  const WatchStatus& status = *seen.status;
  std::vector<PageValue> values;
  if (const auto& p = status.spot.position) {
    if (const auto at = place(status.picture_t_s, {p->x_px, p->y_px})) {
      values.push_back({"position", fmt::format("{:.2f} {}", *at, map_ ? kOnScale : kInPicture)});
    }
    values.push_back(
        {"spot",
         fmt::format("peak {:.0f} counts above the wall, width {:.1f} px{}",
                     p->peak,
                     p->width_px,
                     status.spot.state == SpotState::kClipped
                         ? ", its core clipped: measured by its flanks, a little less well; less "
                           "exposure would mend it"
                         : "")});
  }
  values.push_back({"sources at", side_text(log_)});
  values.push_back({"scale", map_ ? "read" : "not read yet: positions in pixels"});
  values.push_back({"pictures", fmt::format("{}", status.pictures)});
  if (status.free_bytes > 0) values.push_back({"room on the disk", size_text(status.free_bytes)});
  return values;
}

PageState WatchPage::state() {
  read_run();
  const Seen now = seen();
  PageState state;
  if (!fault_.empty()) state.warnings.push_back("warning: " + fault_);
  for (const std::string& fault : camera_faults_) {
    if (state.warnings.size() < kMostWarnings) state.warnings.push_back("warning: " + fault);
  }
  // Clang 14 does not know the standard library's view from the end.
  for (auto event = log_.events.rbegin(); event != log_.events.rend(); ++event) {
    if (state.events.size() < kMostEvents) state.events.push_back(*event);
    if (is_warning(*event) && state.warnings.size() < kMostWarnings) {
      state.warnings.push_back(event->event + ": " + event->detail);
    }
  }
  if (!now.status) {
    state.headline = "No picture yet.";
    return state;
  }
  state.headline = text_of(*now.status);
  state.is_well = now.status->camera_fault.empty() && is_measured(now.status->spot.state);
  state.values = values_of(now);
  state.picture = now.picture.number;
  state.estimate_text = now.status->so_far.sentence;
  state.estimate = estimate_of(now.status->so_far);
  return state;
}

std::string WatchPage::track(const std::string& held_edition, std::optional<double> since_s) {
  const ThinnedTrack thinned = track_so_far();
  const std::vector<TrackPoint> points = thinned.points();
  std::vector<ChartPoint> chart;
  chart.reserve(points.size());
  for (const TrackPoint& point : points) {
    const auto position = place(point.t_s, {point.x_px, point.y_px});
    if (position) chart.push_back({point.t_s, *position});
  }
  return json_text(chart,
                   fmt::format("{} {}", edition_, thinned.step_s()),
                   map_ ? "position on the scale (mm)" : "position in the first picture (px)",
                   held_edition,
                   since_s);
}

std::string WatchPage::mark(analysis::Side side) {
  const Seen now = seen();
  if (!now.status) return "Not noted: there is no picture yet, so the night has no time.";
  const double now_s = now.status->t_s + clock_.steady_s() - now.status_steady_s;
  const double t_s = std::round(1000.0 * now_s) / 1000.0;  // as the log keeps it
  note_side(run_, side, t_s);
  return fmt::format(
      "Noted: sources at {0} from {1} on. To take it back: nightswing mark {2} {0} --at {3:.3f}s "
      "--withdraw",
      analysis::name_of(side),
      duration_text(t_s),
      shell_word(run_.path.string()),
      t_s);
}

}  // namespace nightswing::tracker
