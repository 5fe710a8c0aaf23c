#include "demo_video/truth_files.h"

#include <fstream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "demo_video/camera_mount.h"

namespace nightswing::demo {
namespace {

using Json = nlohmann::ordered_json;

Json balance_json(const NightSettings& settings, const NightTruth& truth) {
  const Balance& balance = settings.balance;
  return {{"G_m3_per_kg_s2", balance.big_g_m3_per_kg_s2},
          {"source_mass_kg", balance.source_mass_kg},
          {"source_diameter_m", balance.source_diameter_m},
          {"test_mass_kg", balance.test_mass_kg},
          {"test_diameter_m", balance.test_diameter_m},
          {"arm_m", balance.arm_m},
          {"rod_mass_kg", balance.rod_mass_kg},
          {"rod_length_m", balance.rod_length_m},
          {"rod_diameter_m", balance.rod_diameter_m},
          {"mirror_inertia_kg_m2", balance.mirror_inertia_kg_m2},
          {"separation_m", balance.separation_m},
          {"inertia_kg_m2", truth.inertia_kg_m2},
          {"wire_constant_N_m_per_rad", truth.wire_constant_n_m_per_rad},
          {"damping_N_m_s", truth.damping_n_m_s},
          {"amplitude_decay_time_s", balance.amplitude_decay_time_s},
          {"torque_plus_at_zero_per_G_kg2_per_m", truth.torque_plus_per_g_kg2_per_m},
          {"free_period_s", balance.free_period_s},
          {"period_beside_s", truth.period_beside_s},
          {"theta_plus_rad", truth.theta_plus_rad},
          {"theta_minus_rad", truth.theta_minus_rad},
          {"shift_mm", truth.shift_mm}};
}

Json swing_json(const Swing& swing) {
  return {{"first_amplitude_mm", swing.first_amplitude_mm},
          {"first_phase_deg", swing.first_phase_deg},
          {"drift_mm_per_hour", swing.drift_mm_per_hour},
          {"relaxation_mm", swing.relaxation_mm},
          {"relaxation_time_s", swing.relaxation_time_s},
          {"move_time_s", swing.move_time_s},
          {"move_kick_rad_per_s", swing.move_kick_rad_per_s},
          {"torque_noise_N_m_per_root_Hz", swing.torque_noise_n_m_per_root_hz},
          {"step_s", swing.step_s}};
}

Json lever_json(const OpticalLever& lever) {
  return {{"mirror_to_wall_m", lever.mirror_to_wall_m},
          {"foot_x_mm", lever.foot_x_mm},
          {"foot_y_mm", lever.foot_y_mm},
          {"beam_angle_deg", lever.beam_angle_deg},
          {"path_tilt_deg", lever.path_tilt_deg},
          {"reversed", lever.reversed}};
}

Json camera_json(const Camera& camera) {
  Json json = {{"width_px", camera.width_px},
               {"height_px", camera.height_px},
               {"field_of_view_deg", camera.field_of_view_deg},
               {"distance_mm", camera.distance_mm},
               {"aim_x_mm", camera.aim_x_mm},
               {"aim_y_mm", camera.aim_y_mm},
               {"yaw_deg", camera.yaw_deg},
               {"pitch_deg", camera.pitch_deg},
               {"roll_deg", camera.roll_deg},
               {"k1", camera.k1},
               {"read_noise_dn", camera.read_noise_dn},
               {"electrons_per_dn", camera.electrons_per_dn}};
  const cv::Matx33d map = CameraView(camera).pixel_from_wall_homography();
  const cv::Matx33d back = map.inv();
  for (int row = 0; row < 3; ++row) {
    json["pixel_from_wall"].push_back({map(row, 0), map(row, 1), map(row, 2)});
    json["wall_from_pixel"].push_back({back(row, 0), back(row, 1), back(row, 2)});
  }
  return json;
}

Json mount_json(const Mount& mount) {
  return {{"what",
           "The camera turns about its lens; truth_track.csv has the pixels as they were then, "
           "camera.pixel_from_wall belongs to the begin of the night."},
          {"bump_px", mount.bump_px},
          {"bump_direction_deg", mount.bump_direction_deg},
          {"bump_deg", mount.bump_deg},
          {"bump_at_s", mount.bump_at_s},
          {"creep_px", mount.creep_px},
          {"creep_direction_deg", mount.creep_direction_deg},
          {"creep_time_share", mount.creep_time_share}};
}

Json picture_json(const Spot& spot, const Wall& wall, const Film& film) {
  return {{"spot_sigma_x_mm", spot.sigma_x_mm},
          {"spot_sigma_y_mm", spot.sigma_y_mm},
          {"spot_peak_dn", spot.peak_dn},
          {"halo_share", spot.halo_share},
          {"halo_sigma_mm", spot.halo_sigma_mm},
          {"reflection_share", spot.reflection_share},
          {"reflection_x_mm", spot.reflection_x_mm},
          {"reflection_y_mm", spot.reflection_y_mm},
          {"scale_columns", wall.scale_columns},
          {"scale_factor", wall.scale_factor},
          {"crf", film.crf},
          {"preset", film.preset},
          {"nominal_frames_per_second", film.nominal_frames_per_second}};
}

Json segment_json(const SegmentTruth& segment, double scale_factor) {
  return {{"side", name_of(segment.side)},
          {"start_s", segment.start_s},
          {"end_s", segment.end_s},
          {"mid_s", segment.mid_s},
          {"equilibrium_at_mid_rad", segment.equilibrium_rad},
          {"equilibrium_at_mid_path_mm", segment.equilibrium_path_mm},
          {"equilibrium_at_mid_x_mm", segment.equilibrium.x_mm},
          {"equilibrium_at_mid_y_mm", segment.equilibrium.y_mm},
          {"equilibrium_at_mid_x_printed_mm", segment.equilibrium.x_mm / scale_factor},
          {"period_s", segment.period_s},
          {"damped_period_s", segment.damped_period_s}};
}

}  // namespace

std::string truth_json(const NightSettings& settings, const NightTruth& truth) {
  Json json = {{"what", "The truth of an invented night; no real balance was measured."},
               {"start_utc", settings.start_utc},
               {"duration_s", settings.duration_s},
               {"frame_every_s", settings.frame_every_s},
               {"frames", truth.track.size()},
               {"seed", settings.seed},
               {"balance", balance_json(settings, truth)},
               {"swing", swing_json(settings.swing)},
               {"optical_lever", lever_json(settings.lever)},
               {"camera", camera_json(settings.camera)},
               {"picture", picture_json(settings.spot, settings.wall, settings.film)}};
  if (is_moving(settings.mount)) json["camera_motion"] = mount_json(settings.mount);
  for (const SegmentTruth& segment : truth.segments) {
    json["segments"].push_back(segment_json(segment, settings.wall.scale_factor));
  }
  json["moves"] = Json::array();
  for (std::size_t i = 1; i < settings.sides.size(); ++i) {
    json["moves"].push_back(
        {{"t_s", settings.sides[i].start_s}, {"to", name_of(settings.sides[i].side)}});
  }
  return json.dump(2) + "\n";
}

std::string truth_track_csv(const NightTruth& truth) {
  std::string text = "frame,t_s,theta_rad,x_mm,y_mm,x_px,y_px\n";
  for (const TrackPoint& point : truth.track) {
    // {} writes the shortest digits that read back as the same double.
    text += fmt::format("{},{},{},{},{},{},{}\n",
                        point.frame,
                        point.state.t_s,
                        point.state.theta_rad,
                        point.place.x_mm,
                        point.place.y_mm,
                        point.pixel.x_px,
                        point.pixel.y_px);
  }
  return text;
}

void write_text(const std::string& path, const std::string& text) {
  std::ofstream file(path, std::ios::binary);
  file << text;
  file.close();
  if (!file) throw SettingsError("cannot write " + path + "; look at the folder and its rights");
}

}  // namespace nightswing::demo
