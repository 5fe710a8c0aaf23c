#pragma once

#include <string>

#include "analysis/quantities/input_error.h"

namespace nightswing::test {

/// What the InputError says that an act ends in; "no error" if it ends in none.
template <typename Act>
[[nodiscard]] std::string error_text(const Act& act) {
  try {
    act();
  } catch (const InputError& error) {
    return error.what();
  }
  return "no error";
}

}  // namespace nightswing::test
