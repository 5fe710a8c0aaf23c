#pragma once

#include <array>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "analysis/quantities/measured.h"

/// What was measured of the balance itself: SI, no defaults. `apparatus_file.h` reads it.
///
/// Axes: z up along the wire; the boom lies along x at rotation 0, a positive rotation turns x
/// towards y. Rotation 0 is midway between the boom's two places of rest. In the symmetric
/// arrangement the two source masses stand on side plus at (arm, separation, 0) and
/// (-arm, -separation, 0), on side minus at the mirror image (arm, -separation, 0) and
/// (-arm, separation, 0); in any other each place is given (source_places.h). Both source masses
/// are alike, and so are both test masses.
namespace nightswing::analysis {

struct Sphere {
  Measured diameter_m;
};

enum class CylinderAxis { kVertical, kAlongBoom, kAcross };

struct Cylinder {
  Measured diameter_m;
  Measured length_m;
  CylinderAxis axis;
};

struct Box {
  Measured along_m;  // full sizes, not halves
  Measured across_m;
  Measured vertical_m;
};

using Shape = std::variant<Sphere, Cylinder, Box>;

/// One of two equal masses, of uniform density. `material` may be empty: it only serves warnings.
struct Body {
  Shape shape;
  Measured mass_kg;
  std::string material;
};

/// The round rod between the test masses, its middle on the wire. `width_m` is its diameter.
struct Rod {
  Measured mass_kg;
  Measured length_m;
  Measured width_m;
};

/// For planning, and to notice the file of another balance: the stiffness of the wire follows from
/// the measured period.
struct Wire {
  std::string material;
  Measured diameter_m;
  Measured length_m;
};

/// A mirror that does not stand upright, and where the laser is seen from it.
struct LeaningMirror {
  Measured lean_rad;                 // of its normal above level
  Measured laser_elevation_rad;      // of the laser above level
  std::optional<Measured> laser_mm;  // reading of the scale in line with the laser, from above
};

/// Where the centre of a source mass stands: x, y and z of the axes above.
struct SourcePlace {
  Measured along_m;
  Measured across_m;
  Measured height_m;
};

/// Both source masses on both sides, where the arrangement is not the symmetric one, and where they
/// are put away to; without that they are out of reach then.
struct SourceSides {
  std::array<SourcePlace, 2> plus;
  std::array<SourcePlace, 2> minus;
  std::optional<std::array<SourcePlace, 2>> away = {};
};

struct Apparatus {
  std::string title;
  Body source;
  Body test;
  Measured arm_m;  // wire axis to the centre of a test mass
  std::optional<Rod> rod;
  Measured mirror_inertia_kg_m2;
  // One of these two. Separation: centre of source mass to centre of test mass, boom midway.
  std::optional<Measured> separation_m;
  std::optional<SourceSides> sides;
  std::optional<Wire> wire;
  Measured mirror_to_wall_m;        // along the perpendicular to the wall
  std::optional<Measured> foot_mm;  // reading of the scale where that perpendicular meets it
  std::optional<LeaningMirror> leaning_mirror;
  Measured scale_factor;                 // true length of what the scale calls 1 mm, in mm
  std::vector<std::string> assumptions;  // a sentence for each thing that was not given
  std::vector<std::string> warnings;     // a sentence for each thing that looks wrong
};

/// How far a body reaches from its centre [m].
struct HalfExtents {
  double along_m;
  double across_m;
  double vertical_m;
};
[[nodiscard]] HalfExtents half_extents(const Shape& shape);

[[nodiscard]] double volume_m3(const Shape& shape);

/// Mass over volume.
[[nodiscard]] double density_kg_m3(const Body& body);

/// The rod as the cylinder that it is.
[[nodiscard]] Body as_body(const Rod& rod);

}  // namespace nightswing::analysis
