#pragma once

#include <chrono>
#include <thread>

namespace nightswing::test {

/// Waits until it is so; false if it is not in time, so that a failing test ends. Minutes, since an
/// instrumented program beside other tests is slower by ten times and more. Between two looks it
/// leaves the processor to what it waits for, and to the tests beside it.
template <typename Condition>
[[nodiscard]] bool await(const Condition& condition,
                         std::chrono::milliseconds patience = std::chrono::minutes(4)) {
  const auto end = std::chrono::steady_clock::now() + patience;
  while (!condition()) {
    if (std::chrono::steady_clock::now() > end) return false;
    std::this_thread::sleep_for(std::chrono::microseconds(200));
  }
  return true;
}

}  // namespace nightswing::test
