#pragma once

#include <chrono>
#include <thread>

namespace nightswing::test {

/// Between two looks at whether something has come true: leaves the processor to what it waits for,
/// and to the tests beside it. No test relies on how long it is.
inline void take_breath() {
  std::this_thread::sleep_for(std::chrono::microseconds(200));
}

}  // namespace nightswing::test
