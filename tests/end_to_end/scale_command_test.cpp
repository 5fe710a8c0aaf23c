// The printed scale as a user makes it, seen through programs that share nothing with what drew it:
// poppler's pdfinfo and pdftoppm, librsvg's rsvg-convert.
#include <algorithm>
#include <string>
#include <vector>

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>

#include "calibration/map/wall_map.h"
#include "calibration/scale/scale_reader.h"
#include "tests/end_to_end/run_fixture.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/line_file.h"

using namespace nightswing::test;
namespace calibration = nightswing::calibration;

namespace {

constexpr double kDpi = 200.0;

cv::Mat picture_made_by(const std::string& command, const std::filesystem::path& file) {
  const auto made = run_command(command);
  REQUIRE_MESSAGE(made.status == 0, made.errors);
  cv::Mat picture = cv::imread(file.string(), cv::IMREAD_GRAYSCALE);
  REQUIRE_FALSE(picture.empty());
  return picture;
}

/// A page of the file at 200 dpi, as poppler draws it.
cv::Mat pdf_page(const TemporaryFolder& folder, const std::string& name, int page) {
  const auto stem = folder / fmt::format("{}-{}", name, page);
  return picture_made_by(fmt::format("pdftoppm -r {0} -f {1} -l {1} -gray -singlefile {2} {3}",
                                     kDpi,
                                     page,
                                     (folder / name).string(),
                                     stem.string()),
                         stem.string() + ".pgm");
}

/// The picture shows the columns of the scale from the first one on, in true size at 200 dpi.
void check_true_size(const cv::Mat& picture, int first_column, int columns) {
  const auto reading = calibration::read_printed_scale(picture);
  REQUIRE_MESSAGE(reading.status == calibration::ScaleStatus::kRead, reading.message);
  CHECK(reading.ids_rejected.empty());
  REQUIRE(reading.ids_seen.size() == static_cast<std::size_t>(2 * columns));
  CHECK(reading.ids_seen.front() == 2 * first_column);
  CHECK(reading.ids_seen.back() == 2 * (first_column + columns) - 1);
  const auto fit = calibration::fit_plane_map(reading.points);
  REQUIRE(fit.status == calibration::MapStatus::kFitted);
  // 0.02 mm: a sixth of a pixel; poppler's way of smoothing edges leaves 0.013 mm at 200 dpi.
  const calibration::PixelPoint middle{picture.cols / 2.0, picture.rows / 2.0};
  const calibration::PixelPoint right{middle.x_px + 100.0 / 25.4 * kDpi, middle.y_px};
  const auto from = calibration::wall_from_pixel(fit.map, middle);
  const auto to = calibration::wall_from_pixel(fit.map, right);
  CHECK(to.x_mm - from.x_mm == within_abs(100.0, 0.02));
  CHECK(to.y_mm - from.y_mm == within_abs(0.0, 0.02));  // not turned
}

/// One line; exit status 2 where the words themselves are wrong.
void check_scale_refused(const std::string& arguments,
                         const std::string& expected,
                         int status = 2) {
  const auto result = nightswing_command("scale " + arguments);
  CHECK(result.status == status);
  CHECK(result.errors == "nightswing: " + expected + "\n");
  CHECK(std::ranges::count(result.errors, '\n') == 1);
}

}  // namespace

TEST_SUITE("scale command") {
  TEST_CASE("a PDF has sheets of the size asked for, with the scale in true size") {
    struct Sheet {
      std::string options;
      std::string size_pt;  // 72 points an inch; A4 210 x 297 mm (ISO 216), Letter 8.5 x 11 in
      int columns_a_page;
      int pages;  // for 480 mm
    };
    const std::vector<Sheet> sheets{
        {"", "841.89 x 595.276 pts (A4)", 6, 2},
        {"--paper letter", "792 x 612 pts (letter)", 6, 2},
        {"--orientation portrait", "595.276 x 841.89 pts (A4)", 4, 3},
        {"--orientation portrait --paper letter", "612 x 792 pts (letter)", 4, 3}};
    for (const Sheet& sheet : sheets) {
      CAPTURE(sheet.options);
      const TemporaryFolder folder;
      const std::string file = (folder / "scale.pdf").string();
      const auto drawn =
          nightswing_command("scale -o " + file + " --length 480mm " + sheet.options);
      REQUIRE_MESSAGE(drawn.status == 0, drawn.errors);
      CHECK(drawn.output.find("written to " + file) != std::string::npos);
      CHECK(drawn.output.find("0 to 480 mm") != std::string::npos);
      const auto facts = run_command("pdfinfo " + file);
      REQUIRE_MESSAGE(facts.status == 0, facts.errors);
      CHECK(facts.output.find(sheet.size_pt) != std::string::npos);
      CHECK(facts.output.find(fmt::format("Pages:           {}\n", sheet.pages)) !=
            std::string::npos);
      CHECK(facts.output.find("CreationDate") == std::string::npos);
      for (int page = 1; page <= sheet.pages; ++page) {
        check_true_size(pdf_page(folder, "scale.pdf", page),
                        (page - 1) * sheet.columns_a_page,
                        sheet.columns_a_page);
      }
    }
  }

  TEST_CASE("a page says in words what it is and what to do with it") {
    const TemporaryFolder folder;
    const std::string file = (folder / "scale.pdf").string();
    REQUIRE(nightswing_command("scale -o " + file + " --length 300mm").status == 0);
    const auto text = run_command("pdftotext -layout " + file + " -");
    REQUIRE_MESSAGE(text.status == 0, text.errors);
    for (const char* words : {"nightswing scale, page 1 of 2, 0 to 240 mm",
                              "nightswing scale, page 2 of 2, 240 to 480 mm",
                              "100 %",
                              "numbers growing to the right",
                              "This bar must measure 200 mm",
                              "--bar \"199.4(2) mm\"",
                              "Never look into the beam"}) {
      CAPTURE(words);
      CHECK(text.output.find(words) != std::string::npos);
    }
  }

  TEST_CASE("an SVG is one file a page, with its size in points") {
    const TemporaryFolder folder;
    const std::string out = (folder / "scale.svg").string();
    REQUIRE(nightswing_command("scale -o " + out).status == 0);
    REQUIRE(nightswing_command("scale -o " + out + " --length 48cm").status == 0);
    for (const char* name : {"scale.svg", "scale-1.svg", "scale-2.svg"}) {
      CAPTURE(name);
      const auto svg = folder / name;
      const std::string text = nightswing::tracker::read_whole_file(svg);
      CHECK(text.find("width=\"841.889764pt\" height=\"595.275591pt\"") != std::string::npos);
      const auto png = folder / (std::string(name) + ".png");
      // The size that rsvg-convert itself takes the file to have at 200 dpi, on white.
      const cv::Mat picture = picture_made_by(fmt::format("rsvg-convert -d {0} -p {0} -b white {1} "
                                                          "-o {2}",
                                                          kDpi,
                                                          svg.string(),
                                                          png.string()),
                                              png);
      check_true_size(picture, name == std::string("scale-2.svg") ? 6 : 0, 6);
    }
    CHECK_FALSE(std::filesystem::exists(folder / "scale-3.svg"));
  }

  TEST_CASE("the same wish gives the same bytes") {
    const TemporaryFolder folder;
    for (const char* name : {"a.pdf", "b.pdf", "a.svg", "b.svg"}) {
      REQUIRE(nightswing_command("scale -o " + (folder / name).string()).status == 0);
    }
    const auto bytes = [&](const char* name) {
      return nightswing::tracker::read_whole_file(folder / name);
    };
    CHECK(bytes("a.pdf") == bytes("b.pdf"));
    CHECK(bytes("a.svg") == bytes("b.svg"));
  }

  TEST_CASE("what cannot be drawn is refused in one sentence") {
    check_scale_refused(
        "-o scale.png",
        "'scale.png' ends neither in .pdf nor in .svg, so its format is not known; write "
        "for example -o scale.pdf");
    check_scale_refused("-o /nonexistent/scale.pdf",
                        "cannot write /nonexistent/scale.pdf: No such file or directory",
                        1);
    for (const char* length : {"0mm", "-240mm", "2000.1mm"}) {
      check_scale_refused(
          fmt::format("-o scale.pdf --length {}", length),
          fmt::format("--length '{}' is not above zero and at most 2000 mm, for which "
                      "the scale has markers; write for example --length 480mm",
                      length));
    }
    check_scale_refused(
        "-o scale.pdf --length 5kg",
        "--length is a length, but '5kg' is a mass; write for example --length 480mm");
    CHECK(nightswing_command("scale").status == 2);
    CHECK(nightswing_command("scale -o scale.pdf --paper a5").status == 2);
    const auto help = nightswing_command("scale --help");
    CHECK(help.status == 0);
    CHECK(help.output.find("Example: nightswing scale -o scale.pdf") != std::string::npos);
    CHECK(help.output.find("scale-1.svg") != std::string::npos);
  }
}
