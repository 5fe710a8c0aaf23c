#pragma once

#include <chrono>
#include <optional>
#include <string>

#include "tracker/text/terminal_line.h"

namespace nightswing::tracker {

/// Says on stderr how far a long job is: one line rewritten on a terminal, a plain line for each
/// tenth elsewhere, nothing when quiet.
class Progress {
 public:
  /// total: how many steps the job will take, nothing (or 0) if not known.
  Progress(std::string label, std::optional<long> total, bool quiet);
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  void step(long done);

 private:
  std::string label_;
  std::optional<long> total_;
  bool quiet_;
  TerminalLine line_{stderr};
  long last_tenth_ = 0;
  std::chrono::steady_clock::time_point begin_ = std::chrono::steady_clock::now();
  std::chrono::steady_clock::time_point last_;
};

}  // namespace nightswing::tracker
