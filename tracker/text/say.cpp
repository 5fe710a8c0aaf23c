#include "tracker/text/say.h"

namespace nightswing::tracker {

void say(std::FILE* stream, std::string_view text) noexcept {
  if (std::fwrite(text.data(), 1, text.size(), stream) != text.size() || std::fflush(stream) != 0) {
    std::clearerr(stream);
  }
}

}  // namespace nightswing::tracker
