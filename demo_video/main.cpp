#include <csignal>
#include <cstdio>
#include <filesystem>

#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include "demo_video/camera_mount.h"
#include "demo_video/camera_noise.h"
#include "demo_video/film_writer.h"
#include "demo_video/spot_renderer.h"
#include "demo_video/truth_files.h"
#include "demo_video/wall_film.h"

namespace nightswing::demo {
namespace {

// What needs translating between the command line and the settings.
struct Wishes {
  std::string out;
  double big_g = 6.67430;
  std::string period = "600s", damping_time = "90m", frame_every = "5s", duration = "4h10m";
  std::string sides = "plus@0s,minus@2h5m";
  std::string size = "1280x720";
  double separation_mm = 52.0, distance_mm = 3110.0;
  std::string bump_at = "0s";
  bool no_video = false;
};

void add_options(CLI::App& app, Wishes& wishes, NightSettings& night) {
  app.add_option("--out", wishes.out, "folder for the film and its truth; made if missing")
      ->required();
  app.add_option("--seed", night.seed, "of all chance in the night")->capture_default_str();
  app.add_option("--g", wishes.big_g, "true G [1e-11 m3/(kg s2)]")->capture_default_str();
  app.add_option("--period", wishes.period, "undamped, sources away")->capture_default_str();
  app.add_option("--damping-time", wishes.damping_time, "amplitude falls to 1/e")
      ->capture_default_str();
  app.add_option("--separation-mm", wishes.separation_mm, "centre to centre, boom midway")
      ->capture_default_str();
  app.add_option("--distance-mm", wishes.distance_mm, "mirror to wall")->capture_default_str();
  app.add_option("--sides", wishes.sides, "plus, minus or away, and when they move there")
      ->capture_default_str();
  app.add_option("--duration", wishes.duration, "of the night")->capture_default_str();
  app.add_option("--frame-every", wishes.frame_every, "time between frames")->capture_default_str();
  app.add_option("--start", night.start_utc, "begin of the night, UTC")->capture_default_str();
  app.add_option(
         "--amplitude-mm", night.swing.first_amplitude_mm, "of the first swing, on the wall")
      ->capture_default_str();
  app.add_option("--drift-mm-per-hour", night.swing.drift_mm_per_hour, "of the equilibrium")
      ->capture_default_str();
  app.add_option("--torque-noise",
                 night.swing.torque_noise_n_m_per_root_hz,
                 "random torque [N m/sqrt(Hz)], one-sided")
      ->capture_default_str();
  app.add_option(
         "--reflection", night.spot.reflection_share, "fixed second spot, share of the peak")
      ->capture_default_str();
  app.add_option("--k1", night.camera.k1, "radial distortion of the lens")->capture_default_str();
  app.add_option("--bump-px", night.mount.bump_px, "a knock moves the picture so far")
      ->capture_default_str();
  app.add_option("--bump-deg", night.mount.bump_deg, "and turns it so far")->capture_default_str();
  app.add_option("--bump-at", wishes.bump_at, "time of the knock")->capture_default_str();
  app.add_option("--creep-px", night.mount.creep_px, "the mount creeps so far over the night")
      ->capture_default_str();
  app.add_option("--size", wishes.size, "of the picture")->capture_default_str();
  app.add_option("--crf", night.film.crf, "quality of the film, 0 best")->capture_default_str();
  app.add_option("--preset", night.film.preset, "speed of the encoder")->capture_default_str();
  app.add_flag("--no-video", wishes.no_video, "write the truth and the apparatus only");
  app.footer(
      "Example: half an hour a side, small picture, another G\n"
      "  demo_night --out short_night --sides plus@0s,minus@30m --duration 1h --size 640x360 "
      "--preset fast --g 7.1");
}

void apply(const Wishes& wishes, NightSettings& night) {
  night.balance.big_g_m3_per_kg_s2 = wishes.big_g * 1e-11;
  night.balance.free_period_s = parse_duration_s(wishes.period);
  night.balance.amplitude_decay_time_s = parse_duration_s(wishes.damping_time);
  night.balance.separation_m = wishes.separation_mm * 1e-3;
  night.lever.mirror_to_wall_m = wishes.distance_mm * 1e-3;
  night.sides = parse_sides(wishes.sides);
  night.duration_s = parse_duration_s(wishes.duration);
  night.frame_every_s = parse_duration_s(wishes.frame_every);
  night.mount.bump_at_s = parse_duration_s(wishes.bump_at);
  night.film.wanted = !wishes.no_video;
  parse_size(wishes.size, night.camera);
  check_settings(night);
}

void film_night(const NightSettings& night, const NightTruth& truth, const std::string& path) {
  WallFilm wall(night);
  CameraNoise camera(night.camera, night.seed);
  FilmWriter film(path, night);
  for (const TrackPoint& point : truth.track) {
    cv::Mat light = wall.light_at(point.state.t_s);
    add_spot(light, view_at(night, point.state.t_s), night.spot, point.place);
    film.write(camera.expose(light));
  }
  film.finish();
}

void render(const NightSettings& night, const std::filesystem::path& out) {
  std::error_code error;
  std::filesystem::create_directories(out, error);
  if (error) throw SettingsError("cannot make the folder " + out.string() + ": " + error.message());
  const NightTruth truth = play_night(night);
  write_text(out / "truth.json", truth_json(night, truth));
  write_text(out / "truth_track.csv", truth_track_csv(truth));
  write_text(out / "apparatus.yaml", apparatus_yaml(read_apparatus(night)));
  if (night.film.wanted) film_night(night, truth, out / "night.mp4");
  fmt::print("{}: {} frames, shift {:.2f} mm, period beside the sources {:.2f} s\n",
             out.string(),
             truth.track.size(),
             truth.shift_mm,
             truth.period_beside_s);
}

int run(int argc, char** argv) {
  CLI::App app("Renders an invented night of a torsion balance, with its truth beside it.");
  Wishes wishes;
  NightSettings night;
  add_options(app, wishes, night);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : 2;
  }
  apply(wishes, night);
  render(night, wishes.out);
  return 0;
}

}  // namespace
}  // namespace nightswing::demo

int main(int argc, char** argv) {
  std::signal(SIGPIPE, SIG_IGN);  // a dead encoder shall be reported, not kill us
  try {
    return nightswing::demo::run(argc, argv);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "demo_night: %s\n", error.what());
    return 1;
  }
}
