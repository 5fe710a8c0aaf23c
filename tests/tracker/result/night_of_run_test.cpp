#include "tracker/result/night_of_run.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "calibration/map/wall_map.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/camera_file.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"
#include "tracker/run/track_file.h"
#include "tracker/run/wall_file.h"

using namespace nightswing;
using test::within_abs;
using test::within_rel;
using tracker::NightOfRun;
using tracker::SpotState;

namespace {

constexpr double kLine_px = 800.0;  // between the two ticks that were clicked on

/// A run folder with a level ruler: 0 mm at (200, 360), 0.5 mm a pixel.
class MadeUpRun {
 public:
  MadeUpRun() : run_(tracker::create_run_folder(folder_ / "night")) {
    tracker::write_run_info(run_,
                            {.program = "nightswing",
                             .source = "wall.mp4",
                             .frame_width_px = 1280,
                             .frame_height_px = 720,
                             .time_from = "one frame every 5 s",
                             .start = {},
                             .start_from = "not known"});
    hang_ruler({1280, 720});
  }

  void hang_ruler(calibration::FrameSize frame) {
    const std::vector<calibration::LineReference> ticks{{{200.0, 360.0}, 0.0},
                                                        {{200.0 + kLine_px, 360.0}, 400.0}};
    const calibration::MapFit fit = calibration::fit_line_map(ticks, frame);
    REQUIRE(fit.status == calibration::MapStatus::kFitted);
    tracker::write_wall_map(run_.wall(), fit.map);
  }

  void append(double t_s, SpotState state, std::optional<tracker::SpotPosition> position = {}) {
    tracker::TrackWriter(run_.track()).append({.utc = {}, .t_s = t_s, .spot = {state, position}});
  }

  void append_found(double t_s, double x_px, double y_px = 360.0) {
    append(t_s, SpotState::kFound, tracker::SpotPosition{x_px, y_px, 0.03, 0.04, 90, 4});
  }

  void log(const std::string& event) {
    tracker::EventWriter(run_.events()).append({{}, 0.0, event, ""});
  }

  void mark(double t_s, const std::string& side) {
    tracker::EventWriter(run_.events()).append({{}, t_s, "side", side});
  }

  [[nodiscard]] const tracker::RunFolder& run() const { return run_; }
  [[nodiscard]] NightOfRun read() const { return tracker::read_night(run_); }
  [[nodiscard]] std::string error() const {
    try {
      static_cast<void>(read());
    } catch (const InputError& error) {
      return error.what();
    }
    return "no error";
  }

 private:
  test::TemporaryFolder folder_;
  tracker::RunFolder run_;
};

bool holds(const std::vector<std::string>& sentences, const std::string& part) {
  return std::ranges::any_of(sentences, [&](const std::string& sentence) {
    return sentence.find(part) != std::string::npos;
  });
}

}  // namespace

TEST_SUITE("night_of_run") {
  TEST_CASE("a track that has no end in the log is told") {
    MadeUpRun run;
    run.append_found(0.0, 300.0);
    run.append_found(5.0, 301.0);
    const std::string part = "the track has no end in the log";
    CHECK_FALSE(holds(run.read().warnings, part));  // nothing is known of how it began either
    run.log("started");
    CHECK(holds(run.read().warnings, part));
    run.log("ended");
    CHECK_FALSE(holds(run.read().warnings, part));
    run.log("resumed");
    CHECK(holds(run.read().warnings, part));
  }

  TEST_CASE("measured pixels become millimetres with their uncertainty, others are counted") {
    MadeUpRun run;
    run.append_found(0.0, 300.0);
    run.append(5.0, SpotState::kLost);
    run.append(10.0, SpotState::kClipped, tracker::SpotPosition{500.0, 350.0, 0.03, 0.04, 300, 4});
    run.append(15.0, SpotState::kBlocked, tracker::SpotPosition{520.0, 350.0, 0.5, 0.5, 60, 9});
    run.append(20.0, SpotState::kDark);
    const NightOfRun night = run.read();
    REQUIRE(night.night.samples.size() == 2);
    const analysis::WallSample& first = night.night.samples[0];
    const analysis::WallSample& second = night.night.samples[1];
    // 0.5 mm a pixel, exactly but for the rounding of the fit.
    CHECK(first.t_s == 0.0);
    CHECK(first.x_mm == within_rel(50.0, 1e-12));
    CHECK(first.y_mm == within_abs(0.0, 1e-9));
    CHECK(first.u_x_mm == within_rel(0.015, 1e-9));
    CHECK(second.t_s == 10.0);
    CHECK(second.x_mm == within_rel(150.0, 1e-12));
    CHECK(second.y_mm == within_rel(5.0, 1e-9));  // 10 px above the line
    CHECK(night.mm_per_px == within_rel(0.5, 1e-12));
    CHECK(night.frames_by_state.of(SpotState::kFound) == 1);
    CHECK(night.frames_by_state.of(SpotState::kClipped) == 1);
    CHECK(night.frames_by_state.of(SpotState::kBlocked) == 1);
    CHECK(night.frames_by_state.of(SpotState::kLost) == 1);
    CHECK(night.frames_by_state.of(SpotState::kDark) == 1);
    CHECK(night.info.source == "wall.mp4");
    CHECK_FALSE(night.camera);
  }

  TEST_CASE("the sides are those marked") {
    MadeUpRun run;
    run.append_found(0.0, 300.0);
    CHECK(run.read().night.sides.empty());
    run.mark(0.0, "plus");
    run.mark(7200.0, "minus");
    const auto sides = run.read().night.sides;
    REQUIRE(sides.size() == 2);
    CHECK(sides[0].side == analysis::Side::kPlus);
    CHECK(sides[1].side == analysis::Side::kMinus);
    CHECK(sides[1].t_s == 7200.0);
  }

  TEST_CASE("two ticks set by hand leave lengths in doubt by their own uncertainty") {
    MadeUpRun run;
    run.append_found(0.0, 300.0);
    run.append_found(5.0, 900.0);
    const auto doubt = run.read().night.wall_doubt;
    REQUIRE(doubt);
    // Two ends of 0.5 px each over their distance, with two ticks all lengths err alike; and 1 mm
    // that the ruler stands off before a camera 0.9 x 1280 x 0.5 mm away.
    const double expected =
        std::hypot(std::sqrt(2.0) * calibration::kHandSet_px / kLine_px, 1.0 / 576.0);
    CHECK(doubt(50.0, 350.0).relative_u() == within_rel(expected, 1e-6));
    CHECK(doubt(50.0, 350.0).nonlinearity_relative_u == within_abs(0.0, 1e-9));
    CHECK(doubt(50.0, 50.0).relative_u() == 0.0);
  }

  TEST_CASE("positions are taken back to the calibrated picture") {
    // The camera stands 4 px off from the start, seen without doubt in every look.
    MadeUpRun run;
    for (int k = 0; k < 40; ++k) run.append_found(60.0 * k, 300.0 + 2.0 * k);
    tracker::CameraWriter camera(run.run().camera());
    for (int k = 0; k < 40; ++k) {
      camera.append({.t_s = 60.0 * k,
                     .motion = {.shift_x_px = 4.0},
                     .u_shift_px = 0.01,
                     .patches = 60,
                     .state = tracker::CameraState::kRegistered});
    }
    const NightOfRun night = run.read();
    // A shift of the picture alone: 4 px of 0.5 mm.
    CHECK(night.night.samples[0].x_mm == within_abs(48.0, 1e-6));
    CHECK(night.night.samples[39].x_mm == within_abs(48.0 + 39.0, 1e-6));
    // The look's own uncertainty is added in squares: hypot(0.03, 0.01) px.
    CHECK(night.night.samples[20].u_x_mm == within_rel(0.5 * std::hypot(0.03, 0.01), 1e-6));
    REQUIRE(night.camera);
    CHECK(night.camera->looks == 40);
    CHECK(night.camera->failed == 0);
    CHECK(night.camera->bumps == 0);
    CHECK(night.camera->max_shift_px == within_abs(4.0, 1e-6));
    CHECK(holds(night.warnings, "positions were taken back to the first picture by up to 4.00 px"));
  }

  TEST_CASE("looks at the camera that could not tell are told") {
    MadeUpRun run;
    run.append_found(0.0, 300.0);
    tracker::CameraWriter camera(run.run().camera());
    for (int k = 0; k < 10; ++k) {
      camera.append({.t_s = 60.0 * k,
                     .motion = {},
                     .u_shift_px = k < 3 ? 0.0 : 0.01,
                     .patches = k < 3 ? 2 : 50,
                     .state = k < 3 ? tracker::CameraState::kTooFewPatches
                                    : tracker::CameraState::kRegistered});
    }
    const NightOfRun night = run.read();
    REQUIRE(night.camera);
    CHECK(night.camera->failed == 3);
    CHECK(holds(night.warnings, "could not be seen in 3 of 10 looks"));
  }

  TEST_CASE("a path tilted to the ruler is told, and doubted by half of the correction") {
    MadeUpRun run;
    const double tilt_rad = 0.1;  // towards growing y, which is down
    for (int k = 0; k < 20; ++k) {
      run.append_found(
          5.0 * k, 400.0 + 20.0 * k * std::cos(tilt_rad), 360.0 + 20.0 * k * std::sin(tilt_rad));
    }
    const NightOfRun night = run.read();
    // 1 / cos(0.1) - 1 = 0.50 %, 0.1 rad = 5.7 degrees.
    CHECK(holds(night.warnings, "degrees to the ruler, which makes the shift 0.50 % longer"));
    const double length_mm = 0.5 * 20.0 * 19.0;
    const double middle_mm = 100.0 + 0.5 * length_mm * std::cos(tilt_rad);
    const auto doubt =
        night.night.wall_doubt(middle_mm - 0.5 * length_mm, middle_mm + 0.5 * length_mm);
    const double of_ticks = std::sqrt(2.0) * calibration::kHandSet_px / kLine_px;
    const double of_tilt = 0.5 * (1.0 / std::cos(tilt_rad) - 1.0);
    const double of_height = 1.0 / 576.0;  // as above
    CHECK(doubt.scale_relative_u == within_rel(std::hypot(of_ticks, of_tilt, of_height), 1e-3));
  }

  TEST_CASE("a spot beyond the ticks is told, and so are damaged lines and the map's note") {
    MadeUpRun run;
    run.append_found(0.0, 300.0);
    run.append_found(5.0, 1100.0);
    CHECK(holds(run.read().warnings, "extrapolated"));
    CHECK(holds(run.read().warnings, "wall.yaml: "));  // two ticks cannot check the perspective
    test::write_text(run.run().track(), tracker::read_whole_file(run.run().track()) + "nonsense\n");
    CHECK(holds(run.read().warnings, "track.csv:4: line passed over"));
  }

  TEST_CASE("a run without a measured position is an error, and so is one not calibrated") {
    MadeUpRun run;
    run.append(0.0, SpotState::kDark);
    CHECK(run.error() == run.run().track().string() + ": no position was measured in this run");
    std::filesystem::remove(run.run().wall());
    CHECK(run.error().starts_with(run.run().wall().string() + " is missing"));
  }

  TEST_CASE("a map of another picture is refused") {
    MadeUpRun run;
    run.append_found(0.0, 300.0);
    run.hang_ruler({640, 360});
    CHECK(run.error() == run.run().wall().string() +
                             ": the map is for pictures of 640 x 360 pixels, the run has 1280 x "
                             "720; calibrate the run again");
  }
}
