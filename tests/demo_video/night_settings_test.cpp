#include "demo_video/night_settings.h"

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

TEST_SUITE("night_settings") {
  TEST_CASE("times are read in hours, minutes and seconds") {
    CHECK(parse_duration_s("2h5m") == 7500);
    CHECK(parse_duration_s("90s") == 90);
    CHECK(parse_duration_s("12.5") == 12.5);
    CHECK(parse_duration_s("1h1m1s") == 3661);
    for (const char* wrong : {"", "soon", "5m2h", "-3s", "1.2.3s", "3 s", "."}) {
      CAPTURE(std::string(wrong));
      CHECK_THROWS_AS(static_cast<void>(parse_duration_s(wrong)), SettingsError);
    }
  }

  TEST_CASE("a list of sides is read as it is written") {
    const std::vector<SideChange> expected = {
        {Side::kPlus, 0}, {Side::kAway, 7500}, {Side::kMinus, 7800}};
    CHECK(parse_sides("plus@0s,away@2h5m,minus@2h10m") == expected);
    CHECK_THROWS_AS(static_cast<void>(parse_sides("left@0s")), SettingsError);
    CHECK_THROWS_AS(static_cast<void>(parse_sides("plus")), SettingsError);
  }

  TEST_CASE("a picture size is two even numbers") {
    Camera camera;
    parse_size("640x360", camera);
    CHECK(camera.width_px == 640);
    CHECK(camera.height_px == 360);
    CHECK_THROWS_AS(parse_size("641x360", camera), SettingsError);
    CHECK_THROWS_AS(parse_size("large", camera), SettingsError);
  }

  TEST_CASE("the default night can be, and has a frame for every five seconds") {
    const NightSettings night;
    CHECK_NOTHROW(check_settings(night));
    CHECK(frame_count(night) == 3000);
  }

  TEST_CASE("a night that cannot be is refused") {
    NightSettings night;
    SUBCASE("masses touch") {
      night.balance.separation_m = 0.039;
    }
    SUBCASE("no period") {
      night.balance.free_period_s = 0;
    }
    SUBCASE("a side follows itself") {
      night.sides = {{Side::kPlus, 0}, {Side::kPlus, 100}};
    }
    SUBCASE("a late begin") {
      night.sides = {{Side::kPlus, 10}};
    }
    SUBCASE("a side after the end") {
      night.sides = {{Side::kPlus, 0}, {Side::kMinus, 20000}};
    }
    SUBCASE("no sides") {
      night.sides.clear();
    }
    SUBCASE("a side shorter than the move") {
      night.sides = {{Side::kPlus, 0}, {Side::kMinus, 100}, {Side::kPlus, 110}};
    }
    SUBCASE("a start that is no time") {
      night.start_utc = "yesterday";
    }
    SUBCASE("a knock after the end") {
      night.mount.bump_px = 5;
      night.mount.bump_at_s = 20000;
    }
    SUBCASE("a knock before the first frame") {
      night.mount.bump_deg = 1;
    }
    SUBCASE("a quality that is none") {
      night.film.crf = 60;
    }
    CHECK_THROWS_AS(check_settings(night), SettingsError);
  }
}

}  // namespace
}  // namespace nightswing::demo
