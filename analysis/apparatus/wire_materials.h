#pragma once

#include <optional>
#include <span>
#include <string_view>

namespace nightswing::analysis {

/// Handbook ranges at 20 degrees C; drawn wire differs. For planning and for noticing a wrong file:
/// the stiffness of the wire that is built follows from its period.
///   source  shear moduli of tungsten, steel, copper, brass, bronze: J. M. Gere, Mechanics of
///           Materials, appendix; the others, and all strengths, from memory
struct WireMaterial {
  std::string_view name;
  double shear_low_pa;
  double shear_high_pa;
  double tensile_pa;  ///< of drawn wire, the lower end
};

[[nodiscard]] std::span<const WireMaterial> wire_materials();

/// By name, in lower case; nothing if it is not in the list.
[[nodiscard]] std::optional<WireMaterial> wire_material(std::string_view name);

}  // namespace nightswing::analysis
