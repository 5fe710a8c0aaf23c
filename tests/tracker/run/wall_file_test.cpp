#include "tracker/run/wall_file.h"

#include <fstream>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "calibration/map/ruler_map.h"
#include "tests/support/error_text.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
namespace calibration = nightswing::calibration;

TEST_SUITE("wall_file") {
  TEST_CASE("a map is the same map after writing and reading, every digit") {
    const TemporaryFolder folder;
    const std::vector<calibration::ReferencePoint> points{
        {{100.25, 100.5}, {0.0, 0.0}, 0.1, 3},
        {{1100.1, 120.0}, {400.0, -8.0}, 0.2},
        {{90.0, 600.0}, {-4.0, -200.0}, 0.1},
        {{1120.0, 650.0 / 3.0}, {408.0, -140.0 / 3.0}, 0.1},
        {{600.0, 300.0}, {200.0, -80.0}, 0.1, 7}};
    const auto plane = calibration::fit_plane_map(points, {1280, 720});
    REQUIRE(plane.status == calibration::MapStatus::kFitted);
    write_wall_map(folder / "wall.yaml", plane.map);
    CHECK(read_wall_map(folder / "wall.yaml") == plane.map);

    calibration::WallMap sheets = plane.map;  // as of a scale of two sheets
    sheets.references[1].point.page = 2;
    sheets.pages = {{2, {360.5, 25.0}, 0.7, -0.1 / 3.0, 1e-3 / 7.0, 5e-4, 0.01, 0.02, 1e-4, 2e-5}};
    sheets.widening = 1.25;
    sheets.marker_scatter_px = 0.1 / 7.0;
    write_wall_map(folder / "wall.yaml", sheets);
    CHECK(read_wall_map(folder / "wall.yaml") == sheets);

    const std::vector<calibration::LineReference> ticks{{{100.0, 300.0}, 0.0},
                                                        {{1100.0, 310.0}, 400.0}};
    const auto line = calibration::fit_line_map(ticks, {1280, 720});
    REQUIRE(line.status == calibration::MapStatus::kFitted);
    write_wall_map(folder / "wall.yaml", line.map);
    CHECK(read_wall_map(folder / "wall.yaml") == line.map);

    std::vector<calibration::TickPoint> strokes;
    for (int tick = 0; tick < 20; ++tick) {
      for (const double y_px : {500.0, 520.0}) {
        strokes.push_back({{100.0 + 50.3 * tick + tick * tick / 7.0, y_px}, 1.0 * tick, 0.1});
      }
    }
    auto ruler = calibration::fit_ruler_map(strokes, {1280, 720});
    REQUIRE(ruler.status == calibration::MapStatus::kFitted);
    ruler.map.print_relative_u = 1e-3 / 7.0;
    write_wall_map(folder / "wall.yaml", ruler.map);
    CHECK(read_wall_map(folder / "wall.yaml") == ruler.map);
  }

  TEST_CASE("a kind that there is not, or without what belongs to it, is named") {
    const TemporaryFolder folder;
    const std::string rest =
        "frame_px: [1280, 720]\ncentre_px: [640, 360]\nhalf_span_px: 100\ndirection: [1, 0]\n";
    write_text(folder / "wall.yaml", "kind: sphere\n" + rest);
    CHECK(error_text([&] {
            static_cast<void>(read_wall_map(folder / "wall.yaml"));
          }).find("wall.yaml:1: kind is neither 'plane' nor 'line' nor 'ruler'") !=
          std::string::npos);
    write_text(folder / "wall.yaml", "kind: ruler\n" + rest);
    CHECK(error_text([&] {
            static_cast<void>(read_wall_map(folder / "wall.yaml"));
          }).find("kind is 'ruler', but there is no distortion") != std::string::npos);
  }

  TEST_CASE("a map without a lens, as earlier versions wrote it, reads as before") {
    const TemporaryFolder folder;
    const std::string eight = "1, 0, 0, 0, 1, 0, 0, 0";
    std::string covariance = "0";
    for (int i = 1; i < 64; ++i) covariance += ", 0";
    const auto file = [&](const std::string& more) {
      write_text(folder / "wall.yaml",
                 "kind: plane\nframe_px: [1280, 720]\ncentre_px: [640, 360]\nhalf_span_px: 100\n"
                 "direction: [1, 0]\nparameters: [" +
                     eight + "]\ncovariance: [" + covariance +
                     "]\ndegrees_of_freedom: 8\nreduced_chi2: 1\nresidual_rms_px: 0\nnote: ''\n" +
                     more + "references: []\n");
    };
    file("");
    const auto map = read_wall_map(folder / "wall.yaml");
    CHECK(map.distortion.empty());
    CHECK(calibration::wall_from_pixel(map, {740.0, 360.0}).x_mm == within_abs(1.0, 1e-12));
    // What is counted is a whole number of a size that there can be.
    file(
        "pages: [{page: 1e300, pivot_mm: [0, 0], shift_mm: [0, 0], u_shift_mm: [0, 0], "
        "turn_rad: 0, u_turn_rad: 0}]\n");
    CHECK(error_text([&] {
            static_cast<void>(read_wall_map(folder / "wall.yaml"));
          }).find("page is no whole number from 0 to 1000000") != std::string::npos);
    // With a lens the covariance has rows for it; the file's has not.
    file("distortion: [0.1]\ndistortion_centre_px: [640, 360]\ndistortion_radius_px: 734\n");
    CHECK(error_text([&] {
            static_cast<void>(read_wall_map(folder / "wall.yaml"));
          }).find("covariance does not hold 121 numbers") != std::string::npos);
  }

  TEST_CASE("a missing map says how to make one") {
    const TemporaryFolder folder;
    CHECK(error_text([&] {
            static_cast<void>(read_wall_map(folder / "wall.yaml"));
          }).find("run 'nightswing calibrate " + folder.path().string()) != std::string::npos);
  }
}
