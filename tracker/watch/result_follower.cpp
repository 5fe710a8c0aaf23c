#include "tracker/watch/result_follower.h"

#include <algorithm>
#include <system_error>
#include <utility>

#include "analysis/apparatus/apparatus_file.h"
#include "analysis/quantities/input_error.h"
#include "tracker/result/night_of_run.h"
#include "tracker/run/event_log.h"
#include "tracker/run/wall_file.h"
#include "tracker/thread_priority.h"

namespace nightswing::tracker {
namespace {

using analysis::SideChange;

constexpr double kCameraEvery_s = 60.0;
constexpr double kAgainGrowth = 1.25;
constexpr double kFirstAgain_s = 120.0;
constexpr std::size_t kRowsAtOnce = 4096;
constexpr std::size_t kPathPositions = 2048;

bool are_same(const SideChange& a, const SideChange& b) {
  return a.side == b.side && a.t_s == b.t_s;
}

}  // namespace

RunReader::RunReader(RunFolder run, double target_relative)
    : run_(std::move(run)),
      options_{.target_relative = target_relative},
      estimate_(options_),
      tail_(run_.track()) {}

ResultSoFar RunReader::look() {
  look_at_wall();
  look_at_apparatus();
  look_at_camera();
  look_at_marks();
  if (stale_) read_again();
  feed_new();
  if (estimate_.refit_is_due()) {
    if (last_t_s_ >= next_again_s_) read_again();
    estimate_.refit();
  }
  if (!has_rows_) return {.target_relative = options_.target_relative};
  return result_so_far(estimate_.result(),
                       map_ ? LengthsIn::kMillimetres : LengthsIn::kPixels,
                       options_.target_relative);
}

// In each, what throws comes first: a file that cannot be read changes nothing and is looked at
// again.

void RunReader::look_at_wall() {
  const auto mark = file_mark(run_.wall());
  if (mark == wall_mark_) return;
  std::optional<calibration::WallMap> map;
  if (mark) map = read_wall_map(run_.wall());
  map_ = std::move(map);
  wall_mark_ = mark;
  stale_ = true;
}

void RunReader::look_at_apparatus() {
  const auto mark = file_mark(run_.apparatus());
  if (mark == apparatus_mark_) return;
  std::optional<analysis::Apparatus> apparatus;
  if (mark) apparatus = analysis::read_apparatus_file(run_.apparatus());
  options_.apparatus = std::move(apparatus);
  apparatus_mark_ = mark;
  stale_ = true;
}

void RunReader::look_at_camera() {
  if (last_t_s_ < next_camera_s_) return;
  const auto mark = file_mark(run_.camera());
  if (mark == camera_mark_) return;
  // Lines that cannot be read are told by the page and by the analysis.
  CameraReading reading = read_camera_correction(run_, read_run_info(run_));
  const auto bumps = [](const auto& c) { return c ? c->bumps() : 0; };
  if (bumps(reading.correction) != bumps(correction_)) stale_ = true;
  correction_ = std::move(reading.correction);
  camera_mark_ = mark;
  next_camera_s_ = last_t_s_ + kCameraEvery_s;
}

void RunReader::look_at_marks() {
  const auto mark = file_mark(run_.events());
  if (mark == events_mark_) return;
  EventLog log = read_events(run_.events());
  events_mark_ = mark;
  std::vector<SideChange> marks = side_changes_in(log);
  const auto differ = std::ranges::mismatch(marks_, marks, are_same);
  if (differ.in1 != marks_.end()) stale_ = true;  // one was withdrawn or came in between
  for (auto added = differ.in2; !stale_ && added != marks.end(); ++added) {
    estimate_.sources_moved(added->t_s, added->side);
  }
  marks_ = std::move(marks);
}

void RunReader::read_again() {
  fit_path();
  analysis::RunningOptions options = options_;
  if (!map_) options.apparatus.reset();  // positions are in pixels
  estimate_ = analysis::RunningEstimate(options);
  tail_ = TrackTail(run_.track());
  feed_new();
  for (const SideChange& mark : marks_) estimate_.sources_moved(mark.t_s, mark.side);
  next_again_s_ = std::max(kFirstAgain_s, kAgainGrowth * last_t_s_);
  stale_ = false;
}

void RunReader::fit_path() {
  // Evenly spread positions, in a fixed memory.
  std::vector<analysis::WallSample> spread;
  std::size_t stride = 1;
  std::size_t count = 0;
  TrackTail tail(run_.track());
  for (auto rows = tail.read(kRowsAtOnce); !rows.empty(); rows = tail.read(kRowsAtOnce)) {
    for (const TrackRow& row : rows) {
      if (count++ % stride != 0) continue;
      if (const auto sample = on_wall(row)) spread.push_back(*sample);
      if (spread.size() < kPathPositions) continue;
      for (std::size_t k = 0; 2 * k < spread.size(); ++k) spread[k] = spread[2 * k];
      spread.resize(kPathPositions / 2);
      stride *= 2;
    }
  }
  path_ = spread.size() < 2 ? analysis::SpotPath{} : analysis::fit_path(spread);
}

std::optional<analysis::WallSample> RunReader::on_wall(const TrackRow& row) const {
  if (!is_measured(row.spot.state)) return std::nullopt;
  SpotPosition spot = *row.spot.position;
  if (correction_) spot = steady_spot(*correction_, row.t_s, spot);
  if (!map_) {
    return analysis::WallSample{.t_s = row.t_s,
                                .x_mm = spot.x_px,
                                .y_mm = spot.y_px,
                                .u_x_mm = spot.u_x_px,
                                .u_y_mm = spot.u_y_px};
  }
  if (calibration::beyond_horizon(*map_, {spot.x_px, spot.y_px})) return std::nullopt;
  return sample_on_wall(*map_, row.t_s, spot);
}

void RunReader::feed_new() {
  for (auto rows = tail_.read(kRowsAtOnce); !rows.empty(); rows = tail_.read(kRowsAtOnce)) {
    for (const TrackRow& row : rows) {
      last_t_s_ = row.t_s;
      const auto sample = on_wall(row);
      if (!sample) continue;
      has_rows_ = true;
      for (const analysis::SwingSample& along : analysis::along_path(path_, {&*sample, 1})) {
        estimate_.add(along);
      }
    }
  }
}

ResultFollower::ResultFollower(const RunFolder& run,
                               double target_relative,
                               std::chrono::milliseconds every)
    : reader_(run, target_relative), every_(every), thread_([this] { this->run(); }) {}

ResultFollower::~ResultFollower() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  changed_.notify_all();
  thread_.join();
}

ResultSoFar ResultFollower::latest() const {
  const std::lock_guard lock(mutex_);
  return latest_;
}

void ResultFollower::run() {
  lower_thread_priority(kBelowTracking);
  std::unique_lock lock(mutex_);
  while (!stop_) {
    lock.unlock();
    ResultSoFar now;
    try {
      now = reader_.look();
    } catch (const std::exception& error) {
      // The track does not depend on this; the next look may find the file mended.
      now.sentence = std::string("no estimate: ") + error.what();
    }
    lock.lock();
    latest_ = std::move(now);
    changed_.wait_for(lock, every_, [this] { return stop_; });
  }
}

}  // namespace nightswing::tracker
