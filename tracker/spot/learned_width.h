#pragma once

#include "tracker/spot/spot_fit.h"

namespace nightswing::tracker {

/// What the spot has looked like so far: its widths, slant and halo, as running means with a memory
/// of 50 spots, and how much they scatter from one to the next.
class LearnedWidth {
 public:
  void learn(const SpotFit& fit);
  void forget() { *this = {}; }

  /// Whether any spot was learned, and whether so many that lights of another width are none.
  [[nodiscard]] bool has_seen_any() const { return spots_ > 0; }
  [[nodiscard]] bool is_known() const;

  /// Those of the mean spot; meaningful if any was learned.
  [[nodiscard]] double sigma_x_px() const;
  [[nodiscard]] double sigma_y_px() const;
  [[nodiscard]] double width_px() const;  ///< geometric mean of the two

  /// Whether the widths may be the spot's: within 0.3 of the logarithm and three times its usual
  /// uncertainty in a fit. Anything may as long as nothing is known.
  [[nodiscard]] bool admits(const SpotShape& shape) const;

  /// Whether something seems to lie on the spot: a width is off by more than 4 %, or slant or share
  /// of the halo by more than 0.1, and six times its usual scatter.
  [[nodiscard]] bool doubts(const SpotShape& shape) const;

  /// The spot is doubted in this frame. It is not learned, unless it has been for 25 in a row: then
  /// it has changed, and is learned from its beginning.
  void note_doubtful(const SpotFit& fit);

  /// In the spot's place there was none. If that was, 25 times in a row, because of the width
  /// alone, what was learned is forgotten.
  void note_no_spot(bool other_width);

 private:
  struct Running {
    double mean = 0;
    double variance = 0;  ///< from spot to spot
  };

  Running log_x_;
  Running log_y_;
  Running slant_;
  Running halo_share_;
  double u_log_ = 0;  ///< of a fit, mean
  int spots_ = 0;
  int doubtful_ = 0;  ///< in a row
  int contrary_ = 0;  ///< lights of another width, in a row
};

}  // namespace nightswing::tracker
