#pragma once

#include <stdexcept>

namespace nightswing {

/// A fault that the user can mend. The text is one sentence that says what is wrong, where (file,
/// line, key, frame) and what to do. Caught once, in main.
class InputError : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

}  // namespace nightswing
