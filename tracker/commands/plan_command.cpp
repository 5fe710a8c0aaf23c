#include <memory>
#include <string>

#include <fmt/format.h>

#include "analysis/apparatus/apparatus_file.h"
#include "analysis/quantities/quantity.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/commands/commands.h"
#include "tracker/commands/plan_text.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

struct PlanArguments {
  std::string apparatus;
  std::string target = "1%";
  std::string noise = fmt::format("{} mm", analysis::PlanOptions{}.noise_mm);
  std::string scale = fmt::format("{} mm", analysis::PlanOptions{}.mm_per_px);
  double quality = analysis::PlanOptions{}.quality;
};

double positive_mm(const std::string& option, const std::string& text) {
  try {
    const double value_mm =
        1e3 * analysis::parse_quantity(text, analysis::Dimension::kLength).value;
    if (value_mm > 0.0) return value_mm;
  } catch (const analysis::QuantityError& error) {
    throw UsageError(fmt::format("{} {}", option, error.what()));
  }
  throw UsageError(fmt::format("{} must be above zero, but is '{}'", option, text));
}

void plan(const PlanArguments& arguments) {
  if (!(arguments.quality > 0.5)) {
    throw UsageError("--quality must be above 0.5: a balance with less does not swing at all");
  }
  const analysis::PlanOptions options{.quality = arguments.quality,
                                      .mm_per_px = positive_mm("--mm-per-px", arguments.scale),
                                      .noise_mm = positive_mm("--noise", arguments.noise)};
  const double target = target_share(arguments.target);
  const analysis::Apparatus apparatus = analysis::read_apparatus_file(arguments.apparatus);
  fmt::print("{}", plan_text(apparatus, options, target));
}

}  // namespace

void add_plan_command(CLI::App& app) {
  auto arguments = std::make_shared<PlanArguments>();
  CLI::App* command = app.add_subcommand(
      "plan", "what a balance will do before it is built: period, shift, budget, hours");
  command->add_option("apparatus", arguments->apparatus, "the file that describes the balance")
      ->required();
  command->add_option(
      "--target", arguments->target, "wanted standard uncertainty of G (default 1%)");
  command->add_option(
      "--noise",
      arguments->noise,
      fmt::format("standard uncertainty of the shift after an hour of watching (default {})",
                  arguments->noise));
  command->add_option(
      "--mm-per-px",
      arguments->scale,
      fmt::format("what a pixel of the camera sees of the wall (default {})", arguments->scale));
  command->add_option(
      "--quality",
      arguments->quality,
      fmt::format("quality factor that air will give the swing (default {})", arguments->quality));
  command->footer(
      "Example: nightswing plan configs/basement.yaml --target 1%\n"
      "Next:    build it, print a scale: nightswing scale -o scale.pdf, and watch a night");
  command->callback([arguments] { plan(*arguments); });
}

}  // namespace nightswing::tracker
