#pragma once

#include <string_view>

namespace nightswing::test {

/// Has the reader of a kind of file (track, events, camera, run, wall, apparatus) read these bytes.
/// An InputError is the reader's right; anything else that it throws goes on to the caller.
void read_bytes_as(std::string_view kind, std::string_view bytes);

}  // namespace nightswing::test
