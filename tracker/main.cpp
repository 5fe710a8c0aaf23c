#include <exception>

#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include "analysis/input_error.h"
#include "tracker/commands/commands.h"
#include "tracker/version.h"

namespace {

constexpr int kCouldNotBeDone = 1;
constexpr int kWrongUsage = 2;

}  // namespace

int main(int argc, char** argv) {
  try {
    CLI::App app(
        "Measures the gravitational constant G with a torsion balance, a laser spot and a camera.",
        "nightswing");
    app.set_version_flag("--version", nightswing::tracker::program_and_version());
    app.require_subcommand(1);
    app.footer(std::string("Cautions: ") + nightswing::tracker::kCautions);
    nightswing::tracker::add_commands(app);
    try {
      app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
      return app.exit(error) == 0 ? 0 : kWrongUsage;
    }
    return 0;
  } catch (const nightswing::InputError& error) {
    fmt::print(stderr, "nightswing: {}\n", error.what());
  } catch (const std::exception& error) {
    fmt::print(stderr, "nightswing: stopped by a fault of its own: {}\n", error.what());
  }
  return kCouldNotBeDone;
}
