#include "tracker/report/plot_files.h"

#include <algorithm>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/report/figures.h"
#include "tracker/run/line_file.h"

namespace nightswing::tracker {

namespace {

constexpr const char* kEndings[] = {".svg", ".png", ".pdf", ".csv"};

/// Figures of an earlier analysis that this one does not have would tell of another result.
void remove_outdated(const RunFolder& run, std::span<const Figure> figures) {
  for (const std::string_view name : figure_names()) {
    if (std::ranges::find(figures, name, &Figure::name) != figures.end()) continue;
    for (const char* ending : kEndings) {
      std::error_code ignored;  // most are not there
      std::filesystem::remove(run.plots() / (std::string(name) + ending), ignored);
    }
  }
}

}  // namespace

void write_plots(const RunFolder& run, std::span<const Figure> figures) {
  make_folder(run.plots());
  remove_outdated(run, figures);
  for (const Figure& figure : figures) {
    const auto file = [&](const char* ending) { return run.plots() / (figure.name + ending); };
    write_whole_file(file(".svg"), svg_text(figure, light_palette()));
    write_whole_file(file(".png"), png_bytes(figure, light_palette()));
    write_whole_file(file(".pdf"), pdf_bytes(figure, light_palette()));
    if (!figure.csv.empty()) write_whole_file(file(".csv"), figure.csv);
  }
}

}  // namespace nightswing::tracker
