#include "analysis/apparatus/wire_materials.h"

#include <algorithm>
#include <array>

namespace nightswing::analysis {
namespace {

constexpr std::array kMaterials{
    WireMaterial{"tungsten", 140e9, 162e9, 2.0e9},
    WireMaterial{"steel", 75e9, 80e9, 2.2e9},
    WireMaterial{"copper", 40e9, 47e9, 0.22e9},
    WireMaterial{"brass", 36e9, 41e9, 0.5e9},
    WireMaterial{"phosphor bronze", 36e9, 44e9, 0.6e9},
    WireMaterial{"beryllium copper", 46e9, 50e9, 1.2e9},
    WireMaterial{"nylon", 0.8e9, 1.2e9, 0.5e9},
};

}  // namespace

std::span<const WireMaterial> wire_materials() {
  return kMaterials;
}

std::optional<WireMaterial> wire_material(std::string_view name) {
  const auto found = std::ranges::find(kMaterials, name, &WireMaterial::name);
  if (found == kMaterials.end()) return std::nullopt;
  return *found;
}

}  // namespace nightswing::analysis
