#include <algorithm>
#include <memory>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>

#include "analysis/apparatus_file.h"
#include "analysis/blinding.h"
#include "analysis/input_error.h"
#include "analysis/night.h"
#include "tracker/blind_file.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/commands/commands.h"
#include "tracker/line_file.h"
#include "tracker/night_of_run.h"
#include "tracker/report/figures.h"
#include "tracker/report/plot_files.h"
#include "tracker/report/report_page.h"
#include "tracker/report/shown_night.h"
#include "tracker/result_file.h"
#include "tracker/run_folder.h"

namespace nightswing::tracker {
namespace {

struct Arguments {
  std::string run;
  std::string apparatus;
  std::vector<std::string> sides;
  std::string settle = "60s";
  bool quiet = false;
  bool blind = false;
  bool open = false;
};

/// The apparatus named, else the copy that an earlier analysis left in the run folder.
analysis::Apparatus apparatus_for(const Arguments& arguments, const RunFolder& run) {
  if (!arguments.apparatus.empty()) {
    analysis::Apparatus apparatus = analysis::read_apparatus_file(arguments.apparatus);
    if (!std::filesystem::exists(run.apparatus()) ||
        !std::filesystem::equivalent(arguments.apparatus, run.apparatus())) {
      write_whole_file(run.apparatus(), read_whole_file(arguments.apparatus));
    }
    return apparatus;
  }
  if (!std::filesystem::exists(run.apparatus())) {
    throw InputError(fmt::format(
        "which balance? name its file: nightswing analyse {} --apparatus configs/basement.yaml",
        run.path.string()));
  }
  return analysis::read_apparatus_file(run.apparatus());
}

/// The command that repeats this analysis from the run folder alone.
std::string command_line(const Arguments& arguments, const RunFolder& run) {
  std::string text = fmt::format(
      "nightswing analyse {} --apparatus {}", run.path.string(), run.apparatus().string());
  for (const std::string& side : arguments.sides) text += " --side " + side;
  return text + " --settle " + arguments.settle;
}

void write_show(const Arguments& arguments, const ResultSource& source) {
  const ShownNight shown = shown_night(source, command_line(arguments, source.run));
  const cv::Mat wall = cv::imread(source.run.first_frame().string(),
                                  cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
  const auto figures = all_figures(shown, wall);
  write_plots(source.run, figures);
  write_whole_file(source.run.report(), report_page(shown, figures, kCautions));
}

void analyse(const Arguments& arguments) {
  const RunFolder run = open_run_folder(arguments.run);
  const analysis::Apparatus apparatus = apparatus_for(arguments, run);
  NightOfRun night = read_night(run);
  if (!arguments.sides.empty()) {
    night.night.sides.clear();
    for (const std::string& text : arguments.sides) {
      night.night.sides.push_back(side_change_from(text, night.info.start));
    }
    std::ranges::stable_sort(night.night.sides, {}, &analysis::SideChange::t_s);
  }
  if (arguments.open) open_blind(run);
  if (arguments.blind) make_blind(run);
  analysis::NightResult result = analysis::analyse_night(
      night.night, apparatus, {.settle_s = *parse_duration_s(arguments.settle)});
  if (const auto factor = read_blind_factor(run)) analysis::blind(result, *factor);
  const ResultSource source{run, night, apparatus, result};
  const std::string text = result_text(source);
  write_whole_file(run.result_json(), result_json(source));
  write_whole_file(run.result_txt(), text);
  write_show(arguments, source);
  if (!arguments.quiet) fmt::print("{}\n", text);
  fmt::print("written: {}, {}, {}, {}\n",
             run.report().string(),
             run.result_txt().string(),
             run.result_json().string(),
             run.plots().string());
}

}  // namespace

void add_analyse_command(CLI::App& app) {
  auto arguments = std::make_shared<Arguments>();
  CLI::App* command =
      app.add_subcommand("analyse", "equilibria, period, G and its uncertainty from a run");
  command->add_option("run", arguments->run, "the run folder")->required();
  command->add_option("--apparatus",
                      arguments->apparatus,
                      "the file that describes the balance; a copy is kept in the run folder and "
                      "used from then on");
  command
      ->add_option("--side",
                   arguments->sides,
                   "where the source masses were from when on, instead of the marks in the run: "
                   "plus@0s, minus@2h5m, away@...; may be repeated. Without marks and without this "
                   "the moves are found from the track")
      ->check(side_check());
  command
      ->add_option("--settle",
                   arguments->settle,
                   "time left out after each move of the sources (default 60s)")
      ->check(duration_check());
  CLI::Option* blind = command->add_flag("--blind",
                                         arguments->blind,
                                         "show G multiplied by a hidden factor (kept in the run "
                                         "folder) until --open: published values "
                                         "cluster on the expected one");
  command->add_flag("--open", arguments->open, "take the hidden factor off: the analysis is done")
      ->excludes(blind);
  command->add_flag("--quiet", arguments->quiet, "write the files, print only their names");
  command->footer(
      "Example: nightswing analyse runs/night --apparatus configs/basement.yaml\n"
      "         nightswing analyse runs/night --side plus@0s --side minus@2h5m\n"
      "Next:    open runs/night/report.html, or make a film: nightswing film runs/night");
  command->callback([arguments] { analyse(*arguments); });
}

}  // namespace nightswing::tracker
