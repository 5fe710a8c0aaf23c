#include "tracker/spot/film_drag.h"

#include <cmath>

#include <doctest/doctest.h>

#include "tests/support/near.h"
#include "tests/tracker/spot/usual_pictures.h"

using namespace nightswing;
using test::kPictureSize;
using test::within_abs;
using tracker::FilmDrag;
using tracker::SpotFit;

namespace {

constexpr int kSaturation = 250;

constexpr double kDragRounding = 1e-12;  // of what would be exact

/// Where nothing is as it was in a frame of another number, or all of it, if it is the same.
cv::Mat film_frame(int number) {
  return {kPictureSize, CV_8UC1, cv::Scalar(90 + number)};
}

SpotFit spot_at(double x_px) {
  SpotFit fit;
  fit.shape.x_px = x_px;
  fit.shape.y_px = 100.0;
  fit.shape.sigma_x_px = 4.0;
  fit.shape.sigma_y_px = 4.0;
  return fit;  // without uncertainty, so that all it moves is travel
}

/// A spot that is drawn anew in each of five frames, 3 px farther each time.
FilmDrag after_five_frames() {
  FilmDrag drag;
  for (int k = 0; k < 5; ++k) drag.look(film_frame(k), spot_at(100.0 + 3.0 * k), 3.0, kSaturation);
  return drag;
}

}  // namespace

TEST_SUITE("film_drag") {
  TEST_CASE("a spot that is drawn anew is where it is seen") {
    CHECK(after_five_frames().lag_px() == 0.0);
  }

  TEST_CASE("one that film repeats may have gone on as fast as it did before") {
    FilmDrag drag = after_five_frames();
    drag.look(film_frame(4), spot_at(112.0), 3.0, kSaturation);
    CHECK(drag.lag_px() == within_abs(3.0, kDragRounding));
    drag.look(film_frame(4), spot_at(112.0), 0.0, kSaturation);
    CHECK(drag.lag_px() == within_abs(6.0, kDragRounding));
    drag.look(film_frame(5), spot_at(121.0), 3.0, kSaturation);
    CHECK(drag.lag_px() == 0.0);
  }

  TEST_CASE("a saturated spot is alike in every frame, of which nothing follows") {
    FilmDrag drag = after_five_frames();
    const cv::Mat bright(kPictureSize, CV_8UC1, cv::Scalar(255));
    for (int k = 0; k < 3; ++k) drag.look(bright, spot_at(112.0), 3.0, kSaturation);
    CHECK(drag.lag_px() == 0.0);
  }

  TEST_CASE("travel within twice the widened uncertainty is none, nor is that of a creeping spot") {
    for (const bool is_certain : {true, false}) {
      CAPTURE(is_certain);
      FilmDrag drag;
      SpotFit fit = spot_at(100.0);
      // Twice 1.2 times (5 px in either direction) is 17 px, more than the 3 px of a frame.
      if (!is_certain) fit.u_x_px = fit.u_y_px = 5.0;
      for (int k = 0; k < 5; ++k) {
        fit.shape.x_px = 100.0 + 3.0 * k;
        drag.look(film_frame(k), fit, 3.0, kSaturation);
      }
      drag.look(film_frame(4), fit, 3.0, kSaturation);
      CHECK((drag.lag_px() > 0.0) == is_certain);
    }
    FilmDrag creeping;
    for (int k = 0; k < 5; ++k)
      creeping.look(film_frame(k), spot_at(100.0 + 0.2 * k), 0.2, kSaturation);
    creeping.look(film_frame(4), spot_at(100.8), 0.2, kSaturation);
    CHECK(creeping.lag_px() == 0.0);
  }

  TEST_CASE("two fifths of a spot may be repeated by chance") {
    for (const double share : {0.3, 0.5}) {
      CAPTURE(share);
      FilmDrag drag = after_five_frames();
      // The spot of sigma 4 px at 112 px reaches from 104 to 120 px; its left part is repeated.
      cv::Mat partly = film_frame(5);
      const int columns = 104 + static_cast<int>(std::lround(17.0 * share));
      partly.colRange(0, columns) = 94;
      drag.look(partly, spot_at(112.0), 3.0, kSaturation);
      CHECK((drag.lag_px() > 0.0) == (share > 0.4));
    }
  }

  TEST_CASE("a creeping spot is widened more than a fast one, a turning one is held back") {
    CHECK(FilmDrag::widening(0.0) == within_abs(1.8, kDragRounding));
    CHECK(FilmDrag::widening(0.3) == within_abs(1.5, kDragRounding));
    CHECK(FilmDrag::widening(1e6) == within_abs(1.2, 1e-6));  // 0.6/(1 + 1e6/0.3) is left
    CHECK(FilmDrag::turn_doubt_px(-0.5, 0.0) == within_abs(0.15, kDragRounding));
    CHECK(FilmDrag::turn_doubt_px(-0.5, 1.0) == within_abs(0.075, kDragRounding));
  }
}
