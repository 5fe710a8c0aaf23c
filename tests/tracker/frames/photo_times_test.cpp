#include "tracker/frames/photo_times.h"

#include <algorithm>
#include <cmath>
#include <random>

#include <doctest/doctest.h>
#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

const UtcTime kBegin = *parse_iso_time("2026-03-14T21:30:00Z");

/// Photographs of a camera whose clock shows `clock_s(true time)`, every `every_s`.
template <typename ClockOf>
std::vector<PhotoStamp> night_of(int photos, double every_s, bool whole_seconds, ClockOf clock_s) {
  std::vector<PhotoStamp> stamps;
  for (int k = 0; k < photos; ++k) {
    PhotoStamp photo{.name = fmt::format("IMG_{:04}.JPG", k + 1), .series = "IMG_#"};
    photo.number = k + 1;
    const double shown_s = clock_s(every_s * k);
    photo.camera = after(kBegin, whole_seconds ? std::floor(shown_s) : shown_s);
    photo.has_subseconds = !whole_seconds;
    stamps.push_back(photo);
  }
  return stamps;
}

double right(double t_s) {
  return t_s;
}

double worst_error_s(const PhotoTimes& times, double every_s) {
  double worst_s = 0.0;
  for (std::size_t k = 0; k < times.t_s.size(); ++k) {
    worst_s = std::max(worst_s, std::abs(times.t_s[k] - every_s * static_cast<double>(k)));
  }
  return worst_s;
}

bool grows(const std::vector<double>& t_s) {
  return std::ranges::adjacent_find(t_s, std::ranges::greater_equal{}) == t_s.end();
}

}  // namespace

TEST_SUITE("photo_times") {
  TEST_CASE("sub-seconds give exact times, and an offset the start in UTC") {
    auto photos = night_of(50, 2.37, false, right);
    for (auto& photo : photos) photo.has_offset = true;
    const PhotoTimes times = time_photos(photos, {});
    CHECK(worst_error_s(times, 2.37) < 2e-6);  // microseconds are kept
    REQUIRE(times.start);
    CHECK(iso_text(*times.start) == "2026-03-14T21:30:00.000Z");
    CHECK(times.warnings.empty());
    CHECK(std::ranges::all_of(times.gaps, [](const auto& gap) { return gap.empty(); }));
  }

  TEST_CASE("a clock without offset gives no UTC but says the local time") {
    const PhotoTimes times = time_photos(night_of(5, 2.0, false, right), {});
    CHECK_FALSE(times.start);
    CHECK(times.start_from.find("2026-03-14T21:30:00") != std::string::npos);
  }

  TEST_CASE("whole seconds of an even camera are taken apart again") {
    // Rounding down leaves up to 1 s (0.29 s r.m.s.) a photograph. The line is worst at 5.03 s,
    // where the error is a slow sawtooth of six teeth that tilts it a little.
    for (const double every_s : {0.4, 2.5, 5.03, 9.9}) {
      CAPTURE(every_s);
      const PhotoTimes times = time_photos(night_of(200, every_s, true, right), {});
      CHECK(worst_error_s(times, every_s) < (every_s == 5.03 ? 0.2 : 0.05));
      CHECK(grows(times.t_s));
      CHECK(times.warnings.empty());
    }
  }

  TEST_CASE("whole seconds of an uneven camera are kept, and said to be uncertain") {
    std::mt19937_64 random(3);
    std::uniform_real_distribution<double> jitter(-1.8, 1.8);
    const auto photos = night_of(100, 6.0, true, [&](double t_s) { return t_s + jitter(random); });
    const PhotoTimes times = time_photos(photos, {});
    CHECK(grows(times.t_s));
    CHECK(worst_error_s(times, 6.0) < 2 * (1.8 + 0.5) + 0.1);
    REQUIRE(times.warnings.size() == 1);
    CHECK(times.warnings[0].find("uncertain by 0.3 s") != std::string::npos);
  }

  TEST_CASE("numbers that are missing keep their time free and are told") {
    auto photos = night_of(40, 5.0, false, right);
    photos.erase(photos.begin() + 10, photos.begin() + 13);
    const PhotoTimes by_clock = time_photos(photos, {});
    CHECK(by_clock.t_s[10] == within_abs(65.0, 1e-5));
    CHECK(by_clock.gaps[10] == "3 photographs are missing between IMG_0010.JPG and IMG_0014.JPG");
    const PhotoTimes by_pace = time_photos(photos, {.frame_every_s = 4.9, .whole_s = {}});
    CHECK(by_pace.t_s[10] == within_abs(13 * 4.9, 1e-9));
    CHECK(by_pace.gaps[10] == by_clock.gaps[10]);
  }

  TEST_CASE("a pause of the camera is a gap of that length") {
    auto photos = night_of(60, 5.0, false, [](double t_s) { return t_s < 150 ? t_s : t_s + 754; });
    const PhotoTimes times = time_photos(photos, {});
    CHECK(times.t_s[30] - times.t_s[29] == within_abs(759.0, 1e-5));
    CHECK(times.gaps[30] == "no photograph for 12 min 39 s");
  }

  TEST_CASE("summer time, beginning or ending, moves no photograph") {
    for (const double hour_s : {3600.0, -3600.0}) {
      for (const bool whole_seconds : {false, true}) {
        const auto photos = night_of(
            200, 5.0, whole_seconds, [&](double t_s) { return t_s < 502 ? t_s : t_s + hour_s; });
        const PhotoTimes times = time_photos(photos, {});
        CHECK(worst_error_s(times, 5.0) < (whole_seconds ? 0.5 : 1e-5));
        CHECK_FALSE(times.gaps[101].empty());
      }
    }
  }

  TEST_CASE("an hour's pause is one if the clock knows its offset or numbers are missing") {
    auto photos =
        night_of(200, 5.0, false, [](double t_s) { return t_s < 502 ? t_s : t_s + 3600; });
    for (auto& photo : photos) photo.has_offset = true;
    CHECK(time_photos(photos, {}).t_s.back() == within_abs(995 + 3600, 1e-5));
  }

  TEST_CASE("a clock that runs wild and is set right again costs no time") {
    // One photograph from another year, a clock set back by 7 minutes, a clock set for a while.
    const auto wild = [](double t_s) { return t_s == 100.0 ? t_s + 3e7 : t_s; };
    const auto back = [](double t_s) { return t_s < 300 ? t_s : t_s - 420; };
    const auto while_ = [](double t_s) { return t_s >= 300 && t_s < 500 ? t_s + 9000 : t_s; };
    for (const auto& times : {time_photos(night_of(150, 5.0, false, wild), {}),
                              time_photos(night_of(150, 5.0, false, back), {}),
                              time_photos(night_of(150, 5.0, false, while_), {})}) {
      CHECK(grows(times.t_s));
      CHECK(worst_error_s(times, 5.0) < 1e-4);
      CHECK(std::ranges::any_of(times.gaps, [](const auto& gap) {
        return gap.find("clock went back") != std::string::npos;
      }));
    }
  }

  TEST_CASE("a few photographs without a time are placed between their neighbours") {
    auto photos = night_of(60, 5.0, false, right);
    for (const std::size_t k : {0U, 7U, 8U, 30U, 59U}) photos[k].camera.reset();
    const PhotoTimes times = time_photos(photos, {});
    CHECK(worst_error_s(times, 5.0) < 1e-4);
    REQUIRE(times.warnings.size() == 1);
    CHECK(times.warnings[0].starts_with("5 photographs carry no time"));
  }

  TEST_CASE("steps of which none is usual still give a time to a photograph without one") {
    auto photos = night_of(4, 1.0, true, [](double t_s) { return t_s < 2.0 ? t_s : t_s + 9.0; });
    photos[3].camera.reset();
    const PhotoTimes times = time_photos(photos, {});
    REQUIRE(times.t_s.size() == 4);
    CHECK(times.t_s[2] == within_abs(11.0, 1.0));  // whole seconds
    CHECK(grows(times.t_s));
    CHECK(std::isfinite(times.t_s[3]));
  }

  TEST_CASE("file times serve where there is no other, but not those of copies") {
    auto photos = night_of(30, 5.0, false, right);
    for (auto& photo : photos) {
      photo.file = photo.camera;
      photo.camera.reset();
    }
    const PhotoTimes times = time_photos(photos, {});
    CHECK(times.time_from == "times of the files");
    CHECK(worst_error_s(times, 5.0) < 1e-4);
    CHECK(times.warnings.size() == 1);
    for (std::size_t k = 0; k < photos.size(); ++k) {
      photos[k].file = after(kBegin, 0.004 * static_cast<double>(k));
    }
    CHECK_THROWS_WITH_AS(static_cast<void>(time_photos(photos, {})),
                         doctest::Contains("such as --frame-every 5s"),
                         nightswing::InputError);
  }

  TEST_CASE("the user's pace and the span of the night count before any clock") {
    const auto photos = night_of(11, 4.0, false, right);
    const PhotoTimes by_pace = time_photos(photos, {.frame_every_s = 5.0, .whole_s = {}});
    CHECK(worst_error_s(by_pace, 5.0) < 1e-9);
    REQUIRE(by_pace.warnings.size() == 1);  // the clock disagrees
    CHECK(by_pace.warnings[0] == "the photographs' own clock has 4 s between two of them, not 5 s");
    const PhotoTimes by_span = time_photos(photos, {.frame_every_s = {}, .whole_s = 45.0});
    CHECK(worst_error_s(by_span, 4.5) < 1e-9);
  }
}
