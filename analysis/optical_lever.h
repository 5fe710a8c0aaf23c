#pragma once

/// From the spot on the wall to the rotation of the boom and back, without the small-angle
/// approximation. The mirror turns by theta, the beam by 2 theta (law of reflection, laser, mirror
/// normal and scale in one level plane), and a beam at the angle beta to the wall's perpendicular
/// meets the scale at
///   x = foot + (D/f) tan(beta),   so that a swing from beta = alpha gives
///   s = D (tan(alpha + 2 theta) - tan(alpha)).
/// Rotations are counted from the mirror position whose beam runs along the perpendicular: only
/// their differences mean something. They grow with x; which way the boom turns in the room depends
/// on how the scale is taped and is not needed for G.
namespace nightswing::analysis {

struct OpticalLever {
  double mirror_to_wall_m;    // D, along the perpendicular; above zero
  double foot_mm;             // reading of the scale where the perpendicular meets it
  double scale_factor = 1.0;  // f, true length of what the scale calls 1 mm, in mm; above zero
};

/// Angle [rad] of the beam to the wall's perpendicular when the spot is at reading x_mm.
[[nodiscard]] double beam_angle_rad(const OpticalLever& lever, double x_mm);

/// Rotation of the boom [rad], half the beam angle.
[[nodiscard]] double rotation_rad(const OpticalLever& lever, double x_mm);

/// Reading [mm] of the scale at that rotation; |rotation_rad| < pi/4.
[[nodiscard]] double x_mm_from_rotation(const OpticalLever& lever, double theta_rad);

/// A position in mm whose differences are exactly proportional to rotation, for the swing fit:
/// equal to the reading near the foot, foot + (D/f) atan(f (x - foot)/D) elsewhere.
[[nodiscard]] double straightened_mm(const OpticalLever& lever, double x_mm);

/// Undoes straightened_mm.
[[nodiscard]] double x_mm_from_straightened(const OpticalLever& lever, double straight_mm);

}  // namespace nightswing::analysis
