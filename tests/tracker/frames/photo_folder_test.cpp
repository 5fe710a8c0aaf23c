#include "tracker/frames/photo_folder.h"

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "analysis/quantities/input_error.h"
#include "tests/support/exif_photo.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/line_file.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::InputError;

namespace {

/// Each picture says by its gray which one it is.
cv::Mat picture_of(int k) {
  cv::Mat picture(48, 64, CV_8UC3, cv::Scalar::all(20 + 10 * k));
  cv::rectangle(picture, {0, 0, 20, 10}, cv::Scalar(0, 0, 255), cv::FILLED);  // which way is up
  return picture;
}

ExifTruth taken_at(int second, const std::string& fraction = {}, const std::string& offset = {}) {
  return {.date_time_original = fmt::format("2026:03:14 21:{:02}:{:02}", second / 60, second % 60),
          .sub_sec_time_original = fraction,
          .offset_time_original = offset};
}

struct Seen {
  double t_s;
  int which;
  std::string gap;
};

std::vector<Seen> all_of(FrameSource& source) {
  std::vector<Seen> seen;
  Frame frame;
  while (source.next(frame)) {
    const double gray = cv::mean(frame.picture.bgr(cv::Rect(32, 24, 30, 20)))[0];
    seen.push_back({frame.t_s, static_cast<int>(std::lround((gray - 20.0) / 10.0)), frame.gap});
  }
  return seen;
}

}  // namespace

TEST_SUITE("photo_folder") {
  TEST_CASE("names are put in the order in which people count") {
    for (const auto& names : {std::pair{"a2.jpg", "a10.jpg"},
                              std::pair{"a02.jpg", "a10.jpg"},
                              std::pair{"A2.jpg", "a3.jpg"},
                              std::pair{"a.jpg", "b.jpg"},
                              std::pair{"a1b2.png", "a1b10.png"},
                              std::pair{"a01.jpg", "a1.jpg"},
                              std::pair{"a", "a1"},
                              std::pair{"x99999999999999999999998", "x99999999999999999999999"}}) {
      const std::string first = names.first;
      const std::string second = names.second;
      CAPTURE(first);
      CHECK(comes_before(first, second));
      CHECK_FALSE(comes_before(second, first));
      CHECK_FALSE(comes_before(first, first));
    }
  }

  TEST_CASE("date, sub-seconds, offset and orientation are read from the EXIF block") {
    const TemporaryFolder folder;
    ExifTruth exif = taken_at(5, "057", "+01:00");
    exif.orientation = 6;
    write_photo(folder / "p1.JPG", picture_of(1), exif);
    write_photo(folder / "p2.jpeg", picture_of(2), taken_at(7));
    cv::imwrite((folder / "p3.png").string(), picture_of(3));
    write_text(folder / "notes.txt", "none");
    const auto photos = list_photos(folder.path());
    REQUIRE(photos.size() == 3);
    REQUIRE(photos[0].camera);
    CHECK(iso_text(*photos[0].camera) == "2026-03-14T20:00:05.057Z");
    CHECK(photos[0].has_offset);
    CHECK(photos[0].has_subseconds);
    CHECK(photos[0].turn_deg == 90);
    CHECK(photos[0].number == 1);
    CHECK(iso_text(*photos[1].camera) == "2026-03-14T21:00:07.000Z");
    CHECK_FALSE(photos[1].has_offset);
    CHECK_FALSE(photos[1].has_subseconds);
    CHECK_FALSE(photos[2].camera);
    CHECK(photos[2].file);
  }

  TEST_CASE(
      "a PNG with an EXIF chunk has time and orientation, and its pixels as they are stored") {
    const TemporaryFolder folder;
    for (int k = 0; k < 3; ++k) {
      ExifTruth exif = taken_at(5 * k, "057", "+01:00");
      exif.orientation = 6;
      write_png_photo(folder / fmt::format("p{}.PNG", k), picture_of(k), exif);
    }
    const auto photos = list_photos(folder.path());
    REQUIRE(photos.size() == 3);
    REQUIRE(photos[1].camera);
    CHECK(iso_text(*photos[1].camera) == "2026-03-14T20:00:05.057Z");
    CHECK(photos[1].has_offset);
    CHECK(photos[1].turn_deg == 90);
    PhotoFolder source(folder.path());
    const auto seen = all_of(source);
    REQUIRE(seen.size() == 3);
    CHECK(seen[2].which == 2);
    CHECK(seen[2].t_s == within_abs(10.0, 1e-6));  // microseconds in the clock's text
  }

  TEST_CASE("a PNG that breaks off, or whose chunk claims more than there is, has no EXIF time") {
    const TemporaryFolder folder;
    write_png_photo(folder / "whole.png", picture_of(1), taken_at(5, "057", "+01:00"));
    const std::string whole = read_whole_file(folder / "whole.png");
    const std::size_t chunk = whole.find("eXIf");
    REQUIRE(chunk != std::string::npos);
    write_text(folder / "cut1.png", whole.substr(0, 5));
    write_text(folder / "cut2.png", whole.substr(0, chunk + 2));
    write_text(folder / "cut3.png", whole.substr(0, chunk + 30));
    std::string claims = whole;
    claims.replace(chunk - 4, 4, "\x7F\xFF\xFF\xFF");
    write_text(folder / "claims.png", claims);
    const auto photos = list_photos(folder.path());
    REQUIRE(photos.size() == 5);
    for (const auto& photo : photos) {
      CAPTURE(photo.name);
      CHECK(photo.camera.has_value() == (photo.name == "whole.png"));
    }
  }

  TEST_CASE("every photograph comes once, in order, as stored, with its time") {
    const TemporaryFolder folder;
    for (int k = 0; k < 12; ++k) {
      ExifTruth exif = taken_at(5 * k, "250", "+00:00");
      exif.orientation = 3;
      write_photo(folder / fmt::format("night{}.jpg", k + 1), picture_of(k), exif);
    }
    PhotoFolder source(folder.path());
    CHECK(source.facts().width_px == 64);
    CHECK(source.facts().rotation_deg == 180.0);
    REQUIRE(source.facts().start);
    CHECK(iso_text(*source.facts().start) == "2026-03-14T21:00:00.250Z");
    const auto seen = all_of(source);
    REQUIRE(seen.size() == 12);
    for (int k = 0; k < 12; ++k) {
      CHECK(seen[static_cast<std::size_t>(k)].which == k);
      CHECK(seen[static_cast<std::size_t>(k)].t_s == within_abs(5.0 * k, 1e-6));
    }
    CHECK(source.warnings().empty());
    Frame frame;
    CHECK_FALSE(source.next(frame));
    // Upright it would be turned by 180 degrees: stored, red stays in the upper left corner.
    PhotoFolder again(folder.path());
    REQUIRE(again.next(frame));
    CHECK(frame.picture.bgr().at<cv::Vec3b>(4, 5)[2] > 200);
  }

  TEST_CASE("a camera whose numbers ran over keeps its order") {
    const TemporaryFolder folder;
    const std::vector<int> numbers{9997, 9998, 9999, 1, 2, 3};
    for (int k = 0; k < 6; ++k) {
      write_photo(folder / fmt::format("IMG_{:04}.jpg", numbers[static_cast<std::size_t>(k)]),
                  picture_of(k),
                  taken_at(4 * k, "0"));
    }
    PhotoFolder source(folder.path());
    const auto seen = all_of(source);
    REQUIRE(seen.size() == 6);
    for (int k = 0; k < 6; ++k) {
      CHECK(seen[static_cast<std::size_t>(k)].which == k);
      CHECK(seen[static_cast<std::size_t>(k)].t_s == within_abs(4.0 * k, 1e-6));
      CHECK(seen[static_cast<std::size_t>(k)].gap.empty());
    }
  }

  TEST_CASE("what cannot be read, breaks off or has another size is left out and told") {
    const TemporaryFolder folder;
    for (int k = 0; k < 8; ++k) {
      write_photo(folder / fmt::format("p{}.jpg", k), picture_of(k), taken_at(5 * k, "0"));
    }
    write_text(folder / "p2.jpg", "no picture");
    // A real picture has detail to the end; so the break is in its data.
    cv::Mat detailed(480, 640, CV_8UC3);
    cv::randu(detailed, 0, 255);
    write_photo(folder / "p4.jpg", detailed, taken_at(20, "0"));
    write_photo(folder / "p5.jpg", picture_of(5).rowRange(0, 40), taken_at(25, "0"));
    std::filesystem::remove(folder / "p6.jpg");
    PhotoFolder source(folder.path());
    const auto seen = all_of(source);
    REQUIRE(seen.size() == 4);
    CHECK(seen[2].gap == "p2.jpg cannot be read and was left out");
    CHECK(seen[2].t_s == within_abs(15.0, 1e-6));
    CHECK(seen[3].gap ==
          "p4.jpg has 640 x 480 pixels and was left out; p5.jpg has 64 x 40 pixels and was left "
          "out; 1 photographs are missing between p5.jpg and p7.jpg");
    CHECK(seen[3].t_s == within_abs(35.0, 1e-6));
    REQUIRE(source.warnings().size() == 2);
    CHECK(source.warnings()[0].starts_with("1 photographs carry no time that can be used"));
    CHECK(source.warnings()[1] == "3 photographs were left out");
  }

  TEST_CASE("a JPEG file that breaks off is left out") {
    const TemporaryFolder folder;
    cv::Mat detailed(480, 640, CV_8UC3);
    cv::randu(detailed, 0, 255);
    for (int k = 0; k < 3; ++k) {
      write_photo(folder / fmt::format("p{}.jpg", k), detailed, taken_at(5 * k, "0"));
    }
    std::filesystem::resize_file(folder / "p1.jpg",
                                 std::filesystem::file_size(folder / "p1.jpg") / 2);
    PhotoFolder source(folder.path());
    Frame frame;
    REQUIRE(source.next(frame));
    REQUIRE(source.next(frame));
    CHECK(frame.gap == "p1.jpg breaks off and was left out");
    CHECK(frame.t_s == within_abs(10.0, 1e-6));
  }

  TEST_CASE("an empty folder, one of HEIC files and one without a readable picture are refused") {
    const TemporaryFolder folder;
    const auto error = [&] {
      try {
        const PhotoFolder source(folder.path(), {.frame_every_s = 5.0, .whole_s = {}});
      } catch (const InputError& e) {
        return std::string(e.what());
      }
      return std::string("no error");
    };
    CHECK(error() == folder.path().string() + " holds no photographs (.jpg, .jpeg or .png)");
    write_text(folder / "a.HEIC", "x");
    CHECK(error() == folder.path().string() +
                         " holds no photographs (.jpg, .jpeg or .png); convert the HEIC files with "
                         "heif-convert");
    write_text(folder / "a.jpg", "x");
    CHECK(error() == "none of the 1 photographs in " + folder.path().string() + " can be read");
  }
}
