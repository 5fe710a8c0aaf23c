#include "tracker/frames/picture.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/support/near.h"

using namespace nightswing;
using test::within_abs;
using tracker::FilmPlanes;
using tracker::Picture;

namespace {

/// A picture of one colour.
FilmPlanes even(int luma, int blue, int red) {
  FilmPlanes planes;
  planes.luma = cv::Mat(7, 9, CV_8UC1, cv::Scalar(luma));
  planes.blue = cv::Mat(4, 5, CV_8UC1, cv::Scalar(blue));
  planes.red = cv::Mat(4, 5, CV_8UC1, cv::Scalar(red));
  return planes;
}

cv::Vec3b colour_of(const FilmPlanes& planes) {
  return Picture(planes).bgr().at<cv::Vec3b>(3, 4);
}

/// A coarse plane in a pixel of the picture: between its values in both directions, as far as there
/// are any.
double value_at(const cv::Mat& plane, const FilmPlanes& planes, int column, int row) {
  const double x = std::clamp(
      (column - planes.first_x_px) / planes.columns_each, 0.0, static_cast<double>(plane.cols - 1));
  const double y = std::clamp(
      (row - planes.first_y_px) / planes.rows_each, 0.0, static_cast<double>(plane.rows - 1));
  const int left = static_cast<int>(x);
  const int top = static_cast<int>(y);
  const auto value = [&](int right, int down) {
    return static_cast<double>(plane.at<std::uint8_t>(std::min(top + down, plane.rows - 1),
                                                      std::min(left + right, plane.cols - 1)));
  };
  const double u = x - left;
  const double v = y - top;
  return (1 - v) * ((1 - u) * value(0, 0) + u * value(1, 0)) +
         v * ((1 - u) * value(0, 1) + u * value(1, 1));
}

/// Blue, green and red of a pixel by BT.601-7, not limited.
cv::Vec3d exact_bgr(const FilmPlanes& planes, int column, int row) {
  const double blue = value_at(planes.blue, planes, column, row) - 128.0;
  const double red = value_at(planes.red, planes, column, row) - 128.0;
  const double stored = planes.luma.at<std::uint8_t>(row, column);
  const double luma = planes.full_range ? stored : 255.0 / 219.0 * (stored - 16.0);
  const double gain = planes.full_range ? 1.0 : 255.0 / 224.0;
  const double b = luma + 1.772 * gain * blue;
  const double r = luma + 1.402 * gain * red;
  return {b, (luma - 0.114 * b - 0.299 * r) / 0.587, r};
}

FilmPlanes random_planes(cv::Size size, cv::Size each, cv::Range luma, cv::Range colours) {
  const cv::Size coarse((size.width + each.width - 1) / each.width,
                        (size.height + each.height - 1) / each.height);
  FilmPlanes planes;
  planes.luma = cv::Mat(size, CV_8UC1);
  planes.blue = cv::Mat(coarse, CV_8UC1);
  planes.red = cv::Mat(coarse, CV_8UC1);
  cv::randu(planes.luma, luma.start, luma.end);
  cv::randu(planes.blue, colours.start, colours.end);
  cv::randu(planes.red, colours.start, colours.end);
  planes.columns_each = each.width;
  planes.rows_each = each.height;
  return planes;
}

/// Of 83 x 29 pixels, the colours of different coarseness and sited early or late.
std::vector<Picture> random_films(cv::Range luma, cv::Range colours) {
  std::vector<Picture> films;
  for (const cv::Size each : {cv::Size(1, 1), cv::Size(2, 2), cv::Size(4, 1)}) {
    for (const double first_px : {0.0, 0.5, 1.5}) {
      FilmPlanes planes = random_planes({83, 29}, each, luma, colours);
      planes.first_x_px = planes.first_y_px = first_px;
      films.emplace_back(planes);
    }
  }
  return films;
}

/// Of such a film: inside and at every border, some narrower than sixteen pixels.
const std::vector<cv::Rect> kParts{{3, 1, 75, 27},
                                   {0, 0, 1, 29},
                                   {0, 0, 3, 2},
                                   {66, 0, 17, 29},
                                   {81, 5, 2, 3},
                                   {82, 28, 1, 1},
                                   {0, 28, 83, 1}};

void check_colour(const cv::Vec3b& found, const cv::Vec3b& expected) {
  for (int k = 0; k < 3; ++k) {
    CAPTURE(k);
    CHECK(std::abs(found[k] - expected[k]) <= 2);  // the codes themselves are rounded
  }
}

}  // namespace

TEST_SUITE("picture") {
  TEST_CASE("luma of a colour picture is weighed as Rec. ITU-R BT.601 says, gray is kept") {
    // 0.299 red + 0.587 green + 0.114 blue; the order in memory is blue, green, red.
    const Picture colour(cv::Mat(3, 4, CV_8UC3, cv::Scalar(40, 90, 250)));
    CHECK(colour.has_colour());
    CHECK(colour.gray({1, 1, 2, 2}).size() == cv::Size(2, 2));
    CHECK(colour.gray_at(1, 1) == 132);  // 132.14
    cv::Mat gray(5, 6, CV_8UC1, cv::Scalar(90));
    gray.at<std::uint8_t>(3, 2) = 7;
    const Picture plain(gray);
    CHECK_FALSE(plain.has_colour());
    CHECK(plain.gray({2, 3, 1, 1}).at<std::uint8_t>(0, 0) == 7);
    CHECK(plain.bgr({2, 3, 1, 1}).at<cv::Vec3b>(0, 0) == cv::Vec3b(7, 7, 7));
  }

  TEST_CASE(
      "a pixel of a colour picture has the same luma alone, in a rectangle and in the whole") {
    cv::Mat pixels(61, 83, CV_8UC3);
    cv::randu(pixels, 0, 256);
    const Picture picture(pixels);
    Picture copy;
    copy = picture;
    const cv::Rect part(5, 7, 70, 50);
    const cv::Mat gray = picture.gray(part);
    for (int row = 0; row < part.height; ++row) {
      for (int column = 0; column < part.width; ++column) {
        const int alone = picture.gray_at(part.x + column, part.y + row);
        const cv::Vec3b& p = pixels.at<cv::Vec3b>(part.y + row, part.x + column);
        // Rounding, and shares of 1/32768.
        REQUIRE(alone == within_abs(0.114 * p[0] + 0.587 * p[1] + 0.299 * p[2], 0.51));
        REQUIRE(gray.at<std::uint8_t>(row, column) == alone);
        REQUIRE(picture.stored_luma().at<std::uint8_t>(part.y + row, part.x + column) == alone);
      }
    }
    CHECK(copy.stored_luma().data == picture.stored_luma().data);  // converted once
    CHECK(copy.gray(copy.area()).data == picture.stored_luma().data);
  }

  TEST_CASE("another gray than luma is the weighted sum of the colours, alone and in a rectangle") {
    cv::Mat pixels(61, 83, CV_8UC3);
    cv::randu(pixels, 0, 256);
    pixels.at<cv::Vec3b>(9, 8) = {255, 255, 255};
    const tracker::GrayShares shares{20, 50, 186};
    const Picture picture = Picture(pixels).in_gray_of(shares);
    const cv::Rect part(5, 7, 70, 50);
    const cv::Mat gray = picture.gray(part);
    for (int row = 0; row < part.height; ++row) {
      for (int column = 0; column < part.width; ++column) {
        const cv::Vec3b& p = pixels.at<cv::Vec3b>(part.y + row, part.x + column);
        const double sum = (20.0 * p[0] + 50.0 * p[1] + 186.0 * p[2]) / 256.0;
        REQUIRE(gray.at<std::uint8_t>(row, column) == within_abs(sum, 0.51));  // rounded
        REQUIRE(picture.gray_at(part.x + column, part.y + row) ==
                gray.at<std::uint8_t>(row, column));
      }
    }
    CHECK(picture.gray_at(8, 9) == 255);
    CHECK((Picture(even(100, 128, 128)).in_gray_of(shares).gray_at(3, 4) ==
           Picture(even(100, 128, 128)).gray_at(3, 4)));  // what has no colour is the same in all
    const Picture without = Picture(cv::Mat(5, 5, CV_8UC1, cv::Scalar(77))).in_gray_of(shares);
    CHECK(without.gray_at(2, 2) == 77);
  }

  TEST_CASE("the colour bars of television come out as their colours") {
    // 75 % bars in 8-bit codes (luma, blue, red) of limited range: SMPTE EG 1 by BT.601, ARIB
    // STD-B28 by BT.709; 75 % of 255 is 191. From memory, and the same by the formulas of BT.601-7
    // and BT.709-6.
    FilmPlanes old = even(65, 100, 212);
    check_colour(colour_of(old), {0, 0, 191});
    check_colour(colour_of(even(112, 72, 58)), {0, 191, 0});
    check_colour(colour_of(even(35, 212, 114)), {191, 0, 0});
    check_colour(colour_of(even(180, 128, 128)), {191, 191, 191});
    FilmPlanes high = even(51, 109, 212);
    high.red_share = 0.2126;
    high.blue_share = 0.0722;
    check_colour(colour_of(high), {0, 0, 191});
  }

  TEST_CASE("of full range white is 255 and nothing is changed, of limited range 235 is white") {
    FilmPlanes full = even(200, 128, 128);
    full.full_range = true;
    const Picture same(full);
    CHECK(same.gray_at(0, 0) == 200);
    CHECK(same.gray(same.area()).data == full.luma.data);
    CHECK(colour_of(full) == cv::Vec3b(200, 200, 200));
    for (int code = 0; code < 256; ++code) {
      CAPTURE(code);
      const Picture limited(even(code, 128, 128));
      const double light = std::min(std::max((code - 16) * 255.0 / 219.0, 0.0), 255.0);
      CHECK(limited.gray_at(3, 3) == within_abs(light, 0.5));
      CHECK(limited.gray(limited.area()).at<std::uint8_t>(3, 3) == limited.gray_at(3, 3));
      CHECK(std::abs(limited.bgr().at<cv::Vec3b>(3, 3)[0] - limited.gray_at(3, 3)) <= 1);
      CHECK(limited.stored_luma().at<std::uint8_t>(3, 3) == code);
    }
  }

  TEST_CASE("colours lie where they belong, whatever their siting and coarseness") {
    // A red Gaussian light, sampled in each plane where its values belong.
    constexpr double kX = 31.3;
    constexpr double kY = 22.8;
    const auto light = [&](double x, double y) {
      return std::exp(-((x - kX) * (x - kX) + (y - kY) * (y - kY)) / (2.0 * 25.0));
    };
    for (const cv::Size each : {cv::Size(1, 1), cv::Size(2, 1), cv::Size(2, 2), cv::Size(4, 1)}) {
      for (const double first_x_px : {0.0, 0.5 * (each.width - 1)}) {
        for (const double first_y_px : {0.0, 0.5 * (each.height - 1)}) {
          CAPTURE(each.width);
          CAPTURE(first_x_px);
          CAPTURE(first_y_px);
          FilmPlanes planes;
          planes.luma = cv::Mat(51, 63, CV_8UC1, cv::Scalar(100));
          planes.blue = cv::Mat((51 + each.height - 1) / each.height,
                                (63 + each.width - 1) / each.width,
                                CV_8UC1,
                                cv::Scalar(128));
          planes.red = planes.blue.clone();
          planes.columns_each = each.width;
          planes.rows_each = each.height;
          planes.first_x_px = first_x_px;
          planes.first_y_px = first_y_px;
          for (int row = 0; row < planes.red.rows; ++row) {
            for (int column = 0; column < planes.red.cols; ++column) {
              planes.red.at<std::uint8_t>(row, column) =
                  cv::saturate_cast<std::uint8_t>(128 + 70 * light(first_x_px + each.width * column,
                                                                   first_y_px + each.height * row));
            }
          }
          cv::Mat red;
          cv::extractChannel(Picture(planes).bgr(), red, 2);
          cv::Mat excess;
          red.convertTo(excess, CV_32F, 1.0, -red.at<std::uint8_t>(0, 0));
          const cv::Moments moments = cv::moments(excess);
          // Rounding of some hundred pixels; half a pixel of wrong siting is ten times that.
          CHECK(moments.m10 / moments.m00 == within_abs(kX, 0.05));
          CHECK(moments.m01 / moments.m00 == within_abs(kY, 0.05));
        }
      }
    }
  }

  TEST_CASE("every pixel of a film has the colours and the gray that BT.601's formulas give it") {
    // No whole number of values nor of sixteen pixels; one row, one column, one value, one pixel.
    for (const cv::Size size :
         {cv::Size(83, 29), cv::Size(40, 1), cv::Size(1, 9), cv::Size(2, 2), cv::Size(1, 1)}) {
      for (const cv::Size each : {cv::Size(1, 1), cv::Size(2, 1), cv::Size(2, 2), cv::Size(4, 1)}) {
        for (const double first_px : {0.0, 0.5, 1.5, -0.25}) {
          CAPTURE(size.width);
          CAPTURE(each.width);
          CAPTURE(each.height);
          CAPTURE(first_px);
          FilmPlanes planes = random_planes(size, each, {0, 256}, {0, 256});
          planes.first_x_px = planes.first_y_px = first_px;
          planes.full_range = first_px == 0.5;
          const Picture picture(planes);
          const cv::Mat bgr = picture.bgr();
          const Picture in_gray = picture.in_gray_of({30, 40, 186});
          const cv::Mat gray = in_gray.gray(in_gray.area());
          for (int row = 0; row < size.height; ++row) {
            for (int column = 0; column < size.width; ++column) {
              const cv::Vec3d exact = exact_bgr(planes, column, row);
              const cv::Vec3b& found = bgr.at<cv::Vec3b>(row, column);
              // Rounding, and that of the sum in single precision.
              constexpr double kRounded = 0.501;
              for (int k = 0; k < 3; ++k) {
                REQUIRE(found[k] == within_abs(std::clamp(exact[k], 0.0, 255.0), kRounded));
              }
              const double sum = (30 * exact[0] + 40 * exact[1] + 186 * exact[2]) / 256.0;
              const int stored = gray.at<std::uint8_t>(row, column);
              REQUIRE(stored == within_abs(std::clamp(sum, 0.0, 255.0), kRounded));
              REQUIRE(in_gray.gray_at(column, row) == stored);
            }
          }
        }
      }
    }
  }

  TEST_CASE("no colour is brighter than its limit, which is no idle one") {
    for (const Picture& picture : random_films({40, 120}, {110, 146})) {
      const cv::Mat bgr = picture.bgr();
      for (const cv::Rect& part : kParts) {
        double most = 0;
        cv::minMaxLoc(bgr(part).clone().reshape(1), nullptr, &most);
        REQUIRE(picture.brightness_limit(part) >= most);
        REQUIRE(picture.brightness_limit(part) < 255);
      }
    }
    // Of one colour it is that, rounded up: the red and green of the colour bars.
    CHECK(Picture(even(65, 100, 212)).brightness_limit({2, 1, 5, 5}) == 192);  // 191.12
    CHECK(Picture(even(112, 72, 58)).brightness_limit({2, 1, 5, 5}) == 191);   // 190.64
    CHECK(Picture(even(235, 128, 128)).brightness_limit({0, 0, 9, 7}) == 255);
    CHECK(Picture(cv::Mat(5, 5, CV_8UC1, cv::Scalar(7))).brightness_limit({0, 0, 5, 5}) == 255);
    CHECK(Picture(cv::Mat(5, 5, CV_8UC3, cv::Scalar(7))).brightness_limit({0, 0, 5, 5}) == 255);
  }

  TEST_CASE("a part of a picture is the same as that part of the whole") {
    for (const Picture& picture : random_films({0, 256}, {0, 256})) {
      const Picture in_gray = picture.in_gray_of({30, 40, 186});
      const cv::Mat bgr = picture.bgr();
      const cv::Mat luma = picture.gray(picture.area());
      const cv::Mat gray = in_gray.gray(picture.area());
      for (const cv::Rect& part : kParts) {
        CAPTURE(part.x);
        CAPTURE(part.width);
        CHECK(cv::norm(picture.bgr(part), bgr(part), cv::NORM_INF) == 0.0);
        CHECK(cv::norm(picture.gray(part), luma(part), cv::NORM_INF) == 0.0);
        CHECK(cv::norm(in_gray.gray(part), gray(part), cv::NORM_INF) == 0.0);
      }
    }
  }

  TEST_CASE("what is no 8-bit picture, or planes that do not fit together, is a caller's bug") {
    CHECK(Picture().empty());
    CHECK(Picture(cv::Mat()).empty());
    CHECK_THROWS_AS(Picture(cv::Mat::zeros(3, 4, CV_16UC1)), std::invalid_argument);
    CHECK_THROWS_AS(Picture(cv::Mat::zeros(3, 4, CV_8UC4)), std::invalid_argument);
    FilmPlanes small = even(100, 128, 128);
    small.red = cv::Mat(4, 4, CV_8UC1, cv::Scalar(128));
    CHECK_THROWS_AS(Picture{small}, std::invalid_argument);
  }
}
