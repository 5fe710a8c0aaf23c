#include "tracker/frames/photo_times.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/median.h"
#include "tracker/text/pace_text.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

constexpr double kLongSteps = 2.5;  // usual steps; longer is a pause
constexpr double kMostFromLine_s = 0.75;
constexpr std::size_t kFewestForLine = 8;
constexpr double kLeastFileStep_s = 0.05;  // files copied by a computer follow each other faster
constexpr double kMostStepsBack = 0.02;    // share of file times that do not grow
constexpr long kMostMissing = 10'000;      // a larger leap in the numbers is another numbering

using Texts = std::vector<std::string>;

void add(std::string& gap, const std::string& what) {
  gap += (gap.empty() ? "" : "; ") + what;
}

/// How many steps of the camera lie before each photograph: 1, more where numbers are missing.
std::vector<long> steps_by_number(std::span<const PhotoStamp> photos, Texts& gaps) {
  std::vector<long> steps(photos.size(), 1);
  std::vector<double> differences;
  for (std::size_t k = 1; k < photos.size(); ++k) {
    if (!photos[k].number || !photos[k - 1].number) continue;
    if (photos[k].series != photos[k - 1].series) continue;
    steps[k] = *photos[k].number - *photos[k - 1].number;
    differences.push_back(static_cast<double>(steps[k]));
  }
  // Numbers that are no running ones (a date, a clock) say nothing.
  const bool running = !differences.empty() && analysis::median_of(differences) == 1.0;
  for (std::size_t k = 1; k < photos.size(); ++k) {
    if (!running || steps[k] < 1 || steps[k] > kMostMissing) steps[k] = 1;
    if (steps[k] > 1) {
      gaps[k] = fmt::format("{} photographs are missing between {} and {}",
                            steps[k] - 1,
                            photos[k - 1].name,
                            photos[k].name);
    }
  }
  return steps;
}

/// A clock's reading for each photograph, none where it is missing.
struct Clock {
  std::vector<std::optional<UtcTime>> readings;
  bool whole_seconds = false;
  bool has_offset = true;
};

/// The steps of a clock between photographs, mended.
class ClockSteps {
 public:
  ClockSteps(const Clock& clock, const std::vector<long>& steps) : clock_(clock), steps_(steps) {
    step_s_.assign(steps.size(), 0.0);
    is_break_.assign(steps.size(), false);
    usual_s_ = usual_step_s();
  }

  void mend(Texts& gaps) {
    std::optional<std::size_t> last;
    long since = 0;
    for (std::size_t k = 0; k < steps_.size(); ++k) {
      since += steps_[k];
      if (k > 0) step_s_[k] = usual_s_ * static_cast<double>(steps_[k]);
      if (!clock_.readings[k]) {
        ++unread_;
        continue;
      }
      if (last && *last + 1 == k) judge(k, gaps);
      if (last && *last + 1 < k) judge_after_unread(*last, k, since);
      last = k;
      since = 0;
    }
  }

  /// Seconds since the first photograph.
  [[nodiscard]] std::vector<double> times_s() const {
    std::vector<double> times(step_s_.size(), 0.0);
    for (std::size_t k = 1; k < times.size(); ++k) times[k] = times[k - 1] + step_s_[k];
    return times;
  }
  /// Whether time does not simply go on at a photograph: a pause, or a clock that was set.
  [[nodiscard]] const std::vector<bool>& breaks() const { return is_break_; }
  [[nodiscard]] double usual_s() const { return usual_s_; }
  [[nodiscard]] long unread() const { return unread_; }

 private:
  [[nodiscard]] double raw_s(std::size_t from, std::size_t to) const {
    return seconds_between(*clock_.readings[from], *clock_.readings[to]);
  }

  [[nodiscard]] double usual_step_s() const {
    std::vector<double> all_s;
    for (std::size_t k = 1; k < steps_.size(); ++k) {
      if (!clock_.readings[k] || !clock_.readings[k - 1]) continue;
      all_s.push_back(raw_s(k - 1, k) / static_cast<double>(steps_[k]));
    }
    if (all_s.empty()) return 1.0;
    if (!clock_.whole_seconds) return analysis::median_of(all_s);
    // Whole seconds make 2, 3, 2, 3 of 2.5: the mean of the steps that are no breaks.
    const double middle_s = analysis::median_of(all_s);
    double sum_s = 0.0;
    long counted = 0;
    for (const double step_s : all_s) {
      if (std::abs(step_s - middle_s) > 1.5) continue;
      sum_s += step_s;
      ++counted;
    }
    return counted > 0 ? sum_s / static_cast<double>(counted) : middle_s;
  }

  void judge(std::size_t k, Texts& gaps) {
    const double raw = raw_s(k - 1, k);
    const double expected_s = step_s_[k];
    const double slack_s = (clock_.whole_seconds ? 1.0 : 0.0) + 0.5 * expected_s;
    const bool stands = clock_.whole_seconds ? raw < 0.0 : raw <= 0.0;
    if (stands) {
      set_back(k, expected_s - raw, slack_s, gaps);
    } else if (!clock_.has_offset && steps_[k] == 1 && expected_s < kHour_s / 6.0 &&
               std::abs(raw - expected_s - kHour_s) < slack_s) {
      is_break_[k] = true;
      add(gaps[k],
          "the camera's clock went forward by an hour (summer time), which was taken back");
    } else if (raw > kLongSteps * expected_s + (clock_.whole_seconds ? 1.0 : 0.0)) {
      step_s_[k] = raw;
      is_break_[k] = true;
      leaps_.push_back(k);
      add(gaps[k], fmt::format("no photograph for {}", duration_text(raw)));
    } else {
      step_s_[k] = raw;
    }
  }

  /// The clock was set back by so much; a leap forward that this undoes was none of time.
  void set_back(std::size_t k, double by_s, double slack_s, Texts& gaps) {
    is_break_[k] = true;
    add(gaps[k],
        fmt::format("the camera's clock went back by {}; one usual step was taken instead",
                    duration_text(by_s)));
    for (const std::size_t leap : leaps_) {
      const double expected_s = usual_s_ * static_cast<double>(steps_[leap]);
      if (std::abs(step_s_[leap] - expected_s - by_s) > 2.0 * slack_s) continue;
      step_s_[leap] = expected_s;
      add(gaps[leap], "no: the camera's clock was wrong here, as it shows later");
      std::erase(leaps_, leap);
      return;
    }
  }

  /// Photographs without a time lie between: they share what the clock says has passed.
  void judge_after_unread(std::size_t from, std::size_t to, long steps) {
    const double raw = raw_s(from, to);
    const double expected_s = usual_s_ * static_cast<double>(steps);
    if (std::abs(raw - expected_s) > 0.5 * expected_s) return;
    for (std::size_t k = from + 1; k <= to; ++k) step_s_[k] *= raw / expected_s;
  }

  const Clock& clock_;
  const std::vector<long>& steps_;
  std::vector<double> step_s_;
  std::vector<bool> is_break_;
  std::vector<std::size_t> leaps_;
  double usual_s_ = 1.0;
  long unread_ = 0;
};

/// Puts times that are known to the second on a line over the numbers, if that fits.
bool straighten(std::vector<double>& t_s,
                const std::vector<long>& steps,
                std::size_t begin,
                std::size_t end) {
  if (end - begin < kFewestForLine) return false;
  double n = 0.0;
  double sum_k = 0.0;
  double sum_t = 0.0;
  double sum_kk = 0.0;
  double sum_kt = 0.0;
  long position = 0;
  std::vector<double> at;
  for (std::size_t k = begin; k < end; ++k) {
    if (k > begin) position += steps[k];
    at.push_back(static_cast<double>(position));
    n += 1.0;
    sum_k += at.back();
    sum_t += t_s[k];
    sum_kk += at.back() * at.back();
    sum_kt += at.back() * t_s[k];
  }
  const double slope = (n * sum_kt - sum_k * sum_t) / (n * sum_kk - sum_k * sum_k);
  const double level = (sum_t - slope * sum_k) / n;
  if (!(slope > 0.0)) return false;
  for (std::size_t k = begin; k < end; ++k) {
    if (std::abs(t_s[k] - level - slope * at[k - begin]) > kMostFromLine_s) return false;
  }
  for (std::size_t k = begin; k < end; ++k) t_s[k] = level + slope * at[k - begin];
  return true;
}

/// Photographs of one and the same second are spread over it.
void spread(std::vector<double>& t_s, std::size_t begin, std::size_t end) {
  for (std::size_t first = begin; first < end;) {
    std::size_t next = first;
    while (next < end && t_s[next] == t_s[first]) ++next;
    const double second_s = t_s[first];
    const double share_s = 1.0 / static_cast<double>(next - first);
    for (std::size_t k = first; k < next; ++k) {
      t_s[k] = second_s + share_s * (static_cast<double>(k - first) + 0.5) - 0.5;
    }
    first = next;
  }
}

void refine_whole_seconds(std::vector<double>& t_s,
                          const std::vector<long>& steps,
                          const std::vector<bool>& breaks,
                          PhotoTimes& times) {
  bool uneven = false;
  for (std::size_t begin = 0; begin < t_s.size();) {
    std::size_t end = begin + 1;
    while (end < t_s.size() && !breaks[end]) ++end;
    if (!straighten(t_s, steps, begin, end)) {
      spread(t_s, begin, end);
      uneven = uneven || end - begin >= kFewestForLine;
    }
    begin = end;
  }
  // Two stretches may come closer than they are by half a second each.
  for (std::size_t k = 1; k < t_s.size(); ++k) t_s[k] = std::max(t_s[k], t_s[k - 1] + 1e-3);
  if (uneven) {
    times.warnings.push_back(
        "the photographs are not evenly spaced and their clock counts whole seconds: times are "
        "uncertain by 0.3 s");
  }
}

Clock camera_clock(std::span<const PhotoStamp> photos) {
  Clock clock;
  for (const PhotoStamp& photo : photos) {
    clock.readings.push_back(photo.camera);
    if (!photo.camera) continue;
    clock.whole_seconds = clock.whole_seconds || !photo.has_subseconds;
    clock.has_offset = clock.has_offset && photo.has_offset;
  }
  if (clock.has_offset) return clock;
  // With offsets in some only, the local time of those without cannot be joined to them.
  for (std::size_t k = 0; k < photos.size(); ++k) {
    if (photos[k].has_offset) clock.readings[k].reset();
  }
  return clock;
}

Clock file_clock(std::span<const PhotoStamp> photos) {
  Clock clock;
  for (const PhotoStamp& photo : photos) clock.readings.push_back(photo.file);
  return clock;
}

/// Whether the times of the files can be those of the photographs.
bool is_plausible(const Clock& files) {
  std::vector<double> steps_s;
  for (std::size_t k = 1; k < files.readings.size(); ++k) {
    if (!files.readings[k] || !files.readings[k - 1]) return false;
    steps_s.push_back(seconds_between(*files.readings[k - 1], *files.readings[k]));
  }
  if (steps_s.empty()) return false;
  const auto back = std::ranges::count_if(steps_s, [](double step_s) { return step_s <= 0.0; });
  return static_cast<double>(back) <= kMostStepsBack * static_cast<double>(steps_s.size()) &&
         analysis::median_of(steps_s) >= kLeastFileStep_s;
}

void take_from(const Clock& clock, const std::vector<long>& steps, PhotoTimes& times) {
  ClockSteps mended(clock, steps);
  mended.mend(times.gaps);
  times.t_s = mended.times_s();
  if (clock.whole_seconds) refine_whole_seconds(times.t_s, steps, mended.breaks(), times);
  const double first_s = times.t_s.front();
  for (double& t_s : times.t_s) t_s -= first_s;
  if (mended.unread() > 0) {
    times.warnings.push_back(
        fmt::format("{} photographs carry no time that can be used and were placed by the usual "
                    "step of {:.3g} s",
                    mended.unread(),
                    mended.usual_s()));
  }
}

void take_pace(double frame_every_s,
               const std::vector<long>& steps,
               const Clock& camera,
               PhotoTimes& times) {
  long position = 0;
  for (std::size_t k = 0; k < steps.size(); ++k) {
    if (k > 0) position += steps[k];
    times.t_s.push_back(frame_every_s * static_cast<double>(position));
  }
  std::vector<double> said_s;
  for (std::size_t k = 1; k < steps.size(); ++k) {
    if (!camera.readings[k] || !camera.readings[k - 1]) continue;
    said_s.push_back(seconds_between(*camera.readings[k - 1], *camera.readings[k]) /
                     static_cast<double>(steps[k]));
  }
  if (said_s.empty()) return;
  const double clock_s = analysis::median_of(said_s);
  const double grain_s = camera.whole_seconds ? 1.0 : 0.0;
  if (std::abs(clock_s - frame_every_s) <= 0.1 * frame_every_s + grain_s) return;
  times.warnings.push_back(
      fmt::format("the photographs' own clock has {:.3g} s between two of them, not {:.3g} s",
                  clock_s,
                  frame_every_s));
}

}  // namespace

PhotoTimes time_photos(std::span<const PhotoStamp> photos, const SourceOptions& options) {
  PhotoTimes times;
  times.gaps.resize(photos.size());
  const std::vector<long> steps = steps_by_number(photos, times.gaps);
  const Clock camera = camera_clock(photos);
  const auto read = std::ranges::count_if(camera.readings, [](const auto& r) { return !!r; });
  const bool has_camera = 2 * read > std::ssize(photos);
  const PhotoStamp& first = photos.front();
  if (first.camera && first.has_offset) {
    times.start = first.camera;
    times.start_from = "EXIF time of the first photograph";
  } else {
    times.start_from = first.camera
                           ? fmt::format(
                                 "not known: the camera's local time {} has no offset from UTC; "
                                 "--start tells it",
                                 iso_text(*first.camera).substr(0, 19))
                           : "not known: times are relative to the first photograph";
  }
  std::optional<double> pace_s = options.frame_every_s;
  if (!pace_s && options.whole_s) {
    long last = 0;
    for (std::size_t k = 1; k < steps.size(); ++k) last += steps[k];
    if (last == 0) throw InputError("a single photograph has no pace; leave --end out");
    pace_s = *options.whole_s / static_cast<double>(last);
  }
  if (pace_s) {
    take_pace(*pace_s, steps, camera, times);
    times.time_from = time_from_steps(*pace_s);
  } else if (has_camera) {
    take_from(camera, steps, times);
    times.time_from = "camera times of the photographs (EXIF)";
  } else if (const Clock files = file_clock(photos); is_plausible(files)) {
    take_from(files, steps, times);
    times.time_from = "times of the files";
    times.start = times.start ? times.start : first.file;
    times.start_from = first.camera ? times.start_from : "time of the first file";
    times.warnings.push_back(
        "the photographs carry no time: the times of their files are used, which copying or "
        "editing them would have changed");
  } else {
    throw InputError(
        "the photographs carry no time, and their files were all written at once; say how much "
        "real "
        "time lies between two of them, such as --frame-every 5s");
  }
  return times;
}

}  // namespace nightswing::tracker
