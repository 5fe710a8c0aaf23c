#include "analysis/night/night.h"

#include <cmath>
#include <functional>

#include <doctest/doctest.h>

#include "analysis/positions/optical_lever.h"
#include "analysis/quantities/input_error.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/error_text.h"
#include "tests/support/near.h"
#include "tests/support/synthetic_swing.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

/// The spot of a synthetic swing on the wall: a path at 0.4 degrees to the ruler, readings with the
/// lever's arctangent undone.
Night night_on_wall(const SyntheticNight& swing, const OpticalLever& lever) {
  Night night;
  constexpr double kTilt_rad = 0.007;
  for (const SwingSample& sample : make_night(swing)) {
    const double along_mm = x_mm_from_straightened(lever, sample.x_mm);
    night.samples.push_back({.t_s = sample.t_s,
                             .x_mm = along_mm * std::cos(kTilt_rad),
                             .y_mm = 35.0 + along_mm * std::sin(kTilt_rad),
                             .u_x_mm = sample.u_mm,
                             .u_y_mm = sample.u_mm});
  }
  return night;
}

/// The closed loop of the reference balance, computed by two independent routes: with G
/// = 6.67430e-11 the spot shifts by 86.7565300 mm at D = 4 m, and swings in 545.118407 s beside the
/// sources.
SyntheticNight closed_loop() {
  // The straightened shift: 2 x 2 theta D with theta = 5.42207058 mrad.
  const double straight_mm = 4.0 * 5.42207058e-3 * 4000.0;
  return {
      .segments = {{0.0, 0.5 * straight_mm, 40.0, 0.3}, {7000.0, -0.5 * straight_mm, 42.0, 2.0}},
      .end_s = 14000.0,
      .period_s = 545.118407 / std::sqrt(1.0 - std::pow(545.118407 / 2 / 3.14159265 / 5400, 2)),
      .damping_per_s = 1.0 / 5400.0,
      .noise_mm = 0.02};
}

}  // namespace

TEST_SUITE("night") {
  TEST_CASE("the closed loop gives back the G that it was made with, sides marked or found") {
    const Apparatus apparatus = reference_balance();
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    Night night = night_on_wall(closed_loop(), lever);
    for (const bool marked : {true, false}) {
      CAPTURE(marked);
      if (marked) night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 7000.0}};
      if (!marked) night.sides.clear();
      const NightResult result = analyse_night(night, apparatus);
      REQUIRE(result.status == NightStatus::kMeasured);
      // Noise of 0.02 mm in 2 800 readings: u(shift) about 2e-3 mm of 86.8 mm, u(T) 1e-3 s: 3e-5 of
      // G.
      CHECK(result.gravity->g_m3_kg_s2 == within_rel(kReferenceG, 2e-4));
      CHECK(result.shift_mm.value == within_abs(86.7565300, 0.02));
      CHECK(result.deflection_rad.value == within_rel(5.42207058e-3, 2e-4));
      CHECK(result.path.tilt_rad == within_abs(0.007, 1e-5));
      CHECK(result.sides.size() == 2);
      CHECK(result.segments.at(0).segment.side == Side::kPlus);
    }
  }

  TEST_CASE("a night whose G is another one gives that one") {
    const Apparatus apparatus = reference_balance();
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    // With the period kept and the deflection taken as given, G follows from its own formula
    // G = I w0^2 theta/(g - theta g'): a tenth less deflection, about a tenth less G.
    SyntheticNight swing = closed_loop();
    for (SyntheticSegment& segment : swing.segments) segment.equilibrium_mm *= 0.9;
    const NightResult result = analyse_night(night_on_wall(swing, lever), apparatus);
    REQUIRE(result.status == NightStatus::kMeasured);
    // The gradient's part changes with theta by delta/b: 0.1 x 0.9 %, twice.
    CHECK(result.gravity->g_m3_kg_s2 == within_rel(0.9 * kReferenceG, 4e-3));
  }

  TEST_CASE("a night without a shift gives no G") {
    const Apparatus apparatus = reference_balance();
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    SyntheticNight swing = closed_loop();
    for (SyntheticSegment& segment : swing.segments) segment.equilibrium_mm = 10.0;
    Night night = night_on_wall(swing, lever);
    SUBCASE("sides marked") {
      night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 7000.0}};
      const NightResult result = analyse_night(night, apparatus);
      CHECK(result.status == NightStatus::kNoShift);
      CHECK(result.message.find("less than 4 standard uncertainties") != std::string::npos);
      CHECK_FALSE(result.gravity);
    }
    SUBCASE("sides to be found") {
      const NightResult result = analyse_night(night, apparatus);
      CHECK(result.status == NightStatus::kNoShift);
      CHECK(result.message.starts_with("the track shows no move of the source masses"));
      CHECK_FALSE(result.gravity);
    }
  }

  TEST_CASE("marks that hide the shift are blamed where it is said that there is none") {
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    Night night = night_on_wall(closed_loop(), lever);  // whose only move is at 7000 s
    night.sides = {{Side::kPlus, 0.0}, {Side::kPlus, 7000.0}, {Side::kMinus, 9000.0}};
    const NightResult result = analyse_night(night, reference_balance());
    CHECK(result.status == NightStatus::kNoShift);
    CHECK(result.marks_doubted);
    CHECK(
        result.message.ends_with("with the sides as marked; the warnings say what the track "
                                 "shows"));
    CHECK_FALSE(result.warnings.empty());
  }

  TEST_CASE("a spot that does not swing has no period and gives no G") {
    SyntheticNight swing = closed_loop();
    for (SyntheticSegment& segment : swing.segments) segment.amplitude_mm = 0.0;
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    Night night = night_on_wall(swing, lever);
    night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 7000.0}};
    const NightResult result = analyse_night(night, reference_balance());
    CHECK(result.status == NightStatus::kNoSwing);
    CHECK_FALSE(result.gravity);
    // Without marks neither: a step of the rest position is no swing.
    night.sides.clear();
    CHECK_FALSE(analyse_night(night, reference_balance()).gravity);
  }

  TEST_CASE("a short night is measured if its moves are marked, else it says how to name them") {
    int without_swing = 0;
    for (double phase_rad = 0.0; phase_rad < 6.0; phase_rad += 1.0) {
      CAPTURE(phase_rad);
      // Two periods a side, the shift larger than the swing.
      const SyntheticNight swing{
          .segments = {{0.0, 317.7, 44.0, phase_rad}, {1200.0, 217.7, 60.0, 2.0 * phase_rad}},
          .end_s = 2400.0};
      Night night = night_on_wall(swing, {.mirror_to_wall_m = 4.0, .foot_mm = 0.0});
      const NightResult unmarked = analyse_night(night, reference_balance());
      if (unmarked.status == NightStatus::kNoSwing) ++without_swing;
      if (!unmarked.gravity) CHECK(unmarked.message.find("--side minus@2h5m") != std::string::npos);
      night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 1200.0}};
      CHECK(analyse_night(night, reference_balance()).status == NightStatus::kMeasured);
    }
    CHECK(without_swing > 0);
  }

  TEST_CASE("equilibria so far apart that the masses would touch contradict the apparatus") {
    SyntheticNight swing = closed_loop();
    swing.segments[0].equilibrium_mm = 1500.0;
    swing.segments[1].equilibrium_mm = -1500.0;
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    Night night = night_on_wall(swing, lever);
    night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 7000.0}};
    const NightResult result = analyse_night(night, reference_balance());
    CHECK(result.status == NightStatus::kMassesTouch);
    CHECK_FALSE(result.gravity);
  }

  TEST_CASE("one side only, no near side, and an empty track are errors that say what to do") {
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    Night night = night_on_wall(closed_loop(), lever);
    const auto analyse = [&] { static_cast<void>(analyse_night(night, reference_balance())); };
    night.sides = {{Side::kPlus, 0.0}};
    CHECK(
        error_text(analyse) ==
        "the night has one side only (plus from 60 s to 13995 s); the rest position changes at "
        "6998 s (within about 55 s), where no move of the sources is marked; mark it if they were "
        "moved; G needs plus and minus: name "
        "each "
        "move with 'nightswing mark RUN minus --at 2h5m' or --side minus@2h5m, or give no sides at "
        "all to have them found from the track");
    night.sides = {{Side::kAway, 0.0}};
    CHECK(
        error_text(analyse).starts_with("the night has no segment with the sources near the boom"));
    night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 7000.0}};
    const auto settled = [&] {
      static_cast<void>(analyse_night(night, reference_balance(), {.settle_s = 10800.0}));
    };
    CHECK(error_text(settled).find(
              "side plus from 0 s to 7000 s lasted no longer than the settling time of 10800 s "
              "that is left out after each move, and was left out; a shorter --settle keeps it") !=
          std::string::npos);
    night.sides.clear();
    night.samples.resize(29);
    CHECK(error_text(analyse).starts_with("the track holds 29 measured positions; at least 30"));
  }

  TEST_CASE("a mark before the first frame or after the last one says only what it can") {
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    Night night = night_on_wall(closed_loop(), lever);
    night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 7000.0}};
    const NightResult plain = analyse_night(night, reference_balance());
    CHECK(plain.warnings.empty());

    // The sources had stood there for a day; nobody watched the swing in that time.
    night.sides = {{Side::kMinus, -90000.0},
                   {Side::kPlus, -86400.0},
                   {Side::kMinus, 7000.0},
                   {Side::kPlus, 20000.0}};
    const NightResult result = analyse_night(night, reference_balance());
    REQUIRE(result.status == NightStatus::kMeasured);
    REQUIRE(result.segments.size() == 2);
    CHECK(result.segments[0].segment.from_s == 0.0);
    CHECK(result.segments[0].periods == within_abs(7000.0 / 545.0, 0.1));
    // The 60 s of settling, here before the film, are all that differs: far below u(shift) of 2e-3.
    CHECK(result.shift_mm.value == within_abs(plain.shift_mm.value, 2e-3));
    REQUIRE(result.warnings.size() == 2);
    CHECK(result.warnings[0] ==
          "side plus at 20000 s was marked after the last position of the track (13995 s)");
    CHECK(result.warnings[1] ==
          "side minus from -89940 s to -86400 s holds 0 measured positions and was left out; check "
          "when it was marked");
  }

  TEST_CASE("a side that was watched for a small part of a period is left out by name") {
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 0.0};
    Night night = night_on_wall(closed_loop(), lever);
    // The track ends at 13995 s; after the 60 s of settling 50 of a period of 545 s are left.
    night.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 7000.0}, {Side::kPlus, 13885.0}};
    const NightResult result = analyse_night(night, reference_balance());
    REQUIRE(result.status == NightStatus::kMeasured);
    CHECK(result.segments.size() == 2);
    REQUIRE(result.warnings.size() == 1);
    CHECK(result.warnings[0] ==
          "side plus from 13945 s to 13995 s was watched for less than a tenth of a period and was "
          "left out");
  }

  TEST_CASE("segments lie between the moves, cut at their start, the sources away or not") {
    const auto segments = segments_between(
        {{Side::kPlus, 0.0}, {Side::kAway, 1000.0}, {Side::kMinus, 2000.0}, {Side::kPlus, 2030.0}},
        3000.0,
        60.0);
    REQUIRE(segments.size() == 3);  // the 30 s of minus are shorter than what is cut
    CHECK(segments[0].from_s == 60.0);
    CHECK(segments[0].to_s == 1000.0);
    CHECK(segments[1].side == Side::kAway);
    CHECK(segments[2].side == Side::kPlus);
    CHECK(segments[2].from_s == 2090.0);
    CHECK(segments[2].to_s == 3000.0);
  }
}
