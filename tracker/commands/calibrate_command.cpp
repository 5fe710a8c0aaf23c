#include <memory>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>

#include "analysis/input_error.h"
#include "analysis/quantity.h"
#include "tracker/commands/commands.h"
#include "tracker/event_log.h"
#include "tracker/run_folder.h"
#include "tracker/wall_calibration.h"
#include "tracker/wall_file.h"

namespace nightswing::tracker {
namespace {

struct Arguments {
  std::string run;
  std::string picture;
  std::vector<std::string> points;
  double point_u_px = calibration::kHandSet_px;
};

calibration::WallMap map_for(const Arguments& arguments,
                             const RunFolder& run,
                             const RunInfo& info) {
  const calibration::FrameSize frame{.width_px = info.frame_width_px,
                                     .height_px = info.frame_height_px};
  if (!arguments.points.empty()) {
    return map_from_points(arguments.points, arguments.point_u_px, frame);
  }
  const std::string name =
      arguments.picture.empty() ? run.first_frame().string() : arguments.picture;
  if (!std::filesystem::exists(name)) throw InputError(fmt::format("there is no file {}", name));
  const cv::Mat picture = cv::imread(name, cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
  if (picture.empty()) throw InputError(fmt::format("{} cannot be read as a picture", name));
  if (picture.cols != frame.width_px || picture.rows != frame.height_px) {
    throw InputError(
        fmt::format("{} has {} x {} pixels, but the frames of the run have {} x {}: calibrate with "
                    "a picture of "
                    "the same camera setting",
                    name,
                    picture.cols,
                    picture.rows,
                    frame.width_px,
                    frame.height_px));
  }
  return map_from_picture(picture, name);
}

void calibrate(const Arguments& arguments) {
  const RunFolder run = open_run_folder(arguments.run);
  const calibration::WallMap map = map_for(arguments, run, read_run_info(run));
  write_wall_map(run.wall(), map);
  EventWriter(run.events()).append({{}, {}, "calibrated", describe(map)});
  fmt::print("wall: {}\nwritten to {}\n", describe(map), run.wall().string());
}

}  // namespace

void add_calibrate_command(CLI::App& app) {
  auto arguments = std::make_shared<Arguments>();
  CLI::App* command = app.add_subcommand(
      "calibrate",
      "map the pixels of a run to millimetres on the wall, by the printed scale or by hand");
  command->add_option("run", arguments->run, "the run folder")->required();
  command->add_option("--picture",
                      arguments->picture,
                      "read the scale from this picture, not from the first frames of the run");
  command->add_option("--point",
                      arguments->points,
                      "a place by hand: x_px,y_px=reading of a ruler along the spot's path (two or "
                      "more), or x_px,y_px=x,y on the wall (four or more); may be repeated");
  command
      ->add_option("--point-u",
                   arguments->point_u_px,
                   "standard uncertainty of a point's pixel (default 0.5)")
      ->check(CLI::Validator(
          [](std::string& text) {
            const auto u_px = analysis::parse_number(text);
            if (u_px && *u_px > 0.0) return std::string();
            return fmt::format("'{}' is no number of pixels above zero", text);
          },
          "PIXELS"));
  command->footer(
      "Example: nightswing calibrate runs/night\n"
      "         nightswing calibrate runs/night --point 412.5,388.0=120mm --point 980,391.5=310mm\n"
      "Next:    nightswing analyse runs/night --apparatus configs/basement.yaml");
  command->callback([arguments] { calibrate(*arguments); });
}

}  // namespace nightswing::tracker
