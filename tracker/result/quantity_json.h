#pragma once

#include <optional>

#include <nlohmann/json.hpp>

#include "analysis/quantities/measured.h"

namespace nightswing::tracker {

/// As all results write a quantity; null if there is none.
[[nodiscard]] inline nlohmann::ordered_json quantity_json(
    const std::optional<analysis::Measured>& quantity) {
  if (!quantity) return nullptr;
  return {{"value", quantity->value}, {"u", quantity->u}};
}

}  // namespace nightswing::tracker
