#include "tests/end_to_end/run_fixture.h"

#include <fstream>
#include <regex>

#include <doctest/doctest.h>

#include "calibration/map/wall_map.h"
#include "tests/support/synthetic_swing.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/track_file.h"
#include "tracker/run/wall_file.h"

namespace nightswing::test {

CommandResult nightswing_command(const std::string& arguments) {
  return run_command(std::string(NIGHTSWING_BINARY_DIR) + "/tracker/nightswing " + arguments);
}

CommandResult demo_night_command(const std::string& arguments) {
  return run_command(std::string(NIGHTSWING_BINARY_DIR) + "/demo_video/demo_night " + arguments);
}

nlohmann::json read_json(const std::filesystem::path& path) {
  std::ifstream file(path);
  REQUIRE_MESSAGE(file.good(), path.string());
  return nlohmann::json::parse(file);
}

void make_synthetic_run(const std::filesystem::path& folder) {
  const auto run = tracker::create_run_folder(folder);
  tracker::write_run_info(run,
                          {.program = "test",
                           .source = "synthetic",
                           .frame_width_px = 1280,
                           .frame_height_px = 720,
                           .rotation_deg = 0.0,
                           .time_from = "one frame every 5 s",
                           .start = {},
                           .start_from = "not known"});
  const std::vector<calibration::LineReference> ticks{{.pixel = {0.0, 360.0}, .x_mm = 0.0},
                                                      {.pixel = {1250.0, 360.0}, .x_mm = 500.0}};
  const auto fit = calibration::fit_line_map(ticks, {.width_px = 1280, .height_px = 720});
  REQUIRE(fit.status == calibration::MapStatus::kFitted);
  tracker::write_wall_map(run.wall(), fit.map);
  tracker::TrackWriter track(run.track());
  for (const auto& sample :
       make_night({.segments = {{0.0, 300.0, 45.0, 0.3}, {7200.0, 200.0, 47.0, 2.0}},
       .end_s = 14400.0,
       .noise_mm = 0.02})) {
    track.append({.utc = {},
                  .t_s = sample.t_s,
                  .spot = {tracker::SpotState::kFound,
                           tracker::SpotPosition{.x_px = sample.x_mm / 0.4,
                                                 .y_px = 360.0,
                                                 .u_x_px = 0.05,
                                                 .u_y_px = 0.05,
                                                 .peak = 100.0,
                                                 .width_px = 5.0}}});
  }
}

std::string make_analysed_run(const std::filesystem::path& folder) {
  std::string run = (folder / "run").string();
  make_synthetic_run(run);
  write_text(folder / "apparatus.yaml", good_apparatus());
  const auto analysed =
      nightswing_command("analyse --quiet " + run + " --apparatus " +
                         (folder / "apparatus.yaml").string() + " --side plus@0s --side minus@2h");
  REQUIRE_MESSAGE(analysed.status == 0, analysed.errors);
  return run;
}

CommandResult browser_script(const std::string& words) {
  return run_command("/usr/bin/python3 " + std::string(NIGHTSWING_SOURCE_DIR) + "/tests/browser/" +
                     words);
}

CommandResult check_in_browser(const std::string& address, const std::string& more) {
  return browser_script("check_page.py " + std::string(NIGHTSWING_SOURCE_DIR) +
                        "/.build/npm/axe-core/axe.min.js '" + address + "' " + more);
}

double swing_told_s(const std::string& errors) {
  static const std::regex told("the spot swings once in ([0-9.]+) s, so it is a time-lapse");
  std::smatch found;
  REQUIRE_MESSAGE(std::regex_search(errors, found, told), errors);
  return std::stod(found[1]);
}

std::string good_apparatus() {
  return "title: Test balance (invented)\n"
         "source_masses: {shape: sphere, mass: 2.213(1) kg, diameter: 72.0(1) mm, material: lead}\n"
         "test_masses: {shape: sphere, mass: 34.6(1) g, diameter: 18.0(1) mm}\n"
         "boom: {arm: 58.0(2) mm, rod: {mass: 2.6(1) g, length: 134(1) mm, width: 3.0(1) mm}}\n"
         "separation: 52.0(3) mm\n"
         "optical_lever: {mirror_to_wall: 3.110(5) m, foot: 240(20) mm}\n"
         "scale: {factor: 1.0000(5)}\n";
}

}  // namespace nightswing::test
