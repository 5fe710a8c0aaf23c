#pragma once

#include <optional>
#include <vector>

#include "analysis/positions/spot_path.h"
#include "tracker/run/track_file.h"

namespace nightswing::tracker {

/// Tells a time-lapse that is taken for a film in real time: by its file's clock the spot then
/// swings once in a few seconds, which no torsion balance does. Looks at the first positions only.
class SwingPace {
 public:
  void see(const TrackRow& row);

  /// The period if it is shorter than 20 s and most of the spot's motion; nothing otherwise, also
  /// where too little is seen to tell.
  [[nodiscard]] std::optional<double> impossible_period_s() const;

 private:
  std::vector<analysis::WallSample> positions_;  // px in place of mm
};

}  // namespace nightswing::tracker
