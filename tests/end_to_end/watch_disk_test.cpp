// The watch on disks that are full, get full or cannot be written.
#include <sys/mount.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>
#include <string>

#include <doctest/doctest.h>

#include "tests/end_to_end/run_fixture.h"
#include "tests/end_to_end/watched_stream.h"
#include "tests/support/running_program.h"
#include "tracker/run/event_log.h"
#include "tracker/run/track_file.h"

using namespace nightswing::test;
using namespace nightswing::tracker;

namespace {

/// A small file system in memory; only for the superuser.
class SmallDisk {
 public:
  explicit SmallDisk(const std::filesystem::path& at, const std::string& size) : at_(at) {
    std::filesystem::create_directories(at_);
    mounted_ = ::mount("tmpfs", at_.c_str(), "tmpfs", 0, ("size=" + size).c_str()) == 0;
  }
  ~SmallDisk() {
    if (mounted_) ::umount2(at_.c_str(), MNT_DETACH);
  }
  SmallDisk(const SmallDisk&) = delete;
  SmallDisk& operator=(const SmallDisk&) = delete;
  [[nodiscard]] bool is_there() const { return mounted_; }
  void make_read_only() const {
    REQUIRE(::mount("tmpfs", at_.c_str(), "tmpfs", MS_REMOUNT | MS_RDONLY, "") == 0);
  }

 private:
  std::filesystem::path at_;
  bool mounted_ = false;
};

}  // namespace

TEST_SUITE("watch on a disk") {
  TEST_CASE("a disk that gets full stops the video, not the track") {
    if (::geteuid() != 0) {
      MESSAGE("skipped: only the superuser can make a small disk");
      return;
    }
    WatchedStream set;
    const SmallDisk disk(set.folder / "disk", "12m");
    if (!disk.is_there()) {
      MESSAGE("skipped: this system lets nobody make a small disk");
      return;
    }
    set.run = (set.folder / "disk/run").string();
    RunningProgram watch = watching(set.stream, set.run, " --video 1GB --for 1h");
    set.await_lines(watch, 8);
    // Another program fills the disk to the last byte.
    const std::string filled = (set.folder / "disk/filled").string();
    const auto fill = run_command("dd if=/dev/zero of=" + filled + " bs=64k; sync");
    REQUIRE(fill.errors.find("No space left") != std::string::npos);
    set.await_lines(watch, 40);  // more than the block that was begun
    REQUIRE(await([&] { return !set.events("video ended").empty(); }));
    REQUIRE(await([&] {
      for (const Event& event : set.events("warning")) {
        if (event.detail.find("the disk is nearly full") != std::string::npos) return true;
      }
      return false;
    }));
    set.await_lines(watch, 8);
    watch.send(SIGTERM);
    CHECK(watch.status() == 0);
    CHECK(set.events("video ended").size() == 1);
    const Track track = read_track(set.run + "/track.csv");
    CHECK(track.warnings.empty());
    for (std::size_t k = 1; k < track.rows.size(); ++k) {
      CHECK(track.rows[k].t_s - track.rows[k - 1].t_s < 1.0);  // none is missing
    }
  }

  TEST_CASE("a disk without room for the night is refused at the beginning") {
    if (::geteuid() != 0) {
      MESSAGE("skipped: only the superuser can make a small disk");
      return;
    }
    WatchedStream set;
    const SmallDisk disk(set.folder / "disk", "1m");
    if (!disk.is_there()) {
      MESSAGE("skipped: this system lets nobody make a small disk");
      return;
    }
    set.run = (set.folder / "disk/run").string();
    RunningProgram watch = watching(set.stream, set.run, " --for 9h");
    CHECK(watch.status() == 1);
    CHECK_MESSAGE(watch.errors().find("cannot set room aside for") != std::string::npos,
                  watch.errors());
  }

  TEST_CASE("a folder that cannot be written is refused") {
    if (::geteuid() != 0) {
      MESSAGE("skipped: only the superuser can make a disk that cannot be written");
      return;
    }
    WatchedStream set;
    const SmallDisk disk(set.folder / "disk", "16m");
    if (!disk.is_there()) {
      MESSAGE("skipped: this system lets nobody make a small disk");
      return;
    }
    disk.make_read_only();
    set.run = (set.folder / "disk/run").string();
    const auto refused = nightswing_command("watch --camera " + set.stream.address() + " --run " +
                                            set.run + " --for 5s");
    CHECK(refused.status == 1);
    CHECK(refused.errors.find("cannot make the run folder") != std::string::npos);
  }
}
