#include "tracker/text/progress.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

using Seconds = std::chrono::duration<double>;
constexpr Seconds kRedraw{0.2};

}  // namespace

Progress::Progress(std::string label, std::optional<long> total, bool quiet)
    : label_(std::move(label)), total_(total && *total > 0 ? total : std::nullopt), quiet_(quiet) {}

Progress::~Progress() {
  line_.clear();
}

void Progress::step(long done) {
  if (quiet_) return;
  const auto now = std::chrono::steady_clock::now();
  if (line_.on_terminal()) {
    if (now - last_ < kRedraw) return;
    last_ = now;
    std::string text = fmt::format("{} {}", label_, done);
    if (total_ && done > 0) {
      const double share = std::min(1.0, static_cast<double>(done) / static_cast<double>(*total_));
      const double left_s = Seconds(now - begin_).count() * (1.0 - share) / share;
      text += fmt::format(" of {}, {} left", *total_, duration_text(left_s));
    }
    line_.show(text);
  } else if (total_) {
    const long tenth = std::min(10L, 10 * done / *total_);
    if (tenth == last_tenth_) return;
    last_tenth_ = tenth;
    line_.show(fmt::format("{} {} of {} ({} %)", label_, done, *total_, 10 * tenth));
  }
}

}  // namespace nightswing::tracker
