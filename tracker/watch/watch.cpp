#include "tracker/watch/watch.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>
#include <opencv2/core/utility.hpp>

#include "analysis/quantities/input_error.h"
#include "tracker/frames/mean_picture.h"
#include "tracker/night_tracking.h"
#include "tracker/run/event_log.h"
#include "tracker/version.h"
#include "tracker/watch/clock_steps.h"
#include "tracker/watch/disk_space.h"
#include "tracker/watch/disk_writer.h"
#include "tracker/watch/earlier_run.h"
#include "tracker/watch/picture_pace.h"
#include "tracker/watch/result_follower.h"
#include "tracker/watch/strip_video.h"
#include "tracker/watch/time_base.h"
#include "tracker/watch/watch_file.h"

namespace nightswing::tracker {
namespace {

constexpr std::chrono::milliseconds kPatience{200};
constexpr double kHousekeeping_s = 5.0;
constexpr double kIdle_s = 1.0;
constexpr double kFirstPace_s = 120.0;     // by then it can be said how evenly pictures come
constexpr double kUsualNight_s = 86400.0;  // room for so long is set aside if no end is known
constexpr double kLeastStep_s = 1e-6;      // the track keeps microseconds, and its times must grow
constexpr std::int64_t kReservedForEvents = 1'000'000;

/// One watch from its beginning to its end.
class Watching {
 public:
  Watching(const WatchRequest& request,
           const OpenCamera& open,
           const Clock& clock,
           const WatchHooks& hooks)
      : request_(request),
        open_(open),
        clock_(clock),
        hooks_(hooks),
        run_(run_folder_at(request.run)) {
    summary_.run = run_;
    if (std::filesystem::exists(run_.path)) lock_and_read();
    if (!earlier_ && is_end_past()) {
      throw InputError(fmt::format("{} is past; name an end that is still to come", request_.end));
    }
  }

  WatchSummary run() {
    LivePicture first;
    if (is_over_already() || !open_camera() || !await_first(first)) return summary_;
    check_view_of(first);
    begin(first.steady_s);
    DiskWriter disk(
        [this] {
          night_->sync();
          events_->sync();
        },
        request_.sync_every);
    see(first);
    LivePicture live;
    while (summary_.ended.empty()) {
      const bool came = grabber_->next(live, kPatience);
      take_notices();  // of what was before the picture
      if (came) see(live);
      keep_house();
      disk.check();
      summary_.ended = why_end();
    }
    end();
    disk.check();  // Linux tells once that it could not write, and perhaps told that thread
    return summary_;
  }

 private:
  void lock_and_read() {
    lock_.emplace(run_);
    earlier_ = read_earlier_run(run_);
    if (!earlier_) return;
    check_same_request(run_, *earlier_, request_.every, request_.scale_text);
    if (earlier_->watch.end == request_.end) {
      request_.end_utc = earlier_->watch.end_utc;  // 07:00 is that of the first evening
    }
  }

  /// The folder is made only now, so that a watch that cannot begin leaves nothing behind.
  void make_folder() {
    run_ = resume_run_folder(request_.run);
    if (lock_) return;
    lock_and_read();
    if (earlier_) {
      throw InputError(
          fmt::format("another program has begun a run in {} just now; give --run "
                      "another folder",
                      run_.path.string()));
    }
  }

  /// False if it was asked to stop before.
  bool open_camera() {
    auto camera = open_([this] { return is_asked_to_stop(); });
    if (!camera) return false;
    grabber_.emplace(std::move(camera), open_, clock_, request_.grabber);
    if (earlier_) check_same_camera(run_, *earlier_, grabber_->facts());
    return true;
  }

  bool is_asked_to_stop() {
    summary_.ended = hooks_.why_stop ? hooks_.why_stop() : "";
    return !summary_.ended.empty();
  }

  [[nodiscard]] WatchFile watch_file() const {
    return {.camera = grabber_->facts().identity,
            .every = request_.every,
            .scale = request_.scale_text,
            .boot = clock_.boot(),
            .steady_at_start_s = time_ ? time_->steady_at_start_s : 0.0,
            .end = request_.end,
            .end_utc = request_.end_utc};
  }

  [[nodiscard]] double t_s(double steady_s) const { return steady_s - time_->steady_at_start_s; }

  [[nodiscard]] UtcTime utc_at(double t_s) const {
    return after(clock_.utc(), t_s - this->t_s(clock_.steady_s()));
  }

  void log(double t_s, const std::string& event, const std::string& detail) {
    events_->append({utc_at(t_s), t_s, event, detail});
    if (hooks_.tell) hooks_.tell(event, detail);
  }
  void log_now(const std::string& event, const std::string& detail) {
    log(t_s(clock_.steady_s()), event, detail);
  }

  [[nodiscard]] bool is_end_past() const {
    return request_.end_utc && clock_.utc() >= *request_.end_utc;
  }

  [[nodiscard]] bool is_over_already() {
    if (!earlier_) return false;
    const bool by_clock = is_end_past();
    // The last line is the mean of the last seconds.
    const bool by_length =
        request_.for_s && earlier_->last_t_s + 2.0 * request_.every_s >= *request_.for_s;
    summary_.was_over = by_clock || by_length;
    if (summary_.was_over) {
      summary_.ended = fmt::format("it was over already ({})", request_.end);
      summary_.last_t_s = earlier_->last_t_s;
      summary_.calibrated = std::filesystem::exists(run_.wall());
    }
    return summary_.was_over;
  }

  [[nodiscard]] std::string why_end() const {
    if (std::string asked = hooks_.why_stop ? hooks_.why_stop() : ""; !asked.empty()) return asked;
    const bool by_length = request_.for_s && t_s(clock_.steady_s()) >= *request_.for_s;
    return is_end_past() || by_length ? request_.end : "";
  }

  /// False if it was asked to stop before.
  bool await_first(LivePicture& first) {
    const auto until = std::chrono::steady_clock::now() + request_.first_picture_patience;
    while (!grabber_->next(first, kPatience)) {
      if (is_asked_to_stop()) return false;
      if (std::chrono::steady_clock::now() < until) continue;
      std::string why;
      for (const CameraNotice& notice : grabber_->take_notices()) why = ": " + notice.text;
      throw InputError(fmt::format(
          "the camera {} was opened but gives no picture{}", grabber_->facts().identity, why));
    }
    return true;
  }

  void check_view_of(LivePicture& first) {
    if (!earlier_ || !earlier_->view) return;
    MeanPicture now;
    now.add(first.picture);
    while (!now.is_whole()) {
      if (!await_first(first)) return;
      now.add(first.picture);
    }
    doubt_ = check_same_view(run_, *earlier_->view, now.mean());
  }

  void begin(double steady_s) {
    make_folder();
    time_ =
        earlier_ ? resumed_time_base(*earlier_, steady_s, clock_) : new_time_base(steady_s, clock_);
    first_t_s_ = t_s(steady_s);
    const CameraFacts& camera = grabber_->facts();
    if (!earlier_) {
      write_run_info(run_,
                     {.program = program_and_version(),
                      .source = camera.identity,
                      .frame_width_px = camera.width_px,
                      .frame_height_px = camera.height_px,
                      .rotation_deg = 0.0,
                      .time_from = fmt::format(
                          "live camera: {}; averages over {}", camera.time_from, request_.every),
                      .start = time_->start,
                      .start_from = "this computer's clock at the first picture"});
    }
    write_watch_file(run_.watch(), watch_file());
    events_.emplace(run_.events());
    night_.emplace(
        run_,
        NightTrackingOptions{.average_s = request_.every_s,
                             .standing = StandingLines::kKept,
                             .scale = request_.scale,
                             .wall_again = true},
        [this](double t_s) { return utc_at(t_s); },
        *events_);
    set_room_aside();
    log_beginning();
    follower_.emplace(run_, request_.target_relative);
  }

  void set_room_aside() {
    double left_s = request_.for_s ? *request_.for_s - t_s(clock_.steady_s()) : kUsualNight_s;
    if (request_.end_utc) left_s = seconds_between(clock_.utc(), *request_.end_utc);
    const double lines =
        std::clamp(left_s, 600.0, 30.0 * kUsualNight_s) / std::max(request_.every_s, 0.1);
    const bool has_room = night_->reserve(static_cast<long>(lines));
    is_room_aside_ = events_->reserve(kReservedForEvents) && has_room;
  }

  void log_beginning() {
    const CameraFacts& camera = grabber_->facts();
    if (!earlier_) {
      log(0.0, "started", camera.identity);
    } else {
      if (earlier_->view) night_->go_on(*earlier_->view, earlier_->last_t_s);
      const bool torn = !night_->torn_line().empty();
      log_now("resumed", time_->resumed + (torn ? "; an unfinished last line was cut off" : ""));
    }
    log_now("camera",
            fmt::format("{}; settings: {}; times: {}",
                        camera.format,
                        text_of(grabber_->settings()),
                        camera.time_from));
    for (const std::string& refused : camera.refused) log_now("warning", refused);
    if (!doubt_.empty()) log_now("warning", doubt_);
    if (!is_room_aside_) {
      log_now("warning",
              fmt::format("the file system of {} sets no room aside for a file: if the disk runs "
                          "full the track ends, so leave room for the night",
                          run_.path.string()));
    }
    if (request_.video_bytes) {
      video_.emplace(
          run_.video(),
          StripVideoOptions{.every_s = request_.every_s, .most_bytes = *request_.video_bytes},
          time_->start);
    }
  }

  void see(const LivePicture& live) {
    const double now_s = t_s(live.steady_s);
    if (now_s < last_t_s_ + kLeastStep_s) return;
    last_t_s_ = now_s;
    const std::string gap = pace_.see(live.steady_s);
    if (!gap.empty() && hooks_.tell) hooks_.tell("gap", gap);
    look_at_clock();
    const SpotMeasurement spot = night_->see({.picture = live.picture, .t_s = now_s, .gap = gap});
    ++summary_.pictures;
    summary_.pictures_by_state.add(spot.state);
    summary_.last_t_s = now_s;
    status_.spot = spot;
    status_.picture_t_s = now_s;
    const std::string ended = video_ ? video_->see(live.picture, now_s, spot) : "";
    if (!ended.empty()) log_now("video ended", ended);
    show(live.picture);
  }

  void show(const cv::Mat& picture) {
    last_shown_s_ = clock_.steady_s();
    status_.t_s = t_s(last_shown_s_);
    status_.utc = clock_.utc();
    status_.pictures = summary_.pictures;
    status_.so_far = follower_->latest();
    if (hooks_.see) hooks_.see(status_, picture);
  }

  void take_notices() {
    for (const CameraNotice& notice : grabber_->take_notices()) {
      const double at_s = std::max(t_s(notice.steady_s), 0.0);
      switch (notice.kind) {
        case CameraNotice::Kind::kLost:
          night_->part();
          status_.camera_fault = notice.text;
          log(at_s, "camera lost", notice.text + "; it is tried again until it is back");
          break;
        case CameraNotice::Kind::kBack:
          status_.camera_fault.clear();
          pace_.come_back();
          log(at_s, "camera back", notice.text);
          break;
        case CameraNotice::Kind::kChanged:
          log(at_s, "camera changed", notice.text);
          break;
      }
    }
  }

  void look_at_clock() {
    if (const auto step = clock_steps_.look(clock_.steady_s(), clock_.utc())) {
      log_now("clock step", *step);
    }
  }

  void look_at_disk() {
    const auto disk = disk_space(run_.path);
    if (!disk) return;
    status_.free_bytes = disk->free_bytes;
    const DiskRoom room = room_on(*disk);
    if (room != DiskRoom::kEverything && video_ && !video_->has_ended()) {
      video_->end();  // without its index, which may find no room, it can be read as well
      log_now("video ended",
              fmt::format("the disk is nearly full ({} left)", size_text(disk->free_bytes)));
    }
    if (room == DiskRoom::kNoPictures && !told_full_) {
      told_full_ = true;
      night_->evidence().stop();
      log_now("warning",
              fmt::format("the disk is nearly full ({} left): no more pictures are kept, the track "
                          "goes on{}",
                          size_text(disk->free_bytes),
                          is_room_aside_ ? " in the room set aside for it" : " while it can"));
    }
  }

  void keep_house() {
    const double now_s = clock_.steady_s();
    look_at_clock();
    if (now_s - last_shown_s_ >= kIdle_s) show({});
    if (now_s < next_house_s_) return;
    next_house_s_ = now_s + kHousekeeping_s;
    look_at_disk();
    if (const auto wall = night_->take_wall()) note(*wall);
    if (!told_pace_ && t_s(now_s) - first_t_s_ > kFirstPace_s) tell_pace();
  }

  void tell_pace() {
    told_pace_ = true;
    if (const std::string text = pace_.text(); !text.empty()) log_now("pictures", text);
  }

  void note(WallReading wall) {
    if (std::filesystem::exists(run_.wall())) return;  // told when it was written
    if (!wall.map && (earlier_ || std::exchange(told_no_scale_, true))) return;
    if (!wall.map) wall.text += "; the wall is looked at again while the camera stands still";
    try {
      note_wall(
          wall, run_, [this](double t_s) { return utc_at(t_s); }, *events_);
    } catch (const InputError& error) {
      return log_now("warning", error.what());
    }
    if (hooks_.tell) hooks_.tell(wall.map ? "calibrated" : "warning", wall.text);
  }

  void end() {
    take_notices();
    night_->finish();
    if (const auto wall = night_->await_wall()) note(*wall);
    if (!told_pace_) tell_pace();
    if (const std::string pauses = pace_.untold_pauses(); !pauses.empty()) log_now("gap", pauses);
    if (video_ && !video_->has_ended()) {
      if (const std::string fault = video_->end(); !fault.empty()) log_now("video ended", fault);
    }
    summary_.ended_t_s = t_s(clock_.steady_s());
    log_now("ended",
            fmt::format("{}: {} pictures ({})",
                        summary_.ended,
                        summary_.pictures,
                        counts_text(summary_.pictures_by_state)));
    summary_.calibrated = std::filesystem::exists(run_.wall());
    night_->sync();
    events_->sync();
  }

  WatchRequest request_;
  const OpenCamera& open_;
  const Clock& clock_;
  const WatchHooks& hooks_;
  RunFolder run_;
  std::optional<RunLock> lock_;
  std::optional<EarlierRun> earlier_;
  std::optional<FrameGrabber> grabber_;
  std::optional<TimeBase> time_;
  std::optional<EventWriter> events_;
  std::optional<NightTracking> night_;
  std::optional<StripVideo> video_;
  std::optional<ResultFollower> follower_;
  ClockSteps clock_steps_;
  PicturePace pace_;
  WatchStatus status_;
  WatchSummary summary_;
  std::string doubt_;
  double first_t_s_ = 0.0;
  double last_t_s_ = -1.0;
  double last_shown_s_ = 0.0;
  double next_house_s_ = 0.0;
  bool is_room_aside_ = false;
  bool told_full_ = false;
  bool told_no_scale_ = false;
  bool told_pace_ = false;
};

}  // namespace

WatchSummary watch(const WatchRequest& request,
                   const OpenCamera& open,
                   const Clock& clock,
                   const WatchHooks& hooks) {
  cv::setNumThreads(1);  // small pictures, one at a time: waking a pool costs more than it saves
  return Watching(request, open, clock, hooks).run();
}

}  // namespace nightswing::tracker
