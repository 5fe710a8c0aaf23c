#include "tracker/text/terminal_line.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <fmt/format.h>

#include "tracker/text/say.h"

namespace nightswing::tracker {
namespace {

constexpr const char* kFromItsBeginning = "\r\x1b[K";

}  // namespace

TerminalLine::TerminalLine(std::FILE* stream)
    : stream_(stream), terminal_(::isatty(::fileno(stream)) == 1) {}

void TerminalLine::show(const std::string& text) {
  if (terminal_) {
    // A line that wraps cannot be rewritten.
    winsize size{};
    const bool known = ::ioctl(::fileno(stream_), TIOCGWINSZ, &size) == 0 && size.ws_col > 1;
    const std::size_t most = known ? size.ws_col - 1U : text.size();
    say(stream_, fmt::format("{}{}", kFromItsBeginning, text.substr(0, most)));
  } else {
    say(stream_, text + "\n");
  }
  shown_ = terminal_;
}

void TerminalLine::clear() {
  if (shown_) say(stream_, kFromItsBeginning);
  shown_ = false;
}

}  // namespace nightswing::tracker
