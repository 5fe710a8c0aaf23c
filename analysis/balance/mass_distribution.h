#pragma once

#include <vector>

#include "analysis/apparatus/apparatus.h"

/// Bodies of uniform density as sums of point masses, and their moments of inertia.
namespace nightswing::analysis {

/// A point mass; axes as in apparatus.h, or relative to the body's centre.
struct MassElement {
  double mass_kg;
  double x_m;
  double y_m;
  double z_m;
};

struct ElementOptions {
  double clearance_m;       // from the body's surface to the nearest mass that it shall act on; > 0
  double tolerance = 1e-9;  // wanted relative error of the force at that distance
};

/// Splits a body into elements round its centre so that their attraction at `clearance_m` from its
/// surface or further is that of the body within about `tolerance`. A sphere is one element, which
/// is exact outside it (Newton). A cylinder is cut by Gauss-Legendre rules along its axis and in
/// the square of the radius and by equal angles, a box by Gauss-Legendre rules along its edges.
/// The number of points follows from how fast such rules converge for 1/distance: like r^(-2n)
/// with the Bernstein ellipse r through the nearest singularity (L. N. Trefethen, Approximation
/// Theory and Approximation Practice, theorem 19.3), and like (R/d)^n for n equal angles.
/// throws  std::invalid_argument unless clearance and tolerance are above zero.
[[nodiscard]] std::vector<MassElement> mass_elements(const Body& body,
                                                     const ElementOptions& options);

/// The boom's rod as elements round the wire: a cylinder along the boom.
[[nodiscard]] std::vector<MassElement> mass_elements(const Rod& rod, const ElementOptions& options);

/// Moment of inertia of a body about the vertical through its own centre [kg m2].
[[nodiscard]] double own_inertia_kg_m2(const Body& body);

/// What hangs on the wire, about the wire [kg m2].
struct BoomInertia {
  double points_kg_m2;  // both test masses as points at the arm's length
  double size_kg_m2;    // both test masses about their own centres
  double rod_kg_m2;
  double mirror_kg_m2;

  [[nodiscard]] double total_kg_m2() const {
    return points_kg_m2 + size_kg_m2 + rod_kg_m2 + mirror_kg_m2;
  }
};

/// By the closed forms: sphere 2/5 m r^2, upright cylinder m r^2/2, lying cylinder
/// m (3 r^2 + l^2)/12, box m (x^2 + y^2)/12, and the theorem of parallel axes.
[[nodiscard]] BoomInertia boom_inertia(const Apparatus& apparatus);

}  // namespace nightswing::analysis
