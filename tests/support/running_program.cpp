#include "tests/support/running_program.h"

#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <utility>

#include <doctest/doctest.h>

namespace nightswing::test {

long lines_in(const std::filesystem::path& file) {
  const std::string text = text_of(file);
  return std::count(text.begin(), text.end(), '\n');
}

RunningProgram::RunningProgram(const std::string& arguments, std::string errors)
    : errors_(std::move(errors)) {
  const std::string command = "exec " + std::string(NIGHTSWING_BINARY_DIR) +
                              "/tracker/nightswing " + arguments + " >/dev/null 2>" + errors_;
  child_ = ::fork();
  REQUIRE(child_ >= 0);
  if (child_ == 0) {
    ::execl("/bin/sh", "sh", "-c", command.c_str(), nullptr);
    ::_exit(127);
  }
}

RunningProgram::~RunningProgram() {
  if (!is_running()) return;
  ::kill(child_, SIGKILL);
  ::waitpid(child_, nullptr, 0);
}

void RunningProgram::send(int signal) const {
  ::kill(child_, signal);
}

bool RunningProgram::is_running() {
  if (ended_) return false;
  ended_ = ::waitpid(child_, &status_, WNOHANG) != 0;
  return !ended_;
}

int RunningProgram::status() {
  REQUIRE(await([this] { return !is_running(); }));
  return WIFEXITED(status_) ? WEXITSTATUS(status_) : 128 + WTERMSIG(status_);
}

}  // namespace nightswing::test
