#include "tracker/wall_calibration.h"

#include <functional>

#include <doctest/doctest.h>

#include "analysis/input_error.h"
#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::InputError;
namespace calibration = nightswing::calibration;

namespace {

std::string error_text(const std::vector<std::string>& points) {
  try {
    static_cast<void>(map_from_points(points, 0.5, {1280, 720}));
  } catch (const InputError& error) {
    return error.what();
  }
  return "no error";
}

}  // namespace

TEST_SUITE("wall_calibration") {
  TEST_CASE("two readings of a ruler make a line map, units or not") {
    for (const auto& points : {std::vector<std::string>{"100,400=120mm", "1100,400=320mm"},
                               std::vector<std::string>{"100,400=120", "1100,400=32 cm"}}) {
      const auto map = map_from_points(points, 0.5, {1280, 720});
      CHECK(map.kind == calibration::MapKind::kLine);
      // 200 mm over 1000 px
      CHECK(calibration::wall_from_pixel(map, {600.0, 400.0}).x_mm == within_abs(220.0, 1e-9));
      CHECK(calibration::mm_per_px(map, {600.0, 400.0}) == within_abs(0.2, 1e-12));
    }
  }

  TEST_CASE("four places make a plane map") {
    const auto map = map_from_points(
        {"100,100=0,200mm", "1100,100=400,200", "100,600=0,0", "1100,600=400mm,0mm"},
        0.5,
        {1280, 720});
    CHECK(map.kind == calibration::MapKind::kPlane);
    CHECK(calibration::wall_from_pixel(map, {600.0, 350.0}).y_mm == within_abs(100.0, 1e-6));
  }

  TEST_CASE("points that cannot be read or make no map are named") {
    CHECK(error_text({"100,400"}).starts_with("--point 100,400: there is no '='; write"));
    CHECK(error_text({"100=5mm"}).starts_with("--point 100=5mm: the pixel has no comma"));
    CHECK(error_text({"a,b=5mm"}).starts_with("--point a,b=5mm: the pixel is not two numbers"));
    CHECK(error_text({"1,2=5kg"})
              .starts_with(
                  "--point 1,2=5kg: a place on the wall is a length, but '5kg' is a mass; write "));
    CHECK(error_text({"1,2=5mm", "3,4=5mm,6mm"}).starts_with("some --point give one reading"));
    CHECK(error_text({"1,2=5mm"}) != "no error");
    CHECK(error_text({"1,2=5mm", "1,2=9mm"}) != "no error");
  }

  TEST_CASE("a picture without scale says so with its name") {
    const cv::Mat empty_wall(720, 1280, CV_8UC3, cv::Scalar(40, 40, 40));
    std::string text = "no error";
    try {
      static_cast<void>(map_from_picture(empty_wall, "first.png"));
    } catch (const InputError& error) {
      text = error.what();
    }
    CHECK(text.starts_with("first.png: "));
  }
}
