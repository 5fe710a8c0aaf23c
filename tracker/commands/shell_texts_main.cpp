// Writes manual page and shell completions into a folder: nightswing_shell_texts FOLDER. Part of
// the build, not installed.
#include <exception>
#include <filesystem>

#include <fmt/format.h>

#include "tracker/commands/program.h"
#include "tracker/commands/shell_texts.h"
#include "tracker/run/line_file.h"

int main(int argc, char** argv) {
  if (argc != 2) {
    fmt::print(stderr, "usage: nightswing_shell_texts FOLDER\n");
    return 2;
  }
  try {
    namespace tracker = nightswing::tracker;
    const std::filesystem::path folder = argv[1];
    const auto program = tracker::make_program();
    tracker::write_whole_file(folder / "nightswing.1", tracker::manual_page(*program));
    tracker::write_whole_file(folder / "nightswing.bash", tracker::bash_completion(*program));
    tracker::write_whole_file(folder / "_nightswing", tracker::zsh_completion(*program));
    tracker::write_whole_file(folder / "nightswing.fish", tracker::fish_completion(*program));
  } catch (const std::exception& error) {
    fmt::print(stderr, "nightswing_shell_texts: {}\n", error.what());
    return 1;
  }
  return 0;
}
