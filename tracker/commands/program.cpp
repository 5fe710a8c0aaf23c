#include "tracker/commands/program.h"

#include <CLI/CLI.hpp>

#include "tracker/commands/commands.h"
#include "tracker/version.h"

namespace nightswing::tracker {

std::unique_ptr<CLI::App> make_program() {
  auto app = std::make_unique<CLI::App>(
      "Measures the gravitational constant G with a torsion balance, a laser spot and a camera.",
      "nightswing");
  app->set_version_flag("--version", program_and_version());
  app->require_subcommand(1);
  app->footer(std::string("Cautions: ") + kCautions);
  add_commands(*app);
  return app;
}

}  // namespace nightswing::tracker
