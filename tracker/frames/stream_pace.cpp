#include "tracker/frames/stream_pace.h"

#include <algorithm>

namespace nightswing::tracker {
namespace {

constexpr double kPause = 4.0;  // usual distances; less is the jitter of any network
constexpr double kLeastPause_s = 0.3;
constexpr double kKept = 0.6;              // of the usual distance
constexpr double kOpening_s = 0.5;         // the pace is not known before
constexpr double kLongestBurst_s = 1.0;    // of a sender that always sends in bursts
constexpr double kLongestCatchUp_s = 3.0;  // nothing waits longer: the pace has changed
constexpr double kMemory = 30.0;           // pictures

}  // namespace

bool StreamPace::is_new(double arrival_s) {
  if (!last_s_) {
    last_s_ = arrival_s;
    begin_s_ = arrival_s;
    since_s_ = arrival_s;
    return false;
  }
  const double distance_s = arrival_s - *last_s_;
  last_s_ = arrival_s;
  const double pause_s = std::max(kPause * usual_s_, kLeastPause_s);
  if (!catching_up_ && distance_s > pause_s) {
    catching_up_ = true;
    since_s_ = arrival_s;
    return false;  // it has waited, nobody knows how long
  }
  if (catching_up_) {
    const bool kept = distance_s >= kKept * usual_s_ && arrival_s - begin_s_ >= kOpening_s &&
                      distance_s <= std::max(pause_s, kLongestBurst_s);
    const bool other_pace = arrival_s - since_s_ > kLongestCatchUp_s;
    if (kept || other_pace) catching_up_ = false;
    if (other_pace) usual_s_ = distance_s;
    if (other_pace) is_opening_ = false;
  }
  // A burst is not the pace.
  if (is_opening_ || !catching_up_) learn(distance_s);
  if (!catching_up_) is_opening_ = false;
  return !catching_up_;
}

void StreamPace::learn(double distance_s) {
  arrivals_ = std::min(arrivals_ + 1.0, kMemory);
  usual_s_ += (distance_s - usual_s_) / arrivals_;
}

}  // namespace nightswing::tracker
