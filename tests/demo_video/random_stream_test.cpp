#include "demo_video/random_stream.h"

#include <array>
#include <cmath>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using nightswing::demo::Chance;
using nightswing::demo::random_stream;
using nightswing::test::within_abs;

namespace {

constexpr std::array kAll{Chance::kTorque, Chance::kCamera, Chance::kReading, Chance::kPaint};

}  // namespace

TEST_SUITE("random_stream") {
  TEST_CASE("the same seed and purpose give the same numbers, another seed or purpose others") {
    for (const Chance purpose : kAll) {
      auto first = random_stream(7, purpose);
      auto again = random_stream(7, purpose);
      for (int k = 0; k < 100; ++k) CHECK(first() == again());
      CHECK(random_stream(7, purpose)() != random_stream(8, purpose)());
      for (const Chance other : kAll) {
        if (other != purpose) CHECK(random_stream(7, purpose)() != random_stream(7, other)());
      }
    }
  }

  TEST_CASE("all 64 bits of the seed count") {
    const auto low = random_stream(5, Chance::kCamera)();
    const auto high = random_stream(5 + (std::uint64_t{1} << 32), Chance::kCamera)();
    CHECK(low != high);
  }

  TEST_CASE("drawing more for one purpose leaves the others as they were") {
    auto torque = random_stream(3, Chance::kTorque);
    auto camera = random_stream(3, Chance::kCamera);
    const auto expected = random_stream(3, Chance::kCamera)();
    torque.discard(1000);
    CHECK(camera() == expected);
  }

  TEST_CASE("streams of two purposes and of two seeds are not correlated") {
    constexpr int kCount = 20000;
    const auto correlation = [&](std::mt19937_64 a, std::mt19937_64 b) {
      std::normal_distribution<double> normal_a;
      std::normal_distribution<double> normal_b;
      double sum = 0;
      for (int k = 0; k < kCount; ++k) sum += normal_a(a) * normal_b(b);
      return sum / kCount;
    };
    // 20 000 products of standard deviation 1: 0.007; four times that.
    const double reach = 4.0 / std::sqrt(kCount);
    CHECK(correlation(random_stream(1, Chance::kTorque), random_stream(1, Chance::kReading)) ==
          within_abs(0.0, reach));
    CHECK(correlation(random_stream(1, Chance::kCamera), random_stream(2, Chance::kCamera)) ==
          within_abs(0.0, reach));
  }
}
