// Which pictures of a stream are as old as their arrival.
#include "tracker/frames/stream_pace.h"

#include <random>
#include <vector>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

/// A picture: taken then, arrived then.
struct Sent {
  double taken_s;
  double arrived_s;
};

/// The largest age of a picture that was let through, and how many were, of those taken in a span.
struct Outcome {
  double worst_age_s = 0.0;
  int let_through = 0;
};

Outcome outcome(const std::vector<Sent>& pictures, double from_s, double to_s) {
  StreamPace pace;
  Outcome outcome;
  for (const Sent& picture : pictures) {
    const bool is_new = pace.is_new(picture.arrived_s);
    if (!is_new || picture.taken_s < from_s || picture.taken_s >= to_s) continue;
    ++outcome.let_through;
    outcome.worst_age_s = std::max(outcome.worst_age_s, picture.arrived_s - picture.taken_s);
  }
  return outcome;
}

}  // namespace

TEST_SUITE("stream_pace") {
  TEST_CASE("an even stream with the jitter of a network is let through") {
    std::mt19937_64 random(3);
    std::uniform_real_distribution<double> delay_s(0.0, 0.06);
    std::vector<Sent> pictures;
    for (int k = 0; k < 600; ++k) pictures.push_back({0.1 * k, 0.1 * k + delay_s(random)});
    const Outcome all = outcome(pictures, 0.0, 60.0);
    CHECK(all.let_through > 590);
    CHECK(all.worst_age_s < 0.06);
  }

  TEST_CASE("what waited while the stream was opened is passed over") {
    // Two seconds of pictures wait and are read at once, 3 ms each.
    std::vector<Sent> pictures;
    for (int k = 0; k < 20; ++k) pictures.push_back({0.1 * k, 2.0 + 0.003 * k});
    for (int k = 21; k < 100; ++k) pictures.push_back({0.1 * k, 0.1 * k + 0.01});
    const Outcome all = outcome(pictures, 0.0, 10.0);
    CHECK(all.worst_age_s < 0.1);  // less than the distance of two pictures
    CHECK(all.let_through > 70);
  }

  TEST_CASE("the burst after a stalled network is passed over, the pictures after it are not") {
    for (const double burst_step_s : {0.002, 0.02, 0.04}) {
      CAPTURE(burst_step_s);
      std::vector<Sent> pictures;
      double free_s = 0.0;  // when the network can take the next picture
      for (int k = 0; k < 400; ++k) {
        const double taken_s = 0.1 * k;
        const bool stalled = taken_s >= 20.0 && taken_s < 23.0;
        const double arrived_s = std::max(stalled ? 23.0 : taken_s, free_s) + 0.001;
        free_s = arrived_s + burst_step_s;
        pictures.push_back({taken_s, arrived_s});
      }
      const Outcome all = outcome(pictures, 0.0, 40.0);
      CHECK(all.worst_age_s < 0.1);
      // Of 400 pictures some 30 stalled; while they are caught up with more arrive late.
      CHECK(all.let_through > 400 - 30 - 3.0 / (0.1 - burst_step_s) - 10);
    }
  }

  TEST_CASE("a sender of bursts gives one picture a burst") {
    std::vector<Sent> pictures;
    for (int k = 0; k < 500; ++k) {
      const int burst = k / 5;
      pictures.push_back({0.1 * k, 0.5 * (burst + 1) + 0.002 * (k % 5)});
    }
    const Outcome all = outcome(pictures, 5.0, 50.0);
    CHECK(all.let_through >= 80);  // of 90 bursts
    CHECK(all.worst_age_s <= 0.51);
  }

  TEST_CASE("a stream that becomes slower is believed after a while") {
    std::vector<Sent> pictures;
    for (int k = 0; k < 100; ++k) pictures.push_back({0.1 * k, 0.1 * k});
    for (int k = 0; k < 100; ++k) pictures.push_back({10.0 + 2.0 * k, 10.0 + 2.0 * k});
    CHECK(outcome(pictures, 30.0, 210.0).let_through > 85);
    StreamPace pace;
    for (const Sent& picture : pictures) static_cast<void>(pace.is_new(picture.arrived_s));
    CHECK(pace.usual_s() == within_rel(2.0, 0.15));  // a mean with a memory of 30 pictures
  }

  TEST_CASE("one picture in two seconds is enough from the beginning") {
    std::vector<Sent> pictures;
    for (int k = 0; k < 50; ++k) pictures.push_back({2.0 * k, 2.0 * k});
    CHECK(outcome(pictures, 0.0, 100.0).let_through >= 46);
  }
}
