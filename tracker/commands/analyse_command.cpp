#include <algorithm>
#include <functional>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "analysis/apparatus/apparatus_file.h"
#include "analysis/night/blinding.h"
#include "analysis/night/night.h"
#include "analysis/quantities/input_error.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/commands/commands.h"
#include "tracker/frames/picture_file.h"
#include "tracker/report/figures.h"
#include "tracker/report/nights_together.h"
#include "tracker/report/plot_files.h"
#include "tracker/report/report_page.h"
#include "tracker/report/shown_night.h"
#include "tracker/result/night_of_run.h"
#include "tracker/result/repeat_commands.h"
#include "tracker/result/result_file.h"
#include "tracker/run/blind_file.h"
#include "tracker/run/line_file.h"
#include "tracker/run/run_folder.h"
#include "tracker/text/say.h"
#include "tracker/text/shell_word.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

constexpr const char* kNightsJson = "nights.json";

struct AnalyseArguments {
  std::vector<std::string> runs;
  std::string together;
  std::string apparatus;
  std::vector<std::string> sides;
  std::string settle = "60s";
  bool quiet = false;
  bool blind = false;
  bool open = false;
};

/// The apparatus named, else the copy that an earlier analysis left in the run folder.
analysis::Apparatus apparatus_for(const AnalyseArguments& arguments, const RunFolder& run) {
  if (!arguments.apparatus.empty()) return analysis::read_apparatus_file(arguments.apparatus);
  if (!std::filesystem::exists(run.apparatus())) {
    throw InputError(
        fmt::format("which balance? name its file, a copy of configs/basement.yaml with your "
                    "numbers: nightswing analyse {} --apparatus my_balance.yaml",
                    shell_word(run.path.string())));
  }
  return analysis::read_apparatus_file(run.apparatus());
}

/// Only once the analysis is done, so that the copy is that of the results beside it.
void keep_apparatus(const AnalyseArguments& arguments, const RunFolder& run) {
  if (arguments.apparatus.empty() ||
      (std::filesystem::exists(run.apparatus()) &&
       std::filesystem::equivalent(arguments.apparatus, run.apparatus()))) {
    return;
  }
  write_whole_file(run.apparatus(), read_whole_file(arguments.apparatus));
}

/// The options that repeat this analysis, but for the apparatus.
std::string options_of(const AnalyseArguments& arguments, const analysis::NightResult& result) {
  std::string text;
  for (const std::string& side : arguments.sides) text += " --side " + shell_word(side);
  text += " --settle " + shell_word(arguments.settle);
  return result.blinded ? text + " --blind" : text;
}

void write_show(const AnalyseArguments& arguments, const ResultSource& source) {
  const ShownNight shown =
      shown_night(source, repeat_commands(source, options_of(arguments, source.result)));
  const auto figures = all_figures(shown, read_picture(source.run.first_frame()));
  write_plots(source.run, figures);
  write_whole_file(source.run.report(), report_page(shown, figures, kCautions));
}

NightOfRun night_of(const AnalyseArguments& arguments, const RunFolder& run) {
  NightOfRun night = read_night(run);
  if (arguments.sides.empty()) return night;
  night.night.sides.clear();
  for (const std::string& text : arguments.sides) {
    night.night.sides.push_back(side_change_from(text, night.info.start));
  }
  std::ranges::stable_sort(night.night.sides, {}, &analysis::SideChange::t_s);
  return night;
}

/// Applies the hidden factor of a blind run, or with --open takes it off for good.
void hide_or_open(const AnalyseArguments& arguments,
                  const RunFolder& run,
                  analysis::NightResult& result) {
  const auto factor = read_blind_factor(run);
  if (!factor) return;
  if (std::filesystem::exists(run.film())) {
    result.warnings.push_back(
        run.film().string() +
        (arguments.open ? " is from before and may show G with the hidden factor: make it again"
                        : " is from before and may show G without the hidden factor: delete it or "
                          "make it again"));
  }
  if (arguments.open) {
    open_blind(run);
  } else {
    analysis::blind(result, *factor);
  }
}

/// Lines of the log or the track that were passed over may be why the night cannot be analysed.
analysis::NightResult analysed(const AnalyseArguments& arguments,
                               const NightOfRun& night,
                               const analysis::Apparatus& apparatus) {
  try {
    return analysis::analyse_night(
        night.night, apparatus, {.settle_s = *parse_duration_s(arguments.settle)});
  } catch (const InputError& error) {
    std::string text = error.what();
    for (const std::string& line : night.passed_over) text += "; " + line;
    throw InputError(text);
  }
}

/// Analyses one night, leaves everything in its folder and hands result and text to `use`.
void analyse_run(const AnalyseArguments& arguments,
                 const RunFolder& run,
                 const std::function<void(const ResultSource&, const std::string& text)>& use) {
  const analysis::Apparatus apparatus = apparatus_for(arguments, run);
  const NightOfRun night = night_of(arguments, run);
  if (arguments.open && !read_blind_factor(run)) {
    throw InputError(
        fmt::format("{} is not blind, so there is no hidden factor to take off; leave --open out",
                    run.path.string()));
  }
  if (arguments.blind) make_blind(run);
  analysis::NightResult result = analysed(arguments, night, apparatus);
  hide_or_open(arguments, run, result);
  keep_apparatus(arguments, run);
  const ResultSource source{run, night, apparatus, result};
  write_whole_file(run.result_json(), result_json(source));
  const std::string text = result_text(source);
  write_whole_file(run.result_txt(), text);
  write_show(arguments, source);
  use(source, text);
}

void analyse_one(const AnalyseArguments& arguments) {
  const RunFolder run = open_run_folder(arguments.runs.front());
  analyse_run(arguments, run, [&](const ResultSource&, const std::string& text) {
    if (!arguments.quiet) fmt::print("{}\n", text);
  });
  fmt::print("written: {}, {}, {}, {}\n",
             run.report().string(),
             run.result_txt().string(),
             run.result_json().string(),
             run.plots().string());
}

/// A night that cannot be analysed stands in the comparison with the reason.
NightBeside analysed_beside(const AnalyseArguments& arguments, const std::string& path) {
  try {
    const RunFolder run = open_run_folder(path);
    std::optional<NightBeside> night;
    analyse_run(arguments, run, [&](const ResultSource& source, const std::string&) {
      night = night_beside(source);
    });
    return *night;
  } catch (const InputError& error) {
    return {.run = path,
            .balance = {},
            .start = {},
            .end = {},
            .is_analysed = false,
            .status = error.what(),
            .g = {},
            .period_s = {},
            .shift_mm = {}};
  }
}

/// A night counted twice would seem to agree with itself and to halve its own uncertainty.
void check_all_different(const std::vector<std::string>& runs) {
  for (std::size_t k = 1; k < runs.size(); ++k) {
    for (std::size_t i = 0; i < k; ++i) {
      std::error_code not_there;
      if (!std::filesystem::equivalent(runs[i], runs[k], not_there)) continue;
      throw InputError(
          fmt::format("{} and {} are the same run folder: a night counts once; name it once",
                      runs[i],
                      runs[k]));
    }
  }
}

void check_not_blind(const AnalyseArguments& arguments) {
  for (const std::string& path : arguments.runs) {
    if (!arguments.blind && (arguments.open || !read_blind_factor(RunFolder{path}))) continue;
    throw InputError(
        fmt::format("{}: a blind night cannot be combined, each has another hidden factor; leave "
                    "it out, or open it with 'nightswing analyse {} --open'",
                    path,
                    shell_word(path)));
  }
}

void write_together(const RunFolder& folder,
                    const NightsTogether& together,
                    const std::string& text) {
  make_folder(folder.path);
  const auto figures = nights_figures(together);
  write_whole_file(folder.path / kNightsJson, nights_json(together));
  write_whole_file(folder.path / "nights.txt", text);
  write_whole_file(folder.path / "nights.html", nights_page(together, figures));
  write_plots(folder, figures);
}

/// `runs/*` names the folder of an earlier comparison too.
bool is_comparison(const std::string& path) {
  return std::filesystem::exists(std::filesystem::path(path) / kNightsJson) &&
         !std::filesystem::exists(RunFolder{path}.run_yaml());
}

void analyse_several(AnalyseArguments arguments) {
  if (!arguments.sides.empty()) {
    throw UsageError(
        "--side belongs to one night; mark the sides of several with 'nightswing mark'");
  }
  std::erase_if(arguments.runs, is_comparison);
  if (arguments.runs.empty()) {
    throw InputError(
        "only comparisons of earlier analyses are named, and no run; name the run folders, such as "
        "runs/*");
  }
  if (arguments.runs.size() == 1) return analyse_one(arguments);
  check_all_different(arguments.runs);
  check_not_blind(arguments);
  for (const std::string& path : arguments.runs) {
    if (!std::filesystem::exists(path)) throw InputError(fmt::format("there is no {}", path));
  }
  std::vector<NightBeside> nights;
  for (const std::string& path : arguments.runs) {
    nights.push_back(analysed_beside(arguments, path));
    if (!nights.back().is_analysed) {
      say(stderr, fmt::format("not analysed: {}: {}\n", path, nights.back().status));
    } else if (!arguments.quiet) {
      fmt::print("analysed: {}\n", path);
    }
  }
  const NightsTogether together = nights_together(std::move(nights));
  const std::filesystem::path beside =
      std::filesystem::path(arguments.runs.front()).lexically_normal() / "..";
  const RunFolder folder{arguments.together.empty() ? (beside / "together").lexically_normal()
                                                    : std::filesystem::path(arguments.together)};
  const std::string text = nights_text(together);
  write_together(folder, together, text);
  if (!arguments.quiet) fmt::print("\n{}\n", text);
  fmt::print("written: {}\n", (folder.path / "nights.{html,txt,json}").string());
  const bool all_analysed = std::ranges::all_of(together.nights, &NightBeside::is_analysed);
  if (!together.combined && !all_analysed) {
    throw InputError("no G of several nights: fewer than two of them give one");
  }
}

void analyse(const AnalyseArguments& arguments) {
  if (arguments.runs.size() == 1) {
    analyse_one(arguments);
  } else {
    analyse_several(arguments);
  }
}

}  // namespace

void add_analyse_command(CLI::App& app) {
  auto arguments = std::make_shared<AnalyseArguments>();
  CLI::App* command =
      app.add_subcommand("analyse", "equilibria, period, G and its uncertainty from a run");
  command
      ->add_option("runs",
                   arguments->runs,
                   "the run folder; several are analysed one by one and combined into one G")
      ->required();
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
  command->add_option("--together",
                      arguments->together,
                      "folder for the comparison of several nights (default: together, beside the "
                      "first run)");
  command->add_flag("--quiet", arguments->quiet, "write the files, print only their names");
  command->footer(
      "Example: nightswing analyse runs/night --apparatus my_balance.yaml\n"
      "         nightswing analyse runs/night --side plus@0s --side minus@2h5m\n"
      "         nightswing analyse runs/*\n"
      "Next:    open runs/night/report.html, or make a film: nightswing film runs/night");
  command->callback([arguments] { analyse(*arguments); });
}

}  // namespace nightswing::tracker
