#pragma once

#include <string>

namespace nightswing::tracker {

/// While this lives, SIGINT and SIGTERM ask for an end instead of ending the program; a second one
/// ends it at once. One at a time.
class StopSignal {
 public:
  StopSignal();
  ~StopSignal();
  StopSignal(const StopSignal&) = delete;
  StopSignal& operator=(const StopSignal&) = delete;

  /// Whether an end was asked for.
  [[nodiscard]] static bool came();
  /// Who asked: `Ctrl-C` or `SIGTERM`; empty if nobody did.
  [[nodiscard]] static std::string name();
};

}  // namespace nightswing::tracker
