#pragma once

#include <cstdio>
#include <string>

namespace nightswing::tracker {

/// Words on how it goes: one line that is rewritten on a terminal, elsewhere a line for each.
class TerminalLine {
 public:
  explicit TerminalLine(std::FILE* stream);

  [[nodiscard]] bool on_terminal() const { return terminal_; }
  void show(const std::string& text);
  /// Takes away what stands on the terminal.
  void clear();

 private:
  std::FILE* stream_;
  bool terminal_;
  bool shown_ = false;
};

}  // namespace nightswing::tracker
