#include "tests/support/command.h"

#include <sys/wait.h>

#include <cstdlib>

#include "tests/support/temporary_folder.h"

namespace nightswing::test {

CommandResult run_command(const std::string& command) {
  const TemporaryFolder folder;
  const auto out = folder / "out";
  const auto err = folder / "err";
  const std::string line = "( " + command + " ) </dev/null >" + out.string() + " 2>" + err.string();
  const int raw = std::system(line.c_str());
  const int status = WIFEXITED(raw) ? WEXITSTATUS(raw) : 128 + WTERMSIG(raw);
  return {.status = status, .output = text_of(out), .errors = text_of(err)};
}

}  // namespace nightswing::test
