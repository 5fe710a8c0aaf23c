// One libFuzzer program for each kind of file: NIGHTSWING_FUZZ_KIND.
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "tests/fuzz/readers.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  nightswing::test::read_bytes_as(NIGHTSWING_FUZZ_KIND,
                                  {reinterpret_cast<const char*>(data), size});
  return 0;
}
