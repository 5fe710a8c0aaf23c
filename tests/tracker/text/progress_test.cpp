#include "tracker/text/progress.h"

#include <fcntl.h>
#include <stdlib.h>
#include <unistd.h>

#include <array>
#include <cstdio>
#include <functional>
#include <string>

#include <doctest/doctest.h>

#include "tests/support/temporary_folder.h"
#include "tracker/run/line_file.h"

using nightswing::test::TemporaryFolder;
using nightswing::tracker::Progress;

namespace {

/// Lets stderr go to `descriptor` while `act` runs.
void with_stderr_at(int descriptor, const std::function<void()>& act) {
  std::fflush(stderr);
  const int kept = dup(STDERR_FILENO);
  dup2(descriptor, STDERR_FILENO);
  act();
  std::fflush(stderr);
  dup2(kept, STDERR_FILENO);
  close(kept);
}

/// What `act` writes to stderr while that is a file.
std::string written_by(const std::function<void()>& act) {
  const TemporaryFolder folder;
  const auto path = folder / "stderr";
  const int file = open(path.c_str(), O_CREAT | O_WRONLY, 0600);
  REQUIRE(file >= 0);
  with_stderr_at(file, act);
  close(file);
  return nightswing::tracker::read_whole_file(path);
}

/// What `act` writes to stderr while that is a terminal.
std::string shown_by(const std::function<void()>& act) {
  const int master = posix_openpt(O_RDWR | O_NOCTTY);
  REQUIRE(master >= 0);
  REQUIRE(grantpt(master) == 0);
  REQUIRE(unlockpt(master) == 0);
  const int terminal = open(ptsname(master), O_RDWR | O_NOCTTY);
  REQUIRE(terminal >= 0);
  with_stderr_at(terminal, act);
  // The system hands it on in pieces and in its own time: an end mark tells when all is there.
  REQUIRE(write(terminal, "", 1) == 1);
  std::string text;
  while (!text.ends_with('\0')) {
    std::array<char, 4096> piece{};
    const ssize_t count = read(master, piece.data(), piece.size());
    REQUIRE(count > 0);
    text.append(piece.data(), static_cast<std::size_t>(count));
  }
  text.pop_back();
  close(terminal);
  close(master);
  return text;
}

void count_to(long last, std::optional<long> total, bool quiet) {
  Progress progress("frame", total, quiet);
  for (long done = 1; done <= last; ++done) progress.step(done);
}

}  // namespace

TEST_SUITE("progress") {
  TEST_CASE("where there is no terminal each tenth makes a line") {
    CHECK(written_by([] { count_to(25, 50, false); }) ==
          "frame 5 of 50 (10 %)\n"
          "frame 10 of 50 (20 %)\n"
          "frame 15 of 50 (30 %)\n"
          "frame 20 of 50 (40 %)\n"
          "frame 25 of 50 (50 %)\n");
  }

  TEST_CASE("more steps than were foreseen do not count beyond all of it") {
    CHECK(written_by([] {
            count_to(30, 10, false);
          }).ends_with("frame 9 of 10 (90 %)\nframe 10 of 10 (100 %)\n"));
  }

  TEST_CASE("without a total there is nothing to say in lines") {
    CHECK(written_by([] { count_to(100, {}, false); }).empty());
  }

  TEST_CASE("a job that declares no steps at all can be counted") {
    CHECK(written_by([] { count_to(3, 0, false); }).empty());
  }

  TEST_CASE("a terminal shows one line, which is gone in the end") {
    const std::string shown = shown_by([] { count_to(1, 50, false); });
    CHECK(shown.starts_with("\r\x1b[Kframe 1 of 50, "));
    CHECK(shown.ends_with(" left\r\x1b[K"));
    CHECK(shown_by([] { count_to(1, {}, false); }) == "\r\x1b[Kframe 1\r\x1b[K");
  }

  TEST_CASE("a terminal is not redrawn with every step") {
    // Redrawn five times a second at most; a million steps would take minutes otherwise.
    const std::string shown = shown_by([] { count_to(1000, {}, false); });
    CHECK(shown.size() < 500);
  }

  TEST_CASE("quiet means not a word") {
    CHECK(written_by([] { count_to(50, 50, true); }).empty());
    CHECK(shown_by([] { count_to(50, 50, true); }).empty());
  }
}
