#pragma once

/// From the spot on the wall to the rotation of the boom and back, without the small-angle
/// approximation. With an upright mirror the beam turns by 2 theta when the mirror turns by theta
/// (law of reflection), and a beam at the angle beta, seen from above, to the perpendicular of an
/// upright wall meets the scale at
///   x = foot + (D/f) tan(beta),   so that a swing from beta = alpha gives
///   s = D (tan(alpha + 2 theta) - tan(alpha)).
/// That covers a wall turned about the vertical (the foot says by how much). It holds for one that
/// leans, too, if D is the level distance at the height of the spot's path: there the wall is cut
/// along a level line. For a beam 5 degrees off level and a lean of 3 degrees D at the mirror's
/// height would be 0.5 % off; what the path then departs from level by is below 1e-4.
/// If the mirror leans by p (its normal that much above level) and the laser is seen from it at the
/// elevation e, the beam r = 2 (n l) n - l (n: normal, l: towards the laser) stands, seen from
/// above, at the angle beta to the laser if the normal stands at psi to it:
///   tan(beta) = 2 A cos(p) sin(psi)/(2 A cos(p) cos(psi) - cos(e)),
///   A = cos(p) cos(e) cos(psi) + sin(p) sin(e);
/// at psi = 0 it turns by 1 + cos(e)/cos(2 p - e) for each radian of the mirror.
/// Rotations are counted from the mirror position whose beam runs along the perpendicular: only
/// their differences mean something. They grow with x; which way the boom turns in the room depends
/// on how the scale is taped and is not needed for G.
namespace nightswing::analysis {

struct OpticalLever {
  double mirror_to_wall_m;       // D, along the perpendicular; above zero
  double foot_mm;                // reading of the scale where the perpendicular meets it
  double scale_factor = 1.0;     // f, true length of what the scale calls 1 mm, in mm; above zero
  double mirror_lean_rad = 0.0;  // p; no more than a third of a radian
  double laser_elevation_rad = 0.0;  // e; without effect if the mirror does not lean
  double laser_mm = 0.0;  // reading of the scale in line with the laser, seen from above; likewise
};

/// How far a straightened position goes, in readings of the scale, for each radian of the mirror.
[[nodiscard]] double straightened_mm_per_rad(const OpticalLever& lever);

/// Angle [rad] of the beam to the wall's perpendicular when the spot is at reading x_mm.
[[nodiscard]] double beam_angle_rad(const OpticalLever& lever, double x_mm);

/// Rotation of the boom [rad], half the beam angle if the mirror is upright.
[[nodiscard]] double rotation_rad(const OpticalLever& lever, double x_mm);

/// Reading [mm] of the scale at that rotation; the beam must still run towards the wall,
/// |theta_rad| < pi/4 if the mirror is upright.
[[nodiscard]] double x_mm_from_rotation(const OpticalLever& lever, double theta_rad);

/// A position in mm whose differences are exactly proportional to rotation, for the swing fit:
/// equal to the reading near the foot, foot + (D/f) atan(f (x - foot)/D) elsewhere if the mirror is
/// upright.
[[nodiscard]] double straightened_mm(const OpticalLever& lever, double x_mm);

/// Undoes straightened_mm.
[[nodiscard]] double x_mm_from_straightened(const OpticalLever& lever, double straight_mm);

}  // namespace nightswing::analysis
