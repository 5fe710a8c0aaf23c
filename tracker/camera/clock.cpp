#include "tracker/camera/clock.h"

#include <ctime>

#include <chrono>
#include <fstream>

namespace nightswing::tracker {
namespace {

double seconds_of(clockid_t clock) {
  timespec now{};
  ::clock_gettime(clock, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

}  // namespace

double SystemClock::steady_s() const {
  return seconds_of(CLOCK_BOOTTIME);
}

double SystemClock::monotonic_s() const {
  return seconds_of(CLOCK_MONOTONIC);
}

UtcTime SystemClock::utc() const {
  return std::chrono::floor<UtcTime::duration>(std::chrono::system_clock::now());
}

std::string SystemClock::boot() const {
  std::ifstream file("/proc/sys/kernel/random/boot_id");
  std::string word;
  file >> word;
  return word;
}

}  // namespace nightswing::tracker
