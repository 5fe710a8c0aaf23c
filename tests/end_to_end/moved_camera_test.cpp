// A night whose camera is knocked and creeps, against the same night with a camera that stands
// still: the measured shift must not feel it.
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <string>

#include <doctest/doctest.h>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/event_log.h"

using namespace nightswing::test;

namespace {

const std::string kNight =
    " --size 640x360 --preset fast --seed 21 --period 480s --damping-time 50m --frame-every 10s "
    "--sides plus@0s,minus@40m --duration 80m ";

/// Renders, replays and analyses; returns the run folder.
std::string measured(const TemporaryFolder& folder,
                     const std::string& name,
                     const std::string& camera) {
  const std::string night = (folder / name).string();
  std::string run = night + "_run";
  const auto rendered = demo_night_command("--out " + night + kNight + camera);
  REQUIRE_MESSAGE(rendered.status == 0, rendered.errors);
  const auto replayed =
      nightswing_command("replay " + night + "/night.mp4 --quiet --frame-every 10s --run " + run);
  REQUIRE_MESSAGE(replayed.status == 0, replayed.errors);
  return run;
}

nlohmann::json analysed(const TemporaryFolder& folder, const std::string& run) {
  const auto result = nightswing_command("analyse " + run + " --apparatus " +
                                         (folder / "still/apparatus.yaml").string() +
                                         " --side plus@0s --side minus@40m");
  REQUIRE_MESSAGE(result.status == 0, result.errors);
  return read_json(run + "/result.json");
}

double shift_mm(const nlohmann::json& result) {
  return result["shift_mm"]["value"];
}

double residual_rms_mm(const nlohmann::json& result) {
  return result["residual_rms_mm"];
}

}  // namespace

TEST_SUITE("moved camera") {
  TEST_CASE("a knock of 6 px and 0.3 degrees and a creep of 2 px change the shift by < 0.05 mm") {
    const TemporaryFolder folder;
    const auto still = analysed(folder, measured(folder, "still", ""));
    CHECK(still["camera"]["bumps"] == 0);
    CHECK(still["camera"]["max_shift_px"].get<double>() < 0.02);

    const std::string run =
        measured(folder, "moved", "--bump-px 6 --bump-deg 0.3 --bump-at 30m --creep-px 2");
    const auto moved = analysed(folder, run);
    CHECK(shift_mm(moved) == within_abs(shift_mm(still), 0.05));  // 0.06 px of this small picture
    CHECK(moved["camera"]["bumps"] == 1);
    CHECK(moved["camera"]["failed"] == 0);
    // 6 px at 30 degrees, 1.5 px of creep at 20 degrees so far, and the turn at the spot
    CHECK(moved["camera"]["max_shift_px"].get<double>() == within_abs(8.0, 1.0));
    CHECK(std::ranges::any_of(moved["warnings"], [](const auto& warning) {
      return warning.template get<std::string>().starts_with("the camera did not stand still");
    }));

    const auto log = nightswing::tracker::read_events(run + "/events.csv");
    const auto knock =
        std::ranges::find(log.events, "camera moved", &nightswing::tracker::Event::event);
    REQUIRE(knock != log.events.end());
    CHECK(knock->t_s == 1800.0);
    const std::string before_turn = "turned by ";
    const std::size_t turn = knock->detail.find(before_turn);
    REQUIRE(turn != std::string::npos);
    CHECK(std::stod(knock->detail.substr(turn + before_turn.size())) == within_abs(0.3, 0.01));

    // The same track without the record of the camera: what the correction is worth. The knock is
    // 5 mm, the positions scatter by 0.03 mm: whatever of it the fit takes up, the residuals are
    // thrice as large at least.
    std::filesystem::remove(run + "/camera.csv");
    const auto uncorrected = analysed(folder, run);
    CHECK(residual_rms_mm(uncorrected) > 3.0 * residual_rms_mm(moved));
    CHECK(std::abs(shift_mm(uncorrected) - shift_mm(still)) > 0.5);
    CHECK(uncorrected["camera"].is_null());
  }
}
