#pragma once

#include <string_view>

namespace nightswing::analysis {

/// One position of the spot along its path. u_mm > 0 is its standard uncertainty.
struct SwingSample {
  double t_s;
  double x_mm;
  double u_mm;
};

/// Where the source masses are. `kPlus` and `kMinus` are the two near positions; which is which is
/// the user's choice. `kAway`: far from the boom.
enum class Side { kPlus, kMinus, kAway };

[[nodiscard]] constexpr std::string_view name_of(Side side) {
  switch (side) {
    case Side::kPlus:
      return "plus";
    case Side::kMinus:
      return "minus";
    case Side::kAway:
      return "away";
  }
  return "";
}

/// From t_s on the source masses are at `side`, until the next change.
struct SideChange {
  Side side;
  double t_s;
};

/// A stretch of the night with the source masses on one side, from_s <= t < to_s.
struct Segment {
  Side side;
  double from_s;
  double to_s;
  /// Its w over that of the night, as the balance model foretells it (gravity.h): not fitted.
  double frequency_ratio = 1.0;
};

}  // namespace nightswing::analysis
