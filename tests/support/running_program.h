#pragma once

#include <sys/types.h>

#include <filesystem>
#include <string>

#include "tests/support/await.h"
#include "tests/support/temporary_folder.h"

namespace nightswing::test {

[[nodiscard]] long lines_in(const std::filesystem::path& file);

/// nightswing in a process of its own, which is killed at the end if it still runs.
class RunningProgram {
 public:
  ///   errors  file that stderr is written to
  RunningProgram(const std::string& arguments, std::string errors);
  ~RunningProgram();
  RunningProgram(const RunningProgram&) = delete;
  RunningProgram& operator=(const RunningProgram&) = delete;

  void send(int signal) const;
  [[nodiscard]] bool is_running();
  /// Waits for its end: the exit status, or 128 + signal.
  int status();
  [[nodiscard]] std::string errors() const { return text_of(errors_); }

 private:
  std::string errors_;
  pid_t child_ = -1;
  int status_ = 0;
  bool ended_ = false;
};

}  // namespace nightswing::test
