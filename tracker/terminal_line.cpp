#include "tracker/terminal_line.h"

#include <unistd.h>

#include <fmt/format.h>

namespace nightswing::tracker {
namespace {

constexpr const char* kFromItsBeginning = "\r\x1b[K";

}  // namespace

TerminalLine::TerminalLine(std::FILE* stream)
    : stream_(stream), terminal_(::isatty(::fileno(stream)) == 1) {}

void TerminalLine::show(const std::string& text) {
  if (terminal_) {
    fmt::print(stream_, "{}{}", kFromItsBeginning, text);
  } else {
    fmt::print(stream_, "{}\n", text);
  }
  shown_ = terminal_;
  std::fflush(stream_);
}

void TerminalLine::clear() {
  if (shown_) fmt::print(stream_, "{}", kFromItsBeginning);
  shown_ = false;
}

}  // namespace nightswing::tracker
