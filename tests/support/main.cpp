#define DOCTEST_CONFIG_IMPLEMENT
#include <doctest/doctest.h>

#include <cstdlib>

#ifdef __GLIBC__
#include <malloc.h>
#endif

int main(int argc, char** argv) {
#ifdef __GLIBC__
  // Pictures come and go by the hundred: memory that is kept need not be mapped and zeroed again
  // for each of them, which took half of the time of tests that draw many.
  constexpr int kMost_B = 1 << 30;
  mallopt(M_MMAP_THRESHOLD, kMost_B);
  mallopt(M_TRIM_THRESHOLD, kMost_B);
#endif
  return doctest::Context(argc, argv).run();
}
