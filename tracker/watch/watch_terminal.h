#pragma once

#include <string>

#include "tracker/text/terminal_line.h"
#include "tracker/watch/watch.h"

namespace nightswing::tracker {

/// Says on stderr how a watch is going: one line rewritten on a terminal, elsewhere a line every
/// ten minutes; events always.
class WatchTerminal {
 public:
  explicit WatchTerminal(bool quiet) : quiet_(quiet) {}

  void show(const WatchStatus& status);
  void tell(const std::string& event, const std::string& detail);
  /// Leaves the terminal clean.
  void finish() { line_.clear(); }

 private:
  bool quiet_;
  TerminalLine line_{stderr};
  double next_s_ = 0.0;
};

/// `3 h 12 min: spot found; ` and what the night has shown so far, before that
/// `3 h 12 min: spot found at 612.31 px, 345.02 px (width 4.1 px)`, or why there is none.
[[nodiscard]] std::string text_of(const WatchStatus& status);

}  // namespace nightswing::tracker
