#pragma once

#include <string>

namespace nightswing::tracker {

/// While this lives, SIGINT and SIGTERM ask for an end instead of ending the program; a second one
/// ends it at once. Nor does a reader of what is said end it by going away. One at a time.
class StopSignal {
 public:
  /// What becomes of it when the terminal is closed or a connection to it lost (SIGHUP).
  enum class Hangup {
    kEnds,    ///< cleanly
    kGoesOn,  ///< without a terminal
  };
  explicit StopSignal(Hangup hangup = Hangup::kEnds);
  ~StopSignal();
  StopSignal(const StopSignal&) = delete;
  StopSignal& operator=(const StopSignal&) = delete;

  /// Whether an end was asked for.
  [[nodiscard]] static bool came();
  /// Who asked: `Ctrl-C`, `SIGTERM` or `closed terminal`; empty if nobody did.
  [[nodiscard]] static std::string name();
};

}  // namespace nightswing::tracker
