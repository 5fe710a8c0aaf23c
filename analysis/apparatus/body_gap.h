#pragma once

#include "analysis/apparatus/apparatus.h"

namespace nightswing::analysis {

/// A point or a difference of points [m]; axes as in apparatus.h.
struct Place {
  double x_m;
  double y_m;
  double z_m;
};

/// The room between the surfaces of two bodies [m]: 0 if they touch or overlap.
///   apart   from the centre of one to the centre of the other
///   exact   for a sphere beside anything, boxes beside boxes and cylinders with parallel axes;
///           of others it is that between the boxes round them, so never too large
[[nodiscard]] double gap_m(const Shape& one, const Shape& other, const Place& apart);

}  // namespace nightswing::analysis
