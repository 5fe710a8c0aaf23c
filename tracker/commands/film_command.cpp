#include <filesystem>
#include <memory>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/quantity.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/commands/commands.h"
#include "tracker/film/film.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

struct FilmArguments {
  std::string run;
  std::string output;
  std::string video;
  std::string title;
  std::vector<std::string> captions;
  std::string size = "1080p";
  double seconds = 60.0;
  bool drawn = false;
  bool quiet = false;
};

/// `2h5m=The sources move`: where the moment ends.
std::size_t moment_length(const std::string& caption) {
  return caption.find('=');
}

CLI::Validator caption_check() {
  return CLI::Validator(
      [](std::string& text) {
        const std::string moment = text.substr(0, moment_length(text));
        if (moment.size() < text.size() && (parse_duration_s(moment) || parse_iso_time(moment))) {
          return std::string();
        }
        return fmt::format("'{}' is no moment and text such as 2h5m='The sources move'", text);
      },
      "MOMENT=TEXT");
}

FilmCaption caption_from(const std::string& text, const std::optional<UtcTime>& start) {
  const std::size_t length = moment_length(text);
  return {.t_s = moment_s(text.substr(0, length), start), .text = text.substr(length + 1)};
}

CLI::Validator seconds_check() {
  return CLI::Validator(
      [](std::string& text) {
        const auto seconds = analysis::parse_number(text);
        if (seconds && *seconds >= 2.0 && *seconds <= 3600.0) return std::string();
        return fmt::format("a film lasts from 2 to 3600 seconds, not '{}'", text);
      },
      "SECONDS");
}

/// throws UsageError for a name that is no film's, InputError if its folder is not there.
std::filesystem::path output_of(const FilmArguments& arguments, const RunFolder& run) {
  if (arguments.output.empty()) return run.film();
  std::filesystem::path output = arguments.output;
  if (output.extension() != ".mp4") {
    throw UsageError(
        fmt::format("-o {}: a film is written as MP4 (H.264); give it a name that ends in .mp4",
                    arguments.output));
  }
  const std::filesystem::path folder = output.parent_path();
  if (folder.empty() || std::filesystem::is_directory(folder)) return output;
  throw InputError(fmt::format(
      "-o {}: there is no folder {}; make it, or name another", arguments.output, folder.string()));
}

void film(const FilmArguments& arguments) {
  const RunFolder run = open_run_folder(arguments.run);
  const std::optional<UtcTime> start = read_run_info(run).start;
  std::vector<FilmCaption> captions;
  for (const std::string& text : arguments.captions) {
    captions.push_back(caption_from(text, start));
  }
  const FilmRequest request{
      .run = run,
      .seconds = arguments.seconds,
      .title = arguments.title,
      .captions = captions,
      .output = output_of(arguments, run),
      .video = arguments.video,
      .drawn = arguments.drawn,
      .size = arguments.size == "source" ? FilmSize::kSource : FilmSize::k1080p,
      .quiet = arguments.quiet};
  const FilmSummary summary = make_film(request);
  fmt::print("{} frames of {} x {} px, wall {}\nwritten: {}\n",
             summary.frames,
             summary.width_px,
             summary.height_px,
             summary.picture,
             request.output.string());
}

}  // namespace

void add_film_command(CLI::App& app) {
  auto arguments = std::make_shared<FilmArguments>();
  CLI::App* command = app.add_subcommand(
      "film", "the night as a short film: spot, trail, scale, equilibria, clock and plot");
  command->add_option("run", arguments->run, "the run folder")->required();
  command->add_option("--seconds", arguments->seconds, "length of the film (default 60)")
      ->check(seconds_check());
  command->add_option("--title", arguments->title, "what the title card says");
  command
      ->add_option("--caption",
                   arguments->captions,
                   "a text across the picture for five seconds, from a moment of the night on: "
                   "2h5m='The sources move'; may be repeated")
      ->check(caption_check());
  command
      ->add_option("--size",
                   arguments->size,
                   "1080p (1920 x 1080, the default) or source (the picture pixel for pixel)")
      ->check(CLI::IsMember({"1080p", "source"}));
  command->add_option(
      "--video", arguments->video, "the video of the run, if it is not where run.yaml says");
  command->add_flag("--drawn", arguments->drawn, "draw the wall from the track, without the video");
  command->add_option("-o,--out", arguments->output, "the film's file (default RUN/film.mp4)");
  command->add_flag("--quiet", arguments->quiet, "show no progress");
  command->footer(
      "Example: nightswing film runs/night --seconds 30 --title 'Lead pulls lead'\n"
      "         nightswing film runs/night --caption 2h5m='The sources move'\n"
      "Next:    play runs/night/film.mp4 in any browser");
  command->callback([arguments] { film(*arguments); });
}

}  // namespace nightswing::tracker
