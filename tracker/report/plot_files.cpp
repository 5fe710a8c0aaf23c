#include "tracker/report/plot_files.h"

#include <fmt/format.h>

#include "analysis/input_error.h"
#include "tracker/line_file.h"

namespace nightswing::tracker {

void write_plots(const RunFolder& run, std::span<const Figure> figures) {
  std::error_code failed;
  std::filesystem::create_directories(run.plots(), failed);
  if (failed) {
    throw InputError(
        fmt::format("cannot make the folder {}: {}", run.plots().string(), failed.message()));
  }
  for (const Figure& figure : figures) {
    const auto file = [&](const char* ending) { return run.plots() / (figure.name + ending); };
    write_whole_file(file(".svg"), svg_text(figure, light_palette()));
    write_whole_file(file(".png"), png_bytes(figure, light_palette()));
    write_whole_file(file(".pdf"), pdf_bytes(figure, light_palette()));
    if (!figure.csv.empty()) write_whole_file(file(".csv"), figure.csv);
  }
}

}  // namespace nightswing::tracker
