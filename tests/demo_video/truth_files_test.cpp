#include "demo_video/truth_files.h"

#include <sstream>

#include <nlohmann/json.hpp>

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

NightSettings short_night() {
  NightSettings night;
  night.sides = {{Side::kMinus, 0}, {Side::kPlus, 600}};
  night.duration_s = 1200;
  return night;
}

TEST_SUITE("truth_files") {
  TEST_CASE("truth.json reads back to the same numbers, bit by bit") {
    const NightSettings night = short_night();
    const NightTruth truth = play_night(night);
    const auto json = nlohmann::json::parse(truth_json(night, truth));
    CHECK(json["balance"]["shift_mm"].get<double>() == truth.shift_mm);
    CHECK(json["balance"]["G_m3_per_kg_s2"].get<double>() == 6.67430e-11);
    CHECK(json["balance"]["wire_constant_N_m_per_rad"].get<double>() ==
          truth.wire_constant_n_m_per_rad);
    CHECK(json["segments"][1]["side"] == "plus");
    CHECK(json["segments"][1]["equilibrium_at_mid_path_mm"].get<double>() ==
          truth.segments[1].equilibrium_path_mm);
    CHECK(json["moves"].size() == 1);
    CHECK(json["moves"][0]["t_s"] == 600.0);
    CHECK(json["moves"][0]["to"] == "plus");
    CHECK(json["frames"] == 240);
  }

  TEST_CASE("the homographies of truth.json map a wall place to its pixel and back") {
    const NightSettings night = short_night();
    const NightTruth truth = play_night(night);
    const auto json = nlohmann::json::parse(truth_json(night, truth));
    const auto apply = [&](const char* name, double x, double y) {
      const auto& rows = json["camera"][name];
      const auto row = [&](std::size_t i) {
        return rows[i][0].get<double>() * x + rows[i][1].get<double>() * y +
               rows[i][2].get<double>();
      };
      return cv::Point2d(row(0) / row(2), row(1) / row(2));
    };
    const TrackPoint& point = truth.track[100];
    const cv::Point2d pixel = apply("pixel_from_wall", point.place.x_mm, point.place.y_mm);
    CHECK(pixel.x == test::within_abs(point.pixel.x_px, 1e-9));  // rounding
    CHECK(pixel.y == test::within_abs(point.pixel.y_px, 1e-9));
    const cv::Point2d wall = apply("wall_from_pixel", pixel.x, pixel.y);
    CHECK(wall.x == test::within_abs(point.place.x_mm, 1e-9));
  }

  TEST_CASE("truth_track.csv has a line for each frame that reads back exactly") {
    const NightTruth truth = play_night(short_night());
    std::istringstream text(truth_track_csv(truth));
    std::string line;
    std::getline(text, line);
    CHECK(line == "frame,t_s,theta_rad,x_mm,y_mm,x_px,y_px");
    std::size_t count = 0;
    while (std::getline(text, line)) {
      std::istringstream fields(line);
      std::string field;
      std::vector<double> values;
      while (std::getline(fields, field, ',')) values.push_back(std::stod(field));
      REQUIRE(values.size() == 7);
      CHECK(values[2] == truth.track[count].state.theta_rad);
      CHECK(values[5] == truth.track[count].pixel.x_px);
      ++count;
    }
    CHECK(count == truth.track.size());
  }

  TEST_CASE("a camera that moves stands in the truth, one that does not leaves it as it was") {
    NightSettings night = short_night();
    const NightTruth still = play_night(night);
    CHECK_FALSE(nlohmann::json::parse(truth_json(night, still)).contains("camera_motion"));
    night.mount.bump_px = 6;
    night.mount.bump_at_s = 600;
    const NightTruth moved = play_night(night);
    const auto json = nlohmann::json::parse(truth_json(night, moved));
    CHECK(json["camera_motion"]["bump_px"] == 6.0);
    CHECK(json["camera_motion"]["bump_at_s"] == 600.0);
    CHECK(moved.track[119].pixel.x_px == still.track[119].pixel.x_px);
    // 6 px to the right and down at 30 degrees in the middle, a little more beside it
    CHECK(moved.track[120].pixel.x_px - still.track[120].pixel.x_px == test::within_abs(5.2, 0.2));
    CHECK(moved.track[120].pixel.y_px - still.track[120].pixel.y_px == test::within_abs(3.0, 0.2));
    CHECK(moved.track[120].place.x_mm == still.track[120].place.x_mm);
  }

  TEST_CASE("a place that cannot be written is named") {
    CHECK_THROWS_WITH_AS(write_text("/nonexistent/truth.json", "x"),
                         "cannot write /nonexistent/truth.json; look at the folder and its rights",
                         SettingsError);
  }
}

}  // namespace
}  // namespace nightswing::demo
