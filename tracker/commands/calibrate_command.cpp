#include <cmath>
#include <filesystem>
#include <memory>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/quantity.h"
#include "tracker/camera/clock.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/commands/commands.h"
#include "tracker/frames/picture_file.h"
#include "tracker/run/csv_text.h"
#include "tracker/run/event_log.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/wall_file.h"
#include "tracker/text/say.h"
#include "tracker/text/shell_word.h"
#include "tracker/text/usage_error.h"
#include "tracker/wall/calibration_picture.h"
#include "tracker/wall/wall_calibration.h"

namespace nightswing::tracker {
namespace {

struct CalibrateArguments {
  std::string run;
  std::string picture;
  std::vector<std::string> points;
  double point_u_px = calibration::kHandSet_px;
  std::string bar;
  std::string ruler;
};

/// The picture to read the scale in; it must be of the run's own size.
cv::Mat picture_for(const std::string& name, calibration::FrameSize frame) {
  if (!std::filesystem::exists(name)) throw InputError(fmt::format("there is no file {}", name));
  cv::Mat picture = read_picture(name);
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
  return picture;
}

ScaleInView in_view(const CalibrateArguments& arguments, calibration::FrameSize frame) {
  ScaleInView in_view;
  in_view.bar_mm = bar_mm_from(arguments.bar);
  in_view.ruler = !arguments.ruler.empty();
  if (in_view.ruler) {
    in_view.ruler_hint = parse_ruler_hint(arguments.ruler);
    for (const std::string& point : arguments.points) {
      in_view.ruler_labels.push_back(parse_ruler_label(point, frame));
    }
  }
  return in_view;
}

/// The command that makes the same map of a run, but for its folder.
std::string command_of(const CalibrateArguments& arguments) {
  std::string text = "calibrate";
  const auto add = [&](std::string_view option, const std::string& value) {
    if (!value.empty()) text += fmt::format(" {} {}", option, shell_word(value));
  };
  add("--picture", arguments.picture);
  for (const std::string& point : arguments.points) add("--point", point);
  add("--bar", arguments.bar);
  add("--ruler", arguments.ruler);
  if (arguments.point_u_px != calibration::kHandSet_px) {
    add("--point-u", number_text(arguments.point_u_px));
  }
  return text;
}

/// Says so if the map that is to be replaced measured otherwise: one of them is wrong.
void compare_with_earlier(const RunFolder& run, const calibration::WallMap& map) {
  constexpr double kFarOff = 0.02;
  if (!std::filesystem::exists(run.wall())) return;
  std::optional<calibration::WallMap> earlier;
  try {
    earlier = read_wall_map(run.wall());
  } catch (const InputError&) {
    return;  // it is replaced, so it does not matter what is wrong with it
  }
  if (calibration::beyond_horizon(*earlier, map.centre)) return;
  const double ratio =
      calibration::mm_per_px(map, map.centre) / calibration::mm_per_px(*earlier, map.centre);
  if (std::abs(ratio - 1.0) < kFarOff) return;
  say(stderr,
      fmt::format("warning: a pixel is {:.4g} times what it was by the map that this one replaces "
                  "({}): unless the camera was moved or zoomed between, one of them is wrong\n",
                  ratio,
                  describe(*earlier)));
}

void calibrate(const CalibrateArguments& arguments) {
  const RunFolder run = open_run_folder(arguments.run);
  const RunInfo info = read_run_info(run);
  const calibration::FrameSize frame{.width_px = info.frame_width_px,
                                     .height_px = info.frame_height_px};
  const bool by_hand = !arguments.points.empty() && arguments.ruler.empty();
  if (by_hand && !arguments.bar.empty()) {
    throw UsageError("--bar belongs to the printed scale, --point to places by hand; give one");
  }
  const std::string name =
      arguments.picture.empty() ? run.first_frame().string() : arguments.picture;
  // By hand a picture is only drawn into, so a run without one will do.
  const cv::Mat picture =
      by_hand && arguments.picture.empty() ? read_picture(name) : picture_for(name, frame);
  const calibration::WallMap map =
      by_hand ? map_from_points(arguments.points, arguments.point_u_px, frame)
              : map_from_picture(picture, name, in_view(arguments, frame));
  compare_with_earlier(run, map);
  write_wall_map(run.wall(), map);
  EventWriter(run.events())
      .append({SystemClock().utc(),
               {},
               "calibrated",
               calibrated_text(describe(map), command_of(arguments))});
  fmt::print("wall: {}\nwritten to {}\n", describe(map), run.wall().string());
  if (picture.empty()) return;
  write_picture(run.calibration_picture(), calibration_picture(picture, map));
  fmt::print("look at {}\n", run.calibration_picture().string());
}

}  // namespace

void add_calibrate_command(CLI::App& app) {
  auto arguments = std::make_shared<CalibrateArguments>();
  CLI::App* command = app.add_subcommand(
      "calibrate",
      "map the pixels of a run to millimetres on the wall, by the printed scale, a ruler or by "
      "hand");
  command->add_option("run", arguments->run, "the run folder")->required();
  command->add_option("--picture",
                      arguments->picture,
                      "read the scale from this picture, not from the first frames of the run");
  command->add_option("--point",
                      arguments->points,
                      "a place by hand: x_px,y_px=reading of a ruler along the spot's path (two or "
                      "more), or x_px,y_px=x,y on the wall (four or more), in mm unless a unit is "
                      "given; with --ruler a reading "
                      "that fixes its zero (one or two); may be repeated");
  add_bar_option(*command, arguments->bar);
  command->add_option("--ruler",
                      arguments->ruler,
                      "read an ordinary ruler: two pixels along its edge such as "
                      "120,600:1180,640, or 'find'");
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
      "         nightswing calibrate runs/night --bar \"199.4(2) mm\"\n"
      "         nightswing calibrate runs/night --ruler 120,600:1180,640\n"
      "         nightswing calibrate runs/night --point 412.5,388.0=120mm --point 980,391.5=310mm\n"
      "Next:    nightswing analyse runs/night --apparatus my_balance.yaml");
  command->callback([arguments] { calibrate(*arguments); });
}

}  // namespace nightswing::tracker
