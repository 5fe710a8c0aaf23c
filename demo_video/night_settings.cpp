#include "demo_video/night_settings.h"

#include <cmath>
#include <regex>
#include <sstream>

#include <fmt/format.h>

namespace nightswing::demo {

std::string name_of(Side side) {
  switch (side) {
    case Side::kPlus:
      return "plus";
    case Side::kMinus:
      return "minus";
    case Side::kAway:
      return "away";
  }
  throw std::invalid_argument("name_of: not a side");
}

double parse_duration_s(const std::string& text) {
  static const std::regex kPattern(R"((?:(\d+\.?\d*)h)?(?:(\d+\.?\d*)m)?(?:(\d+\.?\d*)s?)?)");
  std::smatch match;
  if (text.empty() || !std::regex_match(text, match, kPattern)) {
    throw SettingsError("'" + text + "' is not a time; write it like 2h5m or 90s");
  }
  const double seconds_in[] = {3600.0, 60.0, 1.0};
  double total_s = 0;
  for (std::size_t part = 0; part < 3; ++part) {
    if (match[part + 1].matched) total_s += std::stod(match[part + 1]) * seconds_in[part];
  }
  return total_s;
}

std::vector<SideChange> parse_sides(const std::string& text) {
  std::vector<SideChange> sides;
  std::istringstream stream(text);
  for (std::string entry; std::getline(stream, entry, ',');) {
    const auto at = entry.find('@');
    const std::string name = entry.substr(0, at);
    if (at == std::string::npos || (name != "plus" && name != "minus" && name != "away")) {
      throw SettingsError("'" + entry + "' is not a side; write plus@0s, minus@2h5m or away@4h");
    }
    const Side side = name == "plus" ? Side::kPlus : name == "minus" ? Side::kMinus : Side::kAway;
    sides.push_back({side, parse_duration_s(entry.substr(at + 1))});
  }
  return sides;
}

void parse_size(const std::string& text, Camera& camera) {
  static const std::regex kPattern(R"((\d{2,4})x(\d{2,4}))");
  std::smatch match;
  if (!std::regex_match(text, match, kPattern)) {
    throw SettingsError("'" + text + "' is not a picture size; write it like 1280x720");
  }
  camera.width_px = std::stoi(match[1]);
  camera.height_px = std::stoi(match[2]);
  if (camera.width_px % 2 != 0 || camera.height_px % 2 != 0) {
    throw SettingsError("the picture size " + text + " is odd; the film's format wants even sides");
  }
}

namespace {

void need_positive(double value, const std::string& what) {
  if (!(value > 0) || !std::isfinite(value)) {
    throw SettingsError("the " + what + " must be larger than 0");
  }
}

void check_sides(const NightSettings& settings) {
  const auto& sides = settings.sides;
  if (sides.empty() || sides.front().start_s != 0) {
    throw SettingsError("the list of sides must begin at 0s, like plus@0s,minus@2h5m");
  }
  for (std::size_t i = 0; i < sides.size(); ++i) {
    const double end_s = i + 1 < sides.size() ? sides[i + 1].start_s : settings.duration_s;
    if (end_s - sides[i].start_s <= settings.swing.move_time_s) {
      throw SettingsError(
          fmt::format("side {} ({}) must last longer than the move of the sources; "
                      "space the sides wider or lengthen the night",
                      i + 1,
                      name_of(sides[i].side)));
    }
    if (i > 0 && sides[i].side == sides[i - 1].side) {
      throw SettingsError("side " + name_of(sides[i].side) + " follows itself; leave one out");
    }
  }
}

void check_mount(const NightSettings& settings) {
  const Mount& mount = settings.mount;
  const bool bumped = mount.bump_px != 0 || mount.bump_deg != 0;
  if (bumped && !(mount.bump_at_s > 0 && mount.bump_at_s < settings.duration_s)) {
    throw SettingsError("the knock must come within the night; give --bump-at a time like 1h");
  }
  need_positive(mount.creep_time_share, "time of the creep");
}

}  // namespace

void check_settings(const NightSettings& settings) {
  const Balance& balance = settings.balance;
  need_positive(balance.big_g_m3_per_kg_s2, "true G");
  need_positive(balance.test_mass_kg, "test mass");
  need_positive(balance.arm_m, "arm");
  need_positive(balance.free_period_s, "period");
  need_positive(balance.amplitude_decay_time_s, "damping time");
  need_positive(settings.lever.mirror_to_wall_m, "distance from mirror to wall");
  need_positive(settings.frame_every_s, "time between frames");
  need_positive(settings.swing.step_s, "step of the integration");
  need_positive(settings.camera.electrons_per_dn, "number of electrons per DN");
  if (balance.separation_m <= (balance.source_diameter_m + balance.test_diameter_m) / 2) {
    throw SettingsError("the source masses touch the test masses; enlarge the separation");
  }
  if (settings.film.crf < 0 || settings.film.crf > 51) {
    throw SettingsError("crf must lie between 0 (lossless) and 51 (worst)");
  }
  static const std::regex kUtc(R"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z)");
  if (!std::regex_match(settings.start_utc, kUtc)) {
    throw SettingsError("the start '" + settings.start_utc +
                        "' is not UTC in ISO 8601; write it like 2025-11-07T21:00:00Z");
  }
  check_sides(settings);
  check_mount(settings);
}

int frame_count(const NightSettings& settings) {
  // The allowance keeps 0.1 s steps from gaining a frame by rounding.
  return static_cast<int>(std::ceil(settings.duration_s / settings.frame_every_s - 1e-9));
}

}  // namespace nightswing::demo
