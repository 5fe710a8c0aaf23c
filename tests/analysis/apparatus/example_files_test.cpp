// The example balances of configs/: each must load as it stands and be a balance that could work.
#include <fstream>
#include <string>

#include <doctest/doctest.h>

#include "analysis/apparatus/apparatus_file.h"
#include "analysis/apparatus/source_places.h"
#include "analysis/balance/gravity.h"

using namespace nightswing::analysis;

TEST_SUITE("example files") {
  TEST_CASE("every example loads without a warning and leaves room for the swing") {
    for (const char* name : {"basement", "lead_bricks", "household_masses"}) {
      CAPTURE(name);
      const Apparatus apparatus =
          read_apparatus_file(std::string(NIGHTSWING_SOURCE_DIR) + "/configs/" + name + ".yaml");
      CHECK(apparatus.title.find("(invented example)") != std::string::npos);
      CHECK(apparatus.warnings.empty());
      // 5 mm for the wall of the case and the turn of the boom (common practice, no source)
      CHECK(least_room_m(apparatus, 0.0) > 0.005);  // on either side
    }
  }

  TEST_CASE("every example gives G from a night that its size makes likely") {
    for (const char* name : {"basement", "lead_bricks", "household_masses"}) {
      CAPTURE(name);
      const Apparatus apparatus =
          read_apparatus_file(std::string(NIGHTSWING_SOURCE_DIR) + "/configs/" + name + ".yaml");
      const NightFindings findings{
          .x_plus_mm = 265.0, .x_minus_mm = 235.0, .period_s = 500.0, .damping_per_s = 2e-4};
      const GravityResult result = gravity(apparatus, findings);
      REQUIRE(result.status == GravityStatus::kComputed);
      // 30 mm of shift are a night of some strength with any of them: far off would mean that the
      // balance shows nothing, or too much for its gap
      CHECK(result.g_m3_kg_s2 > 0.5e-11);
      CHECK(result.g_m3_kg_s2 < 50e-11);
    }
  }

  TEST_CASE("the places of the source masses that an example offers can be used as they stand") {
    std::ifstream file(std::string(NIGHTSWING_SOURCE_DIR) + "/configs/basement.yaml");
    std::string text;
    bool in_sides = false;
    for (std::string line; std::getline(file, line);) {
      in_sides = line == "# sides:" || (in_sides && line.starts_with("#  "));
      if (line.starts_with("separation:")) continue;
      text += (in_sides ? line.substr(2) : line) + "\n";
    }
    const Apparatus apparatus = read_apparatus_text(text, "basement.yaml");
    REQUIRE(apparatus.sides.has_value());
    CHECK(apparatus.sides->minus[1].across_m.value == 0.0521);
    CHECK(apparatus.sides->away.has_value());
    CHECK(apparatus.warnings.empty());
  }
}
