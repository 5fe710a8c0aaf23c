#pragma once

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {

/// A word of the command line that is wrong whatever the files say: exit status 2, as for words
/// that the parser refuses.
class UsageError : public InputError {
 public:
  using InputError::InputError;
};

}  // namespace nightswing::tracker
