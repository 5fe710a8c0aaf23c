// evidence_frames and picture_file: the pictures that a run keeps.
#include "tracker/run/evidence_frames.h"

#include <filesystem>
#include <set>
#include <string>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/frames/picture_file.h"

using namespace nightswing;
using tracker::EvidenceFrames;

namespace {

cv::Mat even(int counts) {
  return {12, 16, CV_8UC3, cv::Scalar(counts, counts + 20, counts + 40)};
}

tracker::RunFolder run_in(const test::TemporaryFolder& folder) {
  return tracker::create_run_folder(folder / "night");
}

std::set<std::string> names_in(const std::filesystem::path& folder) {
  std::set<std::string> names;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    names.insert(entry.path().filename().string());
  }
  return names;
}

}  // namespace

TEST_SUITE("picture_file") {
  TEST_CASE("a picture comes back from a PNG as it was, and a gray one in three equal colours") {
    const test::TemporaryFolder folder;
    tracker::write_picture(folder / "a.png", even(7));
    CHECK(cv::norm(tracker::read_picture(folder / "a.png"), even(7), cv::NORM_INF) == 0.0);
    tracker::write_picture(folder / "gray.png", cv::Mat(5, 6, CV_8UC1, cv::Scalar(90)));
    const cv::Mat gray = tracker::read_picture(folder / "gray.png");
    REQUIRE(gray.type() == CV_8UC3);
    CHECK(gray.at<cv::Vec3b>(4, 5) == cv::Vec3b(90, 90, 90));
  }

  TEST_CASE("a picture that cannot be written is an error, one that cannot be read is empty") {
    const test::TemporaryFolder folder;
    const auto path = folder / "none" / "a.png";
    std::string text = "no error";
    try {
      tracker::write_picture(path, even(7));
    } catch (const InputError& error) {
      text = error.what();
    }
    CHECK(text == "cannot write the picture " + path.string() + "; is the disk full?");
    CHECK(tracker::read_picture(path).empty());
    test::write_text(folder / "text.png", "no picture");
    CHECK(tracker::read_picture(folder / "text.png").empty());
  }
}

TEST_SUITE("evidence_frames") {
  TEST_CASE("first.png is the mean of the first eight frames") {
    const test::TemporaryFolder folder;
    const tracker::RunFolder run = run_in(folder);
    EvidenceFrames evidence(run);
    CHECK(evidence.first_mean().empty());
    for (int k = 0; k < 12; ++k) {
      evidence.see(even(k < 8 ? 10 * k : 200), 5.0 * k);
      CHECK(evidence.has_first_mean() == (k >= 7));
      CHECK(std::filesystem::exists(run.first_frame()) == (k >= 7));
    }
    evidence.finish();
    const cv::Mat mean = tracker::read_picture(run.first_frame());
    CHECK(cv::norm(mean, even(35), cv::NORM_INF) == 0.0);  // (0 + 10 + ... + 70) / 8
    CHECK(cv::norm(mean, evidence.first_mean(), cv::NORM_INF) == 0.0);
  }

  TEST_CASE("a night of fewer frames has the mean of those that came, one of none has no picture") {
    const test::TemporaryFolder folder;
    const tracker::RunFolder run = run_in(folder);
    EvidenceFrames(run).finish();
    CHECK_FALSE(std::filesystem::exists(run.first_frame()));
    EvidenceFrames evidence(run);
    evidence.see(even(10), 0.0);
    evidence.see(even(20), 5.0);
    evidence.finish();
    CHECK_FALSE(evidence.has_first_mean());
    CHECK(cv::norm(tracker::read_picture(run.first_frame()), even(15), cv::NORM_INF) == 0.0);
  }

  TEST_CASE("one frame is kept every half hour, the first that is not before it") {
    const test::TemporaryFolder folder;
    const tracker::RunFolder run = run_in(folder);
    EvidenceFrames evidence(run);
    for (double t_s = 0.0; t_s <= 2.0 * 3600.0; t_s += 700.0) evidence.see(even(90), t_s);
    CHECK(names_in(run.frames()) ==
          std::set<std::string>{"at_002100s.jpg", "at_004200s.jpg", "at_005600s.jpg", "first.png"});
  }

  TEST_CASE("a gap costs the pictures of the gap alone") {
    const test::TemporaryFolder folder;
    const tracker::RunFolder run = run_in(folder);
    EvidenceFrames evidence(run);
    for (const double t_s : {0.0, 9000.0, 9005.0, 10795.0, 10800.0}) evidence.see(even(90), t_s);
    CHECK(names_in(run.frames()) == std::set<std::string>{"at_009000s.jpg", "at_010800s.jpg"});
  }

  TEST_CASE("a week of frames does not keep more than 24 of them") {
    const test::TemporaryFolder folder;
    const tracker::RunFolder run = run_in(folder);
    EvidenceFrames evidence(run);
    for (int k = 0; k < 7 * 48; ++k) evidence.see(even(90), 1800.0 * k);
    CHECK(names_in(run.frames()).size() == 24 + 1);
  }

  TEST_CASE("a run that is gone on with keeps its first picture and its half hours") {
    const test::TemporaryFolder folder;
    const auto run = run_in(folder);
    EvidenceFrames frames(run);
    frames.go_on(even(50), 4000.0);  // the half hours at 1800 s and 3600 s have been
    REQUIRE(frames.has_first_mean());
    CHECK(cv::norm(frames.first_mean(), even(50), cv::NORM_INF) == 0.0);
    frames.see(even(90), 4000.0);
    CHECK(names_in(run.frames()).empty());  // neither written anew nor at an odd moment
    frames.see(even(90), 5400.0);
    CHECK(names_in(run.frames()) == std::set<std::string>{"at_005400s.jpg"});
    frames.stop();
    frames.see(even(90), 7200.0);
    frames.finish();
    CHECK(names_in(run.frames()).size() == 1);
  }
}
