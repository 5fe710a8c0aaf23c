#include "tracker/commands/commands.h"

namespace nightswing::tracker {

void add_commands(CLI::App& app) {
  add_plan_command(app);
  add_scale_command(app);
  add_watch_command(app);
  add_replay_command(app);
  add_calibrate_command(app);
  add_mark_command(app);
  add_analyse_command(app);
  add_film_command(app);
}

}  // namespace nightswing::tracker
