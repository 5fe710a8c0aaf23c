#include <cstdio>
#include <exception>
#include <filesystem>

#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include "analysis/quantities/input_error.h"
#include "tracker/commands/program.h"
#include "tracker/text/say.h"
#include "tracker/text/usage_error.h"

namespace {

using nightswing::tracker::say;

constexpr int kCouldNotBeDone = 1;
constexpr int kWrongUsage = 2;

int run(int argc, char** argv) {
  try {
    const auto program = nightswing::tracker::make_program();
    try {
      program->parse(argc, argv);
    } catch (const CLI::ParseError& error) {
      // Without this, a mistyped command would only be told that a command is missing.
      if (program->get_subcommands().empty() && !program->remaining().empty()) {
        say(stderr,
            fmt::format("'{}' is no command of nightswing; see nightswing --help\n",
                        program->remaining().front()));
        return kWrongUsage;
      }
      return program->exit(error) == 0 ? 0 : kWrongUsage;
    }
    return 0;
  } catch (const nightswing::tracker::UsageError& error) {
    say(stderr, fmt::format("nightswing: {}\n", error.what()));
    return kWrongUsage;
  } catch (const nightswing::InputError& error) {
    say(stderr, fmt::format("nightswing: {}\n", error.what()));
  } catch (const std::filesystem::filesystem_error& error) {
    say(stderr,
        fmt::format("nightswing: cannot get at {}: {}; see that you may read it, and write beside "
                    "it\n",
                    error.path1().string(),
                    error.code().message()));
  } catch (const std::exception& error) {
    say(stderr, fmt::format("nightswing: stopped by a fault of its own: {}\n", error.what()));
  }
  return kCouldNotBeDone;
}

}  // namespace

int main(int argc, char** argv) {
  return run(argc, argv);
}
