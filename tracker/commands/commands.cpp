#include "tracker/commands/commands.h"

#include <cstdio>

#include <fmt/format.h>

#include "tracker/text/say.h"
#include "tracker/text/shell_word.h"

namespace nightswing::tracker {

void add_commands(CLI::App& app) {
  add_plan_command(app);
  add_scale_command(app);
  add_aim_command(app);
  add_watch_command(app);
  add_replay_command(app);
  add_calibrate_command(app);
  add_mark_command(app);
  add_analyse_command(app);
  add_film_command(app);
}

void print_next_step(const std::string& run, bool calibrated) {
  if (calibrated) {
    say(stdout,
        fmt::format("next: nightswing analyse {} --apparatus my_balance.yaml\n", shell_word(run)));
  } else {
    say(stdout,
        fmt::format("next: nightswing calibrate {} --point 412.5,388.0=120mm --point ...\n",
                    shell_word(run)));
  }
}

}  // namespace nightswing::tracker
