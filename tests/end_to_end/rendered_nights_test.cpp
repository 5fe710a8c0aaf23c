// Nights rendered on the spot with another G, period, damping, order of sides and seed, in a small
// picture: through video, spot, wall map and fit to G, against the truth of the render.
#include <cmath>

#include <doctest/doctest.h>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"

using namespace nightswing::test;

namespace {

struct Case {
  const char* options;
  const char* sides;  // for analyse; empty: to be found from the track
};

void check_night(const Case& one) {
  CAPTURE(one.options);
  const TemporaryFolder folder;
  const std::string night = (folder / "night").string();
  const std::string run = (folder / "run").string();
  const auto rendered =
      demo_night_command("--out " + night + " --size 640x360 --preset veryfast " + one.options);
  REQUIRE_MESSAGE(rendered.status == 0, rendered.errors);
  const auto replayed =
      nightswing_command("replay " + night + "/night.mp4 --quiet --frame-every 5s --run " + run);
  REQUIRE_MESSAGE(replayed.status == 0, replayed.errors);
  const auto analysed = nightswing_command("analyse " + run + " --apparatus " + night +
                                           "/apparatus.yaml " + one.sides);
  REQUIRE_MESSAGE(analysed.status == 0, analysed.errors);
  const auto truth = read_json(night + "/truth.json");
  const auto result = read_json(run + "/result.json");
  REQUIRE(result["status"] == "measured");
  const double g = result["G"]["value"];
  const double u = result["G"]["u"];
  const double true_g = truth["balance"]["G_m3_per_kg_s2"];
  CAPTURE(g);
  CAPTURE(u);
  CHECK(std::abs(g - true_g) <= 2.5 * u);
  CHECK(u <= 0.03 * g);
  // Without the errors of the apparatus file (the scale's factor, u = 5e-4), the shift alone.
  CHECK(std::abs(result["shift_mm"]["value"].get<double>()) ==
        within_rel(truth["balance"]["shift_mm"], 3e-3));
}

}  // namespace

TEST_SUITE("rendered nights") {
  TEST_CASE("a G of 7.4e-11, a period of 480 s, plus first") {
    check_night(
        {"--g 7.4 --period 480s --damping-time 50m --seed 11 "
         "--sides plus@0s,minus@40m --duration 1h20m",
         "--side plus@0s --side minus@40m"});
  }
  TEST_CASE("a G of 5.9e-11, a period of 700 s, heavy damping, minus first") {
    check_night(
        {"--g 5.9 --period 700s --damping-time 25m --seed 12 "
         "--sides minus@0s,plus@45m --duration 1h30m",
         "--side minus@0s --side plus@45m"});
  }
  TEST_CASE("a G of 6.2e-11, four sides, moves found from the track") {
    check_night(
        {"--g 6.2 --period 540s --damping-time 70m --seed 13 "
         "--sides plus@0s,minus@25m,plus@50m,minus@75m --duration 100m",
         ""});
  }
}
