// result.json and result.txt from a night's result made up by hand, so that every line is known.
#include "tracker/result/result_file.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <Eigen/Core>
#include <nlohmann/json.hpp>

#include "calibration/map/wall_map.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tracker/report/shown_night.h"
#include "tracker/text/pace_text.h"
#include "tracker/version.h"

using namespace nightswing;
using analysis::Side;
using tracker::SpotState;

namespace {

analysis::SegmentResult segment(Side side, double from_s, double equilibrium_mm) {
  return {.segment = {side, from_s, from_s + 5400.0},
          .equilibrium_mm = {equilibrium_mm, 0.05},
          .without_drift_mm = equilibrium_mm,
          .drift_mm_per_hour = 0.5,
          .amplitude_from_mm = 21.04,
          .amplitude_to_mm = 3.26,
          .periods = 9.0,
          .used = 1080};
}

analysis::UncertaintyBudget budget() {
  const auto row = [](const char* name, double value, double u, const char* unit, double share) {
    return analysis::BudgetRow{.input = {.name = name, .value = value, .u = u, .unit = unit},
                               .sensitivity = 2e-12,
                               .contribution = 1.2e-12 * std::sqrt(std::max(0.0, share)),
                               .share = share};
  };
  return {.value = 6.8e-11,
          .u = 1.2e-12,
          .effective_degrees_of_freedom = std::numeric_limits<double>::infinity(),
          .rows = {row("separation", 60.0, 0.5, "mm", 0.25),
                   row("shift", 12.0, 0.1, "mm", 0.7502),
                   row("period", 600.0, 0.02, "s", -0.0002),
                   row("arm", 100.0, 0.0, "mm", 0.0)},
          .dominating = 1,
          .without_uncertainty = {"arm"}};
}

/// What the texts are made from; each test changes what it is about.
struct MadeUpNight {
  tracker::RunFolder run{"/data/night"};
  tracker::NightOfRun night;
  analysis::Apparatus apparatus = test::reference_balance();
  analysis::NightResult result;

  MadeUpNight() {
    night.info.source = "wall.mp4";
    night.info.start = tracker::parse_iso_time("2026-03-14T21:30:00Z");
    for (int k = 0; k < 7; ++k) night.frames_by_state.add(SpotState::kFound);
    for (int k = 0; k < 2; ++k) night.frames_by_state.add(SpotState::kClipped);
    night.frames_by_state.add(SpotState::kBlocked);
    for (int k = 0; k < 3; ++k) night.frames_by_state.add(SpotState::kDark);
    result.sides_from = "sides as marked";
  }

  void fitted() {
    result.status = analysis::NightStatus::kNoShift;
    result.message = "the sides do not differ";
    result.fit.status = analysis::FitStatus::kConverged;
    result.fit.period_s = {600.0, 0.02};
    result.fit.damping_per_s = {2.0e-4, 1.0e-6};
    result.fit.drift_mm_per_hour = {0.5, 0.1};
    result.fit.residual_rms_mm = 0.0512;
    result.fit.correlation_widening = 1.34;
    result.shift_mm = {12.0, 0.1};
    result.segments = {segment(Side::kPlus, 60.0, 6.0), segment(Side::kMinus, 5520.0, -6.0)};
  }

  void measured() {
    fitted();
    result.status = analysis::NightStatus::kMeasured;
    result.message = "G was measured";
    result.deflection_rad = {7.5e-4, 1e-5};
    result.gravity =
        analysis::GravityResult{.status = analysis::GravityStatus::kComputed,
                                .message = {},
                                .g_m3_kg_s2 = 6.8e-11,
                                .theta_rad = 7.5e-4,
                                .inertia_kg_m2 = 1e-3,
                                .kappa_n_m = 1.1e-7,
                                .torque_per_g = {},
                                .textbook_m3_kg_s2 = 6.45e-11,
                                .corrections = {{"other source mass", 4.25}, {"damping", -0.033}}};
    result.budget = budget();
  }

  [[nodiscard]] tracker::ResultSource source() const { return {run, night, apparatus, result}; }
  [[nodiscard]] std::string text() const { return tracker::result_text(source()); }
  /// With a map, which a night to be shown has.
  [[nodiscard]] tracker::ShownNight shown() {
    const std::vector<calibration::LineReference> ticks{{.pixel = {0.0, 360.0}, .x_mm = 0.0},
                                                        {.pixel = {1250.0, 360.0}, .x_mm = 500.0}};
    night.map = calibration::fit_line_map(ticks, {.width_px = 1280, .height_px = 720}).map;
    return tracker::shown_night(source(), {"nightswing analyse"});
  }
  [[nodiscard]] nlohmann::json json() const {
    return nlohmann::json::parse(tracker::result_json(source()));
  }
};

bool has(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

}  // namespace

TEST_SUITE("result_text") {
  TEST_CASE("four and six segments with all other ways still fit one page") {
    for (const std::size_t segments : {4U, 6U}) {
      MadeUpNight night;
      night.measured();
      night.result.segments.clear();
      for (std::size_t k = 0; k < segments; ++k) {
        night.result.segments.push_back(
            segment(k % 2 == 0 ? Side::kPlus : Side::kMinus, 5400.0 * static_cast<double>(k), 6.0));
      }
      auto& opinions = night.result.consistency.opinions;
      opinions.push_back({"shift by least squares", {6.8e-11, 1e-13}});
      for (std::size_t k = 1; k < segments; ++k) {
        opinions.push_back({fmt::format("segments {} and {} alone", k, k + 1), {6.8e-11, 1e-13}});
      }
      opinions.push_back({"first acceleration after each move", {6.8e-11, 2e-13}});
      opinions.push_back({"period with the sources away", {6.8e-11, 2e-13}});
      night.result.consistency.statement =
          "the ways agree: the farthest (first acceleration after each move) lies 1.2 standard "
          "uncertainties off; pairs of segments scatter with chi2 = 3.1 for 4 degrees of freedom";
      night.result.gravity->corrections.assign(7, {"a correction", 0.5});
      // As many rows as a balance with spheres, a rod and a printed scale has.
      auto& budget = *night.result.budget;
      for (int k = 0; k < 8; ++k) budget.rows.push_back(budget.rows[0]);
      night.result.monte_carlo = analysis::GravityMonteCarlo{};
      night.result.fit.kicks = {{1000.0, 0.1}, {2000.0, 0.1}};
      night.result.wide_swing_mm = 0.05;
      // A4 upright with letters of 9 points (common practice, no source).
      const std::string text = night.text();
      CHECK_MESSAGE(std::ranges::count(text, '\n') <= 66, text);
    }
  }

  TEST_CASE("a night without a fit says so and counts its frames, and nothing else") {
    MadeUpNight night;
    night.result.status = analysis::NightStatus::kNotFitted;
    night.result.message = "fewer than eight positions";
    CHECK(night.text() == tracker::program_and_version() +
                              " - reference balance\n"
                              "run /data/night, from wall.mp4\n" +
                              std::string(72, '-') +
                              "\n\n"
                              "no G: " +
                              std::string(analysis::name_of(night.result.status)) +
                              " - fewer than eight positions\n\n"
                              "frames: 9 measured (2 of them with a saturated core), 1 blocked, "
                              "0 lost, 3 dark\n");
  }

  TEST_CASE("a night without a shift gives period and segments, but no G") {
    MadeUpNight night;
    night.fitted();
    const std::string text = night.text();
    CHECK(has(text, "no G: no shift found - the sides do not differ\n"));
    // 1 / 2e-4 s = 5000 s, pi / (2e-4 * 600) = 26.2
    CHECK(has(text,
              "period      600.000(20) s\n"
              "damping     0.0002000(10) s-1, the swing falls to 1/e in 1 h 23 min (Q = 26)\n"
              "shift       12.00(10) mm\n"
              "drift       0.50(10) mm/h\n"));
    CHECK(has(text, "sides as marked\n"));
    CHECK(has(text,
              "    plus   6.000(50) mm, 9.0 periods, swing 21.0 to 3.3 mm,\n"
              "           from 1 min 00 s (2026-03-14T21:31:00.000Z) for 1 h 30 min\n"));
    CHECK(has(text, "           from 1 h 32 min (2026-03-14T23:02:00.000Z)"));
    CHECK(has(text, "scatters by 0.051 mm about the fit"));
    CHECK(has(text, "u(shift) is 1.3 times that of independent readings"));
    CHECK_FALSE(has(text, "accepted"));
    CHECK_FALSE(has(text, "deflection"));
    CHECK_FALSE(has(text, "budget"));
  }

  TEST_CASE("a measured G stands first and is compared with the accepted value") {
    MadeUpNight night;
    night.measured();
    // (6.8 - 6.6743) / hypot(0.12, 0.00015) = 1.0475; CODATA 2022: 6.67430(15)e-11.
    CHECK(has(night.text(),
              "G = 6.80(12)e-11 m3 kg-1 s-2   (1.76 %, standard uncertainty, k = 1)\n"
              "    The accepted value, 6.67430(15)e-11 (CODATA 2022), lies 1.05 standard "
              "uncertainties below;\n"
              "    it was not used to get this result.\n"
              "textbook formula alone: 6.45e-11 m3 kg-1 s-2; what corrects it multiplies\n"
              "     +4.250 %  other source mass\n"
              "     -0.033 %  damping\n"));
    CHECK(has(night.text(), "deflection  0.000750(10) rad from midway to one side\n"));
    night.result.gravity->g_m3_kg_s2 = 6.6e-11;  // (6.6 - 6.6743) / 0.12 = -0.62
    CHECK(has(night.text(), "lies 0.62 standard uncertainties above;"));
  }

  TEST_CASE("a print whose size is corrected twice is warned of") {
    MadeUpNight night;
    night.measured();
    night.night.map.print_relative_u = 0.001;  // its bar was measured
    CHECK_FALSE(has(night.text(), "--bar"));
    night.apparatus.scale_factor = {0.997, 0.0005};
    REQUIRE(tracker::warnings_of(night.source()).size() == 1);
    CHECK(has(tracker::warnings_of(night.source()).front(), "scale.factor multiplies it by 0.997"));
    CHECK(has(night.text(), "--bar"));
    night.night.map.print_relative_u = 0.0;
    CHECK_FALSE(has(night.text(), "--bar"));
  }

  TEST_CASE("a damping that may be none has no time of decay") {
    MadeUpNight night;
    night.fitted();
    night.result.fit.damping_per_s = {1.0e-5, 1.0e-5};
    CHECK_FALSE(has(night.text(), "1/e"));
  }

  TEST_CASE("the budget begins with what is worth measuring better") {
    MadeUpNight night;
    night.measured();
    const std::string text = night.text();
    const auto shift = text.find("    shift  ");
    const auto separation = text.find("    separation  ");
    REQUIRE(separation != std::string::npos);
    CHECK(shift < separation);
    // Too little to deserve a line, the larger first.
    CHECK(has(text, "    less than 0.05 % of u^2 each: arm; period\n"));
    // 1.2e-12 sqrt(0.25) / 6.8e-11 = 0.882 % of G.
    CHECK(has(text, "0.882 % of G   25.0 % of u^2\n"));
    CHECK_FALSE(has(text, "-0.0 %"));
    CHECK(has(text, "    no uncertainty was given for arm: counted as exact\n"));
  }

  TEST_CASE("report and result.txt say the same of charge, and it is that of this balance") {
    MadeUpNight night;
    night.measured();
    night.apparatus.source.mass_kg = {1.5, 0.0};
    night.apparatus.test.mass_kg = {0.02, 0.0};
    night.apparatus.separation_m = {0.09, 0.0};
    // sqrt(4 pi e0 G M m) with M = 1.5 kg, m = 20 g: 14.9 pC. 1.5 (h/b)^2 = 1 % with b = 90 mm:
    // h = 7.3 mm. Both by hand from Coulomb's and Newton's laws.
    CHECK(has(night.text(), "(15 pC on each would"));
    const auto rows = night.shown().not_in_budget;
    REQUIRE(rows.size() > 4);
    CHECK(rows[0].size == "15 pC on each would pull like gravity");
    CHECK(rows[4].size == "1 % for 7.3 mm at 90 mm");
  }

  TEST_CASE("the other ways say beside the full model that their u is of the night alone") {
    MadeUpNight night;
    night.measured();
    night.result.consistency.opinions = {{"shift by least squares", {6.8e-11, 1e-13}}};
    const auto opinions = night.shown().opinions;
    REQUIRE(opinions.size() == 3);
    CHECK(opinions[0].method == "full model");
    CHECK_FALSE(opinions[0].of_night_alone);
    CHECK(opinions[1].of_night_alone);
    CHECK(opinions[1].method == "shift by least squares");
  }

  TEST_CASE("disturbances, left out positions, assumptions and all warnings are told") {
    MadeUpNight night;
    night.fitted();
    night.result.disturbances_s = {90.0};
    night.result.fit.left_out_s = {10.0, 20.0, 30.0};
    night.night.warnings = {"from the track"};
    night.apparatus.warnings = {"from the apparatus"};
    night.result.warnings = {"from the analysis"};
    night.apparatus.assumptions = {"no rod"};
    const std::string text = night.text();
    CHECK(has(text,
              "the swing broke off at 1 min 30 s (2026-03-14T21:31:30.000Z) and went on about the "
              "same equilibrium\n"));
    CHECK(has(text, "    3 positions left out, "));
    CHECK(has(text,
              "\nwarnings\n    from the track\n    from the apparatus\n    from the analysis\n"));
    CHECK(text.find("\nwarnings\n") < text.find("\nperiod "));  // beside what they may spoil
    CHECK(text.ends_with("\nassumed\n    no rod\n"));
    night.night.info.time_from = tracker::time_from_steps(5.0);
    CHECK(has(night.text(),
              "    no rod\n    one frame every 5 s, as told, without error (0.1 % too long: G "
              "0.2 % too small)\n"));
  }

  TEST_CASE("that rows are correlated is said where their squares are not those of u") {
    const auto g_of = [](const Eigen::VectorXd& x) { return x(0) + x(1); };
    const std::vector<analysis::BudgetInput> inputs{{"a", 1.0, 0.3, "m"}, {"b", 1.0, 0.4, "m"}};
    CHECK(tracker::correlation_note(analysis::propagate(inputs, g_of)).empty());
    Eigen::Matrix2d correlation;
    correlation << 1.0, 1.0, 1.0, 1.0;
    // 0.5 and 0.7 of 2.
    CHECK(
        tracker::correlation_note(analysis::propagate(inputs, g_of, correlation)) ==
        "Some rows are correlated: added in squares they come to 25.000 %, but u is 35.000 % of G; "
        "the share of each row counts that in.");
  }

  TEST_CASE("without a wall clock there are times since the first frame alone") {
    MadeUpNight night;
    night.fitted();
    night.night.info.start.reset();
    CHECK(has(night.text(), "from 1 min 00 s for 1 h 30 min\n"));
  }
}

TEST_SUITE("result_json") {
  TEST_CASE("sides that are no mirror images have a period each") {
    MadeUpNight night;
    night.measured();
    CHECK(!has(night.text(), "period on side plus"));
    night.result.gravity->frequency_ratios = {.plus = 0.8, .minus = 1.25};
    const double period_s = night.json()["period_s"]["value"];
    CHECK(night.json()["period_by_side_s"]["plus"] == period_s / 0.8);
    CHECK(night.json()["period_by_side_s"]["minus"] == period_s / 1.25);
    CHECK(has(night.text(),
              fmt::format("period on side plus {:.2f} s, on side minus {:.2f} s",
                          period_s / 0.8,
                          period_s / 1.25)));
  }

  TEST_CASE("a measured night has G with its uncertainty, unit and budget") {
    MadeUpNight night;
    night.measured();
    const auto json = night.json();
    CHECK(json["status"] == "measured");
    CHECK(json["G"]["value"] == 6.8e-11);
    CHECK(json["G"]["u"] == 1.2e-12);
    CHECK(json["G"]["unit"] == "m3 kg-1 s-2");
    CHECK(json["G"]["coverage_factor"] == 1);
    CHECK(json["G"]["degrees_of_freedom"].is_null());  // no limit
    CHECK(json["textbook_G"] == 6.45e-11);
    CHECK(json["period_by_side_s"]["plus"] == json["period_s"]["value"]);
    CHECK(json["torsion_constant_N_m"] == 1.1e-7);
    CHECK(json["inertia_kg_m2"] == 1e-3);
    CHECK(json["corrections"][1]["name"] == "damping");
    CHECK(json["corrections"][1]["percent"] == -0.033);
    CHECK(json["deflection_rad"]["value"] == 7.5e-4);
    REQUIRE(json["budget"].size() == 4);
    CHECK(json["budget"][0]["input"] == "separation");
    CHECK(json["budget"][0]["value"] == 60.0);
    CHECK(json["budget"][0]["u"] == 0.5);
    CHECK(json["budget"][0]["unit"] == "mm");
    CHECK(json["budget"][0]["sensitivity"] == 2e-12);
    CHECK(json["budget"][0]["share"] == 0.25);
    CHECK(json["dominating_input"] == "shift");
    night.result.budget->effective_degrees_of_freedom = 17.5;
    CHECK(night.json()["G"]["degrees_of_freedom"] == 17.5);
  }

  TEST_CASE("a night without a shift has no G and no budget, but period and segments") {
    MadeUpNight night;
    night.fitted();
    night.result.fit.left_out_s = {10.0, 20.0};
    const auto json = night.json();
    CHECK(json["status"] == "no shift found");
    CHECK(json["message"] == "the sides do not differ");
    CHECK(json["G"].is_null());
    CHECK_FALSE(json.contains("budget"));
    CHECK_FALSE(json.contains("deflection_rad"));
    CHECK(json["period_s"]["value"] == 600.0);
    CHECK(json["damping_per_s"]["u"] == 1e-6);
    CHECK(json["drift_mm_per_hour"]["value"] == 0.5);
    CHECK(json["shift_mm"]["u"] == 0.1);
    CHECK(json["left_out_s"] == std::vector<double>{10.0, 20.0});
    REQUIRE(json["segments"].size() == 2);
    const auto& minus = json["segments"][1];
    CHECK(minus["side"] == "minus");
    CHECK(minus["from_s"] == 5520.0);
    CHECK(minus["to_s"] == 10920.0);
    CHECK(minus["equilibrium_mm"]["value"] == -6.0);
    CHECK(minus["amplitude_from_mm"] == 21.04);
    CHECK(minus["amplitude_to_mm"] == 3.26);
    CHECK(minus["periods"] == 9.0);
    CHECK(minus["positions_used"] == 1080);
    CHECK(json["frames"]["found"] == 7);
    CHECK(json["frames"]["clipped"] == 2);
    CHECK(json["frames"]["blocked"] == 1);
    CHECK(json["frames"]["lost"] == 0);
    CHECK(json["frames"]["dark"] == 3);
  }

  TEST_CASE("a night that could not be fitted has no numbers of a fit") {
    MadeUpNight night;
    night.result.message = "fewer than eight positions";
    const auto json = night.json();
    CHECK(json["G"].is_null());
    CHECK_FALSE(json.contains("period_s"));
    CHECK(json["segments"].empty());
    CHECK(json["camera"].is_null());
  }

  TEST_CASE("a camera that was watched is in the result") {
    MadeUpNight night;
    night.night.camera = tracker::CameraOfRun{
        .looks = 90, .failed = 4, .bumps = 1, .max_shift_px = 6.5, .max_u_px = 0.02};
    const auto camera = night.json()["camera"];
    CHECK(camera["looks"] == 90);
    CHECK(camera["failed"] == 4);
    CHECK(camera["bumps"] == 1);
    CHECK(camera["max_shift_px"] == 6.5);
    CHECK(camera["max_u_px"] == 0.02);
  }

  TEST_CASE("every number is written so that it is read back the same") {
    MadeUpNight night;
    night.measured();
    night.result.shift_mm = {1.0 / 3.0, 0.1 + 0.2};
    const auto shift = night.json()["shift_mm"];
    CHECK(shift["value"].get<double>() == 1.0 / 3.0);
    CHECK(shift["u"].get<double>() == 0.1 + 0.2);
  }

  TEST_CASE("warnings of track, apparatus and analysis come in this order") {
    MadeUpNight night;
    night.night.warnings = {"track"};
    night.apparatus.warnings = {"apparatus"};
    night.result.warnings = {"analysis"};
    night.apparatus.assumptions = {"no \"rod\""};
    const auto json = night.json();
    CHECK(json["warnings"] == std::vector<std::string>{"track", "apparatus", "analysis"});
    CHECK(json["assumptions"][0] == "no \"rod\"");
  }

  TEST_CASE("a text that is no UTF-8 does not cost the result") {
    // A folder's name or a title may be in an older encoding: 0xfc is "u with dots" in ISO 8859-1.
    MadeUpNight night;
    night.measured();
    night.apparatus.title = "Versuch f\xfcr alle";
    night.night.warnings = {"M\xfcnchen/track.csv:3: line passed over"};
    const auto json = night.json();
    CHECK(json["G"]["value"] == 6.8e-11);
    CHECK(json["apparatus"].get<std::string>().starts_with("Versuch f"));
    CHECK(json["apparatus"].get<std::string>().ends_with("r alle"));
  }
}
