#include "tests/fuzz/readers.h"

#include <stdexcept>
#include <string>

#include "analysis/apparatus/apparatus_file.h"
#include "analysis/quantities/input_error.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/camera_file.h"
#include "tracker/run/event_log.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/track_file.h"
#include "tracker/run/wall_file.h"

namespace nightswing::test {

void read_bytes_as(std::string_view kind, std::string_view bytes) {
  static const TemporaryFolder folder;
  const bool is_yaml = kind == "run" || kind == "wall" || kind == "apparatus";
  const auto path = folder / (std::string(kind) + (is_yaml ? ".yaml" : ".csv"));
  write_text(path, std::string(bytes));
  try {
    if (kind == "track") {
      static_cast<void>(tracker::read_track(path));
    } else if (kind == "events") {
      auto log = tracker::read_events(path);
      static_cast<void>(tracker::side_changes_in(log));
    } else if (kind == "camera") {
      static_cast<void>(tracker::read_camera(path));
    } else if (kind == "run") {
      static_cast<void>(tracker::read_run_info({folder.path()}));
    } else if (kind == "wall") {
      static_cast<void>(tracker::read_wall_map(path));
    } else if (kind == "apparatus") {
      static_cast<void>(analysis::read_apparatus_file(path));
    } else {
      throw std::invalid_argument("no reader of this kind");
    }
  } catch (const InputError&) {
    // A sentence for the user.
  }
}

}  // namespace nightswing::test
