#include "tracker/spot/sample_places.h"

#include <doctest/doctest.h>

namespace nightswing::tracker {
namespace {

TEST_SUITE("sample places") {
  TEST_CASE("the grid has about a thousand places in any usual picture, whole macroblocks apart") {
    for (const cv::Size size :
         {cv::Size(640, 360), cv::Size(1280, 720), cv::Size(1920, 1080), cv::Size(3840, 2160)}) {
      CAPTURE(size.width);
      const int step_px = sample_step_px(size);
      CHECK(step_px % 16 == 0);
      const int places = (size.width / step_px) * (size.height / step_px);
      CHECK(places > 700);  // steps of 16 px round the number by a factor of 1.3 at most
      CHECK(places < 1300);
    }
  }

  TEST_CASE("a small picture has places 16 px apart") {
    CHECK(sample_step_px({160, 120}) == 16);
  }
}

}  // namespace
}  // namespace nightswing::tracker
