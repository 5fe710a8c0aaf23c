// spot_measurement and frame_counts: the five states and how often they came.
#include "tracker/spot/spot_measurement.h"

#include <doctest/doctest.h>

#include "tracker/run/frame_counts.h"

using namespace nightswing::tracker;

TEST_SUITE("spot_measurement") {
  TEST_CASE("each state has the word that the formats name, and the word leads back") {
    CHECK(word_for(SpotState::kFound) == "found");
    CHECK(word_for(SpotState::kClipped) == "clipped");
    CHECK(word_for(SpotState::kBlocked) == "blocked");
    CHECK(word_for(SpotState::kLost) == "lost");
    CHECK(word_for(SpotState::kDark) == "dark");
    for (const SpotState state : {SpotState::kFound,
                                  SpotState::kClipped,
                                  SpotState::kBlocked,
                                  SpotState::kLost,
                                  SpotState::kDark}) {
      CHECK(spot_state_from(word_for(state)) == state);
    }
  }

  TEST_CASE("another word is no state") {
    CHECK_FALSE(spot_state_from(""));
    CHECK_FALSE(spot_state_from("Found"));
    CHECK_FALSE(spot_state_from("found "));
  }

  TEST_CASE("only found and clipped have a position to use") {
    CHECK(is_measured(SpotState::kFound));
    CHECK(is_measured(SpotState::kClipped));
    CHECK_FALSE(is_measured(SpotState::kBlocked));
    CHECK_FALSE(is_measured(SpotState::kLost));
    CHECK_FALSE(is_measured(SpotState::kDark));
  }
}

TEST_SUITE("frame_counts") {
  TEST_CASE("frames are counted by state, found and clipped together are measured") {
    FrameCounts counts;
    CHECK(counts.measured() == 0);
    for (int k = 0; k < 5; ++k) counts.add(SpotState::kFound);
    for (int k = 0; k < 3; ++k) counts.add(SpotState::kClipped);
    counts.add(SpotState::kDark);
    CHECK(counts.of(SpotState::kFound) == 5);
    CHECK(counts.of(SpotState::kClipped) == 3);
    CHECK(counts.of(SpotState::kDark) == 1);
    CHECK(counts.of(SpotState::kBlocked) == 0);
    CHECK(counts.of(SpotState::kLost) == 0);
    CHECK(counts.measured() == 8);
  }

  TEST_CASE("the text of the counts names every state, those that never came too") {
    FrameCounts counts;
    for (int k = 0; k < 12; ++k) counts.add(SpotState::kFound);
    counts.add(SpotState::kBlocked);
    counts.add(SpotState::kDark);
    CHECK(counts_text(counts) == "12 found, 0 clipped, 1 blocked, 0 lost, 1 dark");
  }
}
