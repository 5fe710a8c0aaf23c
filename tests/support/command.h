#pragma once

#include <string>

namespace nightswing::test {

struct CommandResult {
  int status;          ///< exit status; 128 + signal if it was killed by one
  std::string output;  ///< what it wrote to stdout
  std::string errors;  ///< what it wrote to stderr
};

/// Runs a shell command and waits for it.
[[nodiscard]] CommandResult run_command(const std::string& command);

}  // namespace nightswing::test
