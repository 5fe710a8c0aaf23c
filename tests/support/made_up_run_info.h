#pragma once

#include <optional>

#include "tracker/run/run_folder.h"

namespace nightswing::test {

/// run.yaml of a run that no source was read for.
[[nodiscard]] inline tracker::RunInfo made_up_run_info(int width_px,
                                                       int height_px,
                                                       std::optional<tracker::UtcTime> start = {}) {
  return {.program = "test",
          .source = "test",
          .frame_width_px = width_px,
          .frame_height_px = height_px,
          .time_from = "test",
          .start = start,
          .start_from = "test"};
}

}  // namespace nightswing::test
