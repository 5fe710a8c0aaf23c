#pragma once

#include <cstdint>
#include <numbers>
#include <stdexcept>
#include <string>
#include <vector>

/// Everything that can be set about an invented night. What stands here is the truth of that night;
/// the values that somebody would have measured are drawn from it in apparatus_reading.h.
///
/// Axes of the balance: z up the wire, boom along x at theta = 0, theta > 0 turns x towards y.
/// Axes of the wall: x to the right along the ruler, y up, both in real millimetres.
namespace nightswing::demo {

inline constexpr double kRadPerDeg = std::numbers::pi / 180;  // of what is set in degrees

/// A setting that cannot be rendered; the text says which and what to do.
struct SettingsError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Where the sources stand: kPlus at (a, b, 0) and (-a, -b, 0), kMinus at (-a, b, 0) and
/// (a, -b, 0), kAway too far off to be felt.
enum class Side { kPlus, kMinus, kAway };

/// The sources begin to move to `side` at `start_s` (the first entry of a night stands from 0).
struct SideChange {
  Side side;
  double start_s;
  bool operator==(const SideChange&) const = default;
};

struct Balance {
  double big_g_m3_per_kg_s2 = 6.67430e-11;
  double source_mass_kg = 2.213;  ///< each of the two lead spheres
  double source_diameter_m = 0.072;
  double test_mass_kg = 0.0346;  ///< each of the two lead spheres on the boom
  double test_diameter_m = 0.018;
  double arm_m = 0.058;  ///< a, wire axis to the centre of a test mass
  double rod_mass_kg = 0.0026;
  double rod_length_m = 0.134;
  double rod_diameter_m = 0.003;
  double mirror_inertia_kg_m2 = 2.0e-8;
  double separation_m = 0.052;           ///< b, centre to centre with the boom midway
  double free_period_s = 600.0;          ///< undamped, with the sources away; fixes the wire
  double amplitude_decay_time_s = 5400;  ///< the swing falls to 1/e in this time
};

struct Swing {
  double first_amplitude_mm = 45.0;  ///< on the wall, around the first side's equilibrium
  double first_phase_deg = 60.0;     ///< 0: begins at rest at the turning point of larger theta
  double drift_mm_per_hour = 0.3;    ///< of the equilibrium on the wall, towards larger x
  double relaxation_mm = 0.0;        ///< what the wire still has to creep at the start, on the wall
  double relaxation_time_s = 3600.0;
  double move_time_s = 20.0;                  ///< how long the sources take from side to side
  double move_kick_rad_per_s = 2.0e-6;        ///< added to the boom's rate when a move begins
  double torque_noise_n_m_per_root_hz = 0.0;  ///< white, one-sided density
  double step_s = 0.5;                        ///< largest step of the integration
};

struct OpticalLever {
  double mirror_to_wall_m = 3.110;  ///< D, along the perpendicular
  double foot_x_mm = 240.0;         ///< where the perpendicular meets the scale
  double foot_y_mm = 35.0;          ///< height of the spot's path there
  double beam_angle_deg = 0.5;      ///< alpha: beam against the perpendicular at theta = 0
  double path_tilt_deg = 0.4;       ///< path of the spot against the ruler, rising to the right
  bool reversed = false;            ///< true: growing theta moves the spot to smaller x
};

struct Camera {
  int width_px = 1280;
  int height_px = 720;
  double field_of_view_deg = 35.0;  ///< horizontal
  double distance_mm = 815.0;       ///< lens to the point aimed at
  double aim_x_mm = 240.0;
  double aim_y_mm = 12.0;
  double yaw_deg = 4.0;    ///< the camera stands this far to the right of the perpendicular
  double pitch_deg = 3.0;  ///< and this far above it
  double roll_deg = 0.6;   ///< turned clockwise about its axis
  double k1 = 0.0;         ///< radial distortion: r (1 + k1 r^2), r = 1 at 45 degrees
  double read_noise_dn = 0.8;
  double electrons_per_dn = 60.0;  ///< sets the shot noise: variance = signal / this, in DN^2
};

/// How the camera's mount fails to hold it: a knock at one moment, and thermal creep all night.
/// Both turn the camera about its lens. Directions: 0 to the right of the picture, 90 down.
struct Mount {
  double bump_px = 0.0;  ///< how far the knock moves the middle of the picture; 0: there is none
  double bump_direction_deg = 30.0;
  double bump_deg = 0.0;   ///< and how far it turns the picture, clockwise as seen
  double bump_at_s = 0.0;  ///< the first moment after it
  double creep_px = 0.0;   ///< from the begin to the end of the night; 0: none
  double creep_direction_deg = 20.0;
  double creep_time_share = 0.4;  ///< of the night: time in which the creep falls to 1/e
};

struct Spot {
  double sigma_x_mm = 2.0;
  double sigma_y_mm = 1.7;
  double peak_dn = 450.0;     ///< red plane, above the wall, before clipping at 255
  double green_share = 0.10;  ///< what leaks into the other planes
  double blue_share = 0.05;
  double halo_share = 0.015;  ///< peak of the halo against the peak of the spot
  double halo_sigma_mm = 7.0;
  double reflection_share = 0;  ///< peak of a second, fixed spot; 0: there is none
  double reflection_x_mm = 150.0;
  double reflection_y_mm = 37.0;
};

struct Wall {
  int scale_columns = 12;          ///< columns of markers, 40 printed mm each
  double scale_factor = 1.0003;    ///< real millimetres in one printed millimetre
  double paper_dn = 74.0;          ///< brightness of white paper at the middle of the picture
  double texture_contrast = 0.02;  ///< standard deviation of the paint's brightness, relative
};

struct Film {
  bool wanted = true;
  int crf = 18;
  std::string preset = "veryslow";
  int nominal_frames_per_second = 25;
};

struct NightSettings {
  Balance balance;
  Swing swing;
  OpticalLever lever;
  Camera camera;
  Mount mount;
  Spot spot;
  Wall wall;
  Film film;
  std::vector<SideChange> sides = {{Side::kPlus, 0.0}, {Side::kMinus, 7500.0}};
  double duration_s = 15000.0;
  double frame_every_s = 5.0;
  std::string start_utc = "2025-11-07T21:00:00Z";
  std::uint64_t seed = 1;
};

[[nodiscard]] std::string name_of(Side side);

/// "2h5m", "90s", "2h", "12.5" (seconds) -> seconds. Throws SettingsError.
[[nodiscard]] double parse_duration_s(const std::string& text);

/// "plus@0s,minus@2h5m" -> the list. The first must start at 0, times must increase and no side may
/// follow itself; throws SettingsError otherwise.
[[nodiscard]] std::vector<SideChange> parse_sides(const std::string& text);

/// "1280x720" -> camera.width_px and height_px, both even as the film's format wants. Throws
/// SettingsError.
void parse_size(const std::string& text, Camera& camera);

/// Throws SettingsError for a night that cannot be: masses that touch, a time that is not positive,
/// a start that is not ISO 8601 UTC, and the like.
void check_settings(const NightSettings& settings);

/// Number of frames: one at 0, frame_every_s, ... before duration_s.
[[nodiscard]] int frame_count(const NightSettings& settings);

}  // namespace nightswing::demo
