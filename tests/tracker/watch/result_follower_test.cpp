#include "tracker/watch/result_follower.h"

#include <chrono>
#include <cmath>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/median.h"
#include "calibration/map/wall_map.h"
#include "tests/support/await.h"
#include "tests/support/driven_swing.h"
#include "tests/support/made_up_run_info.h"
#include "tests/support/near.h"
#include "tests/support/pulled_swing.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/camera_file.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"
#include "tracker/run/wall_file.h"

using namespace nightswing;
using namespace nightswing::tracker;
using namespace nightswing::test;
using analysis::Side;

namespace {

constexpr double kMove_s = 3600.0;
constexpr double kMmPerPx = 0.5;

/// A night on its way: its track grows, marks are set, the wall is hung. 110 mm and 90 mm.
class GrowingRun {
 public:
  explicit GrowingRun(
      std::vector<analysis::SwingSample> samples = make_driven({.torque_mm = 0.1}).samples)
      : samples_(std::move(samples)), run(create_run_folder(folder_ / "night")) {
    write_run_info(run, made_up_run_info(640, 480));
  }

  void hang_ruler() const {
    const std::vector<calibration::LineReference> ticks{{{0.0, 240.0}, 0.0},
                                                        {{600.0, 240.0}, 600.0 * kMmPerPx}};
    write_wall_map(run.wall(), calibration::fit_line_map(ticks, {640, 480}).map);
  }

  /// The track until then; from `knock_s` on the camera sees all 12 px further to the right.
  void grow_until(double end_s, double knock_s = 1e9) {
    TrackWriter track(run.track());
    for (; next_ < samples_.size() && samples_[next_].t_s < end_s; ++next_) {
      const auto& s = samples_[next_];
      const double x_px = s.x_mm / kMmPerPx + (s.t_s >= knock_s ? 12.0 : 0.0);
      const double u_px = s.u_mm / kMmPerPx;
      track.append({.utc = {},
                    .t_s = s.t_s,
                    .spot = {SpotState::kFound, SpotPosition{x_px, 240.0, u_px, u_px, 90.0, 4.0}}});
    }
  }

  void mark(double t_s, const std::string& side, const std::string& event = "side") const {
    EventWriter(run.events()).append({{}, t_s, event, side});
  }

 private:
  TemporaryFolder folder_;
  std::vector<analysis::SwingSample> samples_;
  std::size_t next_ = 0;

 public:
  RunFolder run;
};

/// Whose sides swing at frequencies 1 % apart, as the file below says.
PulledNight uneven_night() {
  PulledNight night;
  night.plus = {{{0.1, 0.058, 0.0}, {-0.1, -0.060, 0.0}}};
  night.minus = {{{0.1, -0.075, 0.0}, {-0.1, 0.082, 0.0}}};
  night.wire_rest_rad = wire_rest_for_midway(night);
  night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, kMove_s}, {Side::kPlus, 2 * kMove_s}};
  night.end_s = 3 * kMove_s;
  return night;
}
constexpr const char* kUnevenBalance =
    "title: uneven\n"
    "source_masses: {shape: sphere, mass: 4 kg, diameter: 87.7 mm}\n"
    "test_masses: {shape: sphere, mass: 50 g, diameter: 20.3448 mm}\n"
    "boom: {arm: 100 mm, rod: {mass: 8 g, length: 200 mm, width: 4 mm}, mirror_inertia: 2e-7 kg "
    "m2}\n"
    "sides: {plus: {first: [100 mm, 58 mm, 0 mm], second: [-100 mm, -60 mm, 0 mm]},\n"
    "        minus: {first: [100 mm, -75 mm, 0 mm], second: [-100 mm, 82 mm, 0 mm]}}\n"
    "optical_lever: {mirror_to_wall: 4 m, foot: 200 mm}\n";

}  // namespace

TEST_SUITE("result_follower") {
  TEST_CASE("a run is followed as it grows, with what others write into it") {
    GrowingRun night;
    RunReader reader(night.run, 0.01);
    CHECK(reader.look().sentence.empty());  // no track yet
    night.grow_until(30.0);
    night.mark(0.0, "plus");
    CHECK(reader.look().sentence == "too few positions for an estimate yet");
    night.grow_until(kMove_s);
    const ResultSoFar one_side = reader.look();
    REQUIRE(one_side.side);
    CHECK(one_side.side == Side::kPlus);
    REQUIRE(one_side.period_s);
    CHECK(one_side.period_s->value == within_abs(600.0, 4.0 * one_side.period_s->u));
    CHECK_FALSE(one_side.equilibrium_mm);  // there is no wall
    CHECK_FALSE(one_side.shift_relative_u);

    night.hang_ruler();
    CHECK(reader.look().equilibrium_mm->value == within_abs(110.0, 0.5));

    night.mark(kMove_s, "minus");
    night.grow_until(7200.0);
    const ResultSoFar both = reader.look();
    CHECK(both.side == Side::kMinus);
    REQUIRE(both.shift_mm);
    CHECK(both.shift_mm->value == within_abs(20.0, 4.0 * both.shift_mm->u));
    CHECK(both.shift_mm->u < 0.2);  // 1 % of the shift
    CHECK(both.hours_to_target == 0.0);
    CHECK(both.sentence.find("1 % wanted are reached") != std::string::npos);

    // A watch that goes on with the run builds it from the folder.
    const ResultSoFar resumed = RunReader(night.run, 0.01).look();
    REQUIRE(resumed.shift_mm);
    CHECK(resumed.shift_mm->value == within_abs(both.shift_mm->value, 0.5 * both.shift_mm->u));

    night.mark(kMove_s, "minus", "side withdrawn");
    const ResultSoFar withdrawn = reader.look();
    CHECK(withdrawn.side == Side::kPlus);
    CHECK_FALSE(withdrawn.shift_mm);
  }

  TEST_CASE("the time more that is told for a target is the time it takes, in most nights") {
    std::vector<double> reached;  // over the target
    for (std::uint32_t seed = 1; seed <= 7; ++seed) {
      GrowingRun night(make_driven({.end_s = 14400.0, .torque_mm = 0.5, .seed = seed}).samples);
      night.hang_ruler();
      night.mark(0.0, "plus");
      night.mark(kMove_s, "minus");
      night.grow_until(kMove_s + 2400.0);
      const double target = 0.8 * *RunReader(night.run, 0.01).look().shift_relative_u;
      RunReader reader(night.run, target);
      const ResultSoFar told = reader.look();
      REQUIRE(told.hours_to_target);
      REQUIRE(*told.hours_to_target > 0.1);
      night.grow_until(told.at_s + 3600.0 * *told.hours_to_target);
      reached.push_back(*reader.look().shift_relative_u / target);
    }
    // How strongly the night stirs the swing is known from ten periods only, to some 15 % in u; the
    // median of seven nights then to 0.15 * 1.25 / sqrt(7) = 7 %. Three times that.
    CHECK(analysis::median_of(reached) == within_rel(1.0, 0.21));
  }

  TEST_CASE("a balance that an analysis has left there says how its sides swing") {
    const PulledNight swing = uneven_night();
    std::vector<analysis::SwingSample> samples;
    for (const auto& s : watch_pulled(swing)) samples.push_back({s.t_s, s.x_mm, s.u_x_mm});
    GrowingRun night(std::move(samples));
    night.hang_ruler();
    for (const auto& [side, t_s] : swing.sides) night.mark(t_s, std::string(name_of(side)));
    night.grow_until(swing.end_s);
    RunReader reader(night.run, 1e-4);
    const ResultSoFar alike = reader.look();
    REQUIRE(alike.shift_mm);
    write_whole_file(night.run.apparatus(), kUnevenBalance);
    const ResultSoFar known = reader.look();
    REQUIRE(known.shift_mm);
    // Sides that swing unlike, held alike, look stirred.
    CHECK(known.shift_mm->u < 0.1 * alike.shift_mm->u);
    // In pixels it says nothing: lengths are wanted.
    std::filesystem::remove(night.run.wall());
    const ResultSoFar in_px = reader.look();
    REQUIRE(in_px.shift_relative_u);
    CHECK(*in_px.shift_relative_u == within_rel(*alike.shift_relative_u, 0.02));
  }

  TEST_CASE("without a wall it works in pixels") {
    GrowingRun night;
    night.mark(0.0, "plus");
    night.mark(kMove_s, "minus");
    night.grow_until(7200.0);
    const ResultSoFar in_px = RunReader(night.run, 0.01).look();
    CHECK_FALSE(in_px.shift_mm);
    REQUIRE(in_px.shift_relative_u);
    night.hang_ruler();
    const ResultSoFar in_mm = RunReader(night.run, 0.01).look();
    REQUIRE(in_mm.shift_relative_u);
    // The map is a line: the ratio does not depend on the unit.
    CHECK(*in_px.shift_relative_u == within_rel(*in_mm.shift_relative_u, 0.02));
    CHECK(in_px.sentence.find("in pixels") != std::string::npos);
  }

  TEST_CASE("a knock of the camera is taken back, also from positions that were in already") {
    constexpr double kKnock_s = 5400.0;
    GrowingRun night;
    night.hang_ruler();
    night.mark(0.0, "plus");
    night.mark(kMove_s, "minus");
    RunReader reader(night.run, 0.01);
    {
      CameraWriter camera(night.run.camera());
      for (double t_s = 10.0; t_s < kKnock_s; t_s += 10.0) {
        camera.append(
            {.t_s = t_s, .u_shift_px = 0.02, .patches = 30, .state = CameraState::kRegistered});
      }
    }
    night.grow_until(kKnock_s);
    CHECK(reader.look().shift_mm->value == within_abs(20.0, 0.5));
    night.grow_until(5500.0, kKnock_s);
    static_cast<void>(reader.look());  // the camera has not been looked at yet
    {
      CameraWriter camera(night.run.camera());
      for (double t_s = kKnock_s; t_s < 7200.0; t_s += 10.0) {
        camera.append({.t_s = t_s,
                       .motion = {.shift_x_px = 12.0},
                       .u_shift_px = 0.02,
                       .patches = 30,
                       .state = t_s == kKnock_s ? CameraState::kMoved : CameraState::kRegistered});
      }
    }
    night.grow_until(7200.0, kKnock_s);
    const ResultSoFar knocked = reader.look();
    REQUIRE(knocked.shift_mm);
    CHECK(knocked.shift_mm->value == within_abs(20.0, 4.0 * knocked.shift_mm->u));
    CHECK(knocked.shift_mm->u < 0.4);  // 12 px are 6 mm: not taken back they would be a kick
    CHECK(knocked.equilibrium_mm->value == within_abs(90.0, 0.5));
  }

  TEST_CASE("a wall that cannot be read is told until it can, and nothing is mixed with it") {
    GrowingRun night;
    night.mark(0.0, "plus");
    night.hang_ruler();
    night.grow_until(kMove_s);
    RunReader reader(night.run, 0.01);
    const ResultSoFar before = reader.look();
    REQUIRE(before.equilibrium_mm);
    const std::string ruler = read_whole_file(night.run.wall());
    write_whole_file(night.run.wall(), "no map\n");
    for (int k = 0; k < 3; ++k) {
      night.grow_until(kMove_s + 10.0 * (k + 1));
      CHECK_THROWS_AS(static_cast<void>(reader.look()), InputError);
    }
    write_whole_file(night.run.wall(), ruler);
    const ResultSoFar after = reader.look();
    REQUIRE(after.equilibrium_mm);
    CHECK(after.equilibrium_mm->value ==
          within_abs(before.equilibrium_mm->value, before.equilibrium_mm->u));
  }

  TEST_CASE("a wall hung while another file cannot be read is taken up once it can") {
    GrowingRun night;
    night.mark(0.0, "plus");
    night.grow_until(kMove_s - 600.0);
    RunReader reader(night.run, 0.01);
    REQUIRE(reader.look().period_s);
    night.hang_ruler();
    write_whole_file(night.run.camera(), "no looks\n");
    night.grow_until(kMove_s);
    CHECK_THROWS_AS(static_cast<void>(reader.look()), InputError);
    std::filesystem::remove(night.run.camera());
    const ResultSoFar after = reader.look();
    REQUIRE(after.equilibrium_mm);
    CHECK(after.equilibrium_mm->value == within_abs(110.0, 0.5));
  }

  TEST_CASE("a file that is none is told, and costs nothing but the estimate") {
    GrowingRun night;
    night.grow_until(600.0);
    write_whole_file(night.run.wall(), "no map\n");
    const ResultFollower follower(night.run, 0.01, std::chrono::milliseconds(1));
    std::string sentence;
    REQUIRE(await([&] {
      sentence = follower.latest().sentence;
      return !sentence.empty();
    }));
    CHECK(sentence.starts_with("no estimate: "));
    CHECK(sentence.find("wall.yaml") != std::string::npos);
  }
}
