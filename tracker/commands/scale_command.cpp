#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include "analysis/quantities/quantity.h"
#include "calibration/scale/scale_drawing.h"
#include "tracker/commands/commands.h"
#include "tracker/run/line_file.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

struct ScaleArguments {
  std::string out;
  std::string length;
  std::string paper = "a4";
  std::string orientation = "landscape";
};

double length_mm_from(const std::string& text) {
  double length_mm = 0.0;
  try {
    length_mm = 1000.0 * analysis::parse_quantity(text, analysis::Dimension::kLength).value;
  } catch (const analysis::QuantityError& error) {
    throw UsageError(fmt::format("--length {}; write for example --length 480mm", error.what()));
  }
  if (length_mm > 0.0 && length_mm <= calibration::kLongestScale_mm) return length_mm;
  throw UsageError(
      fmt::format("--length '{}' is not above zero and at most {} mm, for which the "
                  "scale has markers; write for example --length 480mm",
                  text,
                  calibration::kLongestScale_mm));
}

calibration::ScaleDrawingOptions drawing_options(const ScaleArguments& arguments) {
  calibration::ScaleDrawingOptions options;
  if (arguments.paper == "letter") options.paper = calibration::Paper::kLetter;
  if (arguments.orientation == "portrait") {
    options.orientation = calibration::Orientation::kPortrait;
  }
  if (!arguments.length.empty()) options.length_mm = length_mm_from(arguments.length);
  return options;
}

/// scale.svg, or scale-1.svg, scale-2.svg, ... if there is more than one.
std::filesystem::path name_of_page(const std::filesystem::path& out,
                                   std::size_t number,
                                   std::size_t pages) {
  if (pages == 1) return out;
  std::filesystem::path name = out;
  name.replace_filename(
      fmt::format("{}-{}{}", out.stem().string(), number, out.extension().string()));
  return name;
}

void write_page_file(const std::filesystem::path& file, const std::string& content) {
  write_whole_file(file, content);
  fmt::print("written to {}\n", file.string());
}

void draw(const ScaleArguments& arguments) {
  const std::filesystem::path out = arguments.out;
  const std::string ending = out.extension().string();
  if (ending != ".pdf" && ending != ".svg") {
    throw UsageError(fmt::format(
        "'{}' ends neither in .pdf nor in .svg, so its format is not known; write for example "
        "-o scale.pdf",
        arguments.out));
  }
  const auto options = drawing_options(arguments);
  const auto pages = calibration::scale_pages(options);
  if (ending == ".pdf") {
    write_page_file(out, calibration::scale_pdf(options));
  } else {
    const std::vector<std::string> svgs = calibration::scale_svgs(options);
    for (std::size_t i = 0; i < svgs.size(); ++i) {
      write_page_file(name_of_page(out, i + 1, svgs.size()), svgs[i]);
    }
  }
  fmt::print(
      "scale: 0 to {} mm on {} page{}; print at 100 % (\"actual size\") and measure the bar of {} "
      "mm\n",
      pages.back().to_mm,
      pages.size(),
      pages.size() == 1 ? "" : "s",
      pages.back().bar_mm);
}

}  // namespace

void add_scale_command(CLI::App& app) {
  auto arguments = std::make_shared<ScaleArguments>();
  CLI::App* command =
      app.add_subcommand("scale", "draw the scale to be printed and taped to the wall");
  command
      ->add_option("-o,--out",
                   arguments->out,
                   "the file to write, .pdf or .svg; an SVG holds one page, so that more pages "
                   "become scale-1.svg, scale-2.svg and so on")
      ->required();
  command->add_option("--length",
                      arguments->length,
                      "length of the scale, e.g. 480mm (at most 2000mm); filled up to whole pages, "
                      "which join to one scale (default: one page)");
  command->add_option("--paper", arguments->paper, "a4 (default) or letter")
      ->check(CLI::IsMember({"a4", "letter"}));
  command
      ->add_option("--orientation",
                   arguments->orientation,
                   "landscape (default; 240 mm of the scale a page) or portrait (160 mm)")
      ->check(CLI::IsMember({"landscape", "portrait"}));
  command->footer(
      "Example: nightswing scale -o scale.pdf\n"
      "         nightswing scale -o scale.pdf --length 480mm --paper letter\n"
      "Next:    print at 100 %, measure the bar below the scale, tape the scale to the wall so\n"
      "         that the spot runs through the blank lane, film a night, then\n"
      "         nightswing replay night.mp4 --frame-every 5s --run runs/night");
  command->callback([arguments] { draw(*arguments); });
}

}  // namespace nightswing::tracker
