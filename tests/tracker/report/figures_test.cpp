#include <algorithm>
#include <cmath>
#include <filesystem>
#include <numbers>
#include <sstream>

#include <doctest/doctest.h>
#include <opencv2/imgcodecs.hpp>

#include "tests/support/near.h"
#include "tests/support/shown_example.h"
#include "tests/support/temporary_folder.h"
#include "tracker/report/axes.h"
#include "tracker/report/figures.h"
#include "tracker/report/path_in_picture.h"
#include "tracker/report/plot_files.h"
#include "tracker/report/residual_statistics.h"
#include "tracker/run/csv_text.h"
#include "tracker/run/line_file.h"

using namespace nightswing::test;
using namespace nightswing::tracker;

TEST_SUITE("axes") {
  TEST_CASE("every colour that texts have can be read on every ground") {
    // WCAG 2.2, relative luminance and contrast ratio; 4.5 for small text (criterion 1.4.3).
    const auto luminance = [](const Colour& c) {
      const auto linear = [](double v) {
        return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
      };
      return 0.2126 * linear(c.red) + 0.7152 * linear(c.green) + 0.0722 * linear(c.blue);
    };
    for (const Palette* palette : {&light_palette(), &dark_palette()}) {
      for (const Colour& ground : {palette->paper, palette->plus_band, palette->minus_band}) {
        for (const Colour& text : {palette->ink, palette->faint, palette->plus, palette->minus}) {
          const double one = luminance(ground) + 0.05;
          const double other = luminance(text) + 0.05;
          CHECK(std::max(one, other) / std::min(one, other) >= 4.5);
        }
      }
    }
  }

  TEST_CASE("ticks are round numbers inside the range") {
    const auto ticks = round_ticks({-0.31, 1.02}, 5);
    REQUIRE(ticks.size() == 3);
    CHECK(ticks[0] == within_abs(0.0, 1e-12));
    CHECK(ticks[1] == within_abs(0.5, 1e-12));
    CHECK(ticks[2] == within_abs(1.0, 1e-12));
    CHECK(round_ticks({0.0, 4.2}, 10).size() == 9);  // 0, 0.5, ... 4
  }

  TEST_CASE("there are always two ticks, so that each has the decimals of its step") {
    // In steps of 0.5 only 6.5 would lie inside, and be written as 6.
    const auto ticks = round_ticks({6.02, 6.87}, 3);
    REQUIRE(ticks.size() >= 2);
    CHECK(tick_text(ticks[1], ticks[1] - ticks[0]) == "6.4");
  }

  TEST_CASE("what the decimals cannot show is said to be less, but nothing is 0") {
    CHECK(small_text(94.12, 1) == "94.1");
    CHECK(small_text(0.05, 1) == "0.1");
    CHECK(small_text(0.0004, 1) == "<0.1");
    CHECK(small_text(0.0, 1) == "0");
  }

  TEST_CASE("numbers have the decimals of their step and a true minus sign") {
    CHECK(tick_text(-0.25, 0.05) == "\u22120.25");
    CHECK(tick_text(150.0, 50.0) == "150");
    CHECK(tick_text(-1e-17, 0.5) == "0.0");
  }

  TEST_CASE("values are placed from left to right and upwards") {
    const Axes axes({10.0, 20.0, 100.0, 50.0}, {0.0, 10.0}, {-1.0, 1.0});
    CHECK(axes.at(5.0, 0.0).x_pt == within_abs(60.0, 1e-12));
    CHECK(axes.at(5.0, 1.0).y_pt == within_abs(20.0, 1e-12));
    CHECK(axes.at(5.0, -1.0).y_pt == within_abs(70.0, 1e-12));
  }

  TEST_CASE("a thinned curve keeps the highest and the lowest point of each column") {
    std::vector<PaperPoint> points(1000, {0.0, 0.0});
    for (std::size_t k = 0; k < points.size(); ++k) points[k].x_pt = 0.001 * static_cast<double>(k);
    points[437].y_pt = 99.0;
    points[438].y_pt = -99.0;
    const auto thin = thinned_for_paper(points, 0.5);
    CHECK(thin.size() <= 4);
    CHECK(std::ranges::any_of(thin, [](const PaperPoint& p) { return p.y_pt == 99.0; }));
    CHECK(std::ranges::any_of(thin, [](const PaperPoint& p) { return p.y_pt == -99.0; }));
  }
}

TEST_SUITE("residual statistics") {
  TEST_CASE("residuals that alternate are anticorrelated at odd steps, correlated at even ones") {
    const auto correlation = residual_autocorrelation(shown_example());
    REQUIRE(correlation.size() == 241);  // two periods of 600 s in steps of 5 s, and lag 0
    for (std::size_t k = 0; k < correlation.size(); ++k) {
      CHECK(correlation[k].lag_s == within_abs(5.0 * static_cast<double>(k), 1e-9));
      // exact for this series: each product is +-sigma^2
      CHECK(correlation[k].correlation == within_abs(k % 2 == 0 ? 1.0 : -1.0, 1e-9));
    }
  }

  TEST_CASE("the distribution counts every residual, and so does the normal one") {
    const auto bins = residual_distribution(shown_example());
    long count = 0;
    double normal = 0.0;
    for (const auto& bin : bins) {
      count += bin.count;
      normal += bin.normal_count;
    }
    CHECK(count == 1440);
    CHECK(normal == within_rel(1440.0, 1e-9));
    // 38.29 % of a normal distribution lie within half a standard deviation: tables of erf
    CHECK(bins[8].normal_count + bins[9].normal_count == within_rel(0.3829249225 * 1440.0, 1e-8));
  }

  TEST_CASE("the normal curve is smooth and goes through the middle of every inner bar") {
    const auto bins = residual_distribution(shown_example());
    const auto curve = normal_curve(bins);
    REQUIRE(curve.size() == 20 * bins.size() + 1);
    for (std::size_t k = 1; k + 1 < bins.size(); ++k) {
      CHECK(curve[20 * k + 10].residual_mm ==
            within_abs(0.5 * (bins[k].from_mm + bins[k].to_mm), 1e-12));
      CHECK(curve[20 * k + 10].readings == within_rel(bins[k].normal_count, 1e-9));
    }
    double most = 0.0;  // of a corner: the density turns by at most its second derivative
    for (std::size_t k = 1; k + 1 < curve.size(); ++k) {
      most = std::max(
          most, std::abs(curve[k - 1].readings - 2.0 * curve[k].readings + curve[k + 1].readings));
    }
    CHECK(most < 1e-3 * curve[curve.size() / 2].readings);  // (1/40 sigma)^2 = 6e-4 at the top
  }

  TEST_CASE("the folded swing of a damped cosine is one cosine, for both sides") {
    const auto folded = folded_swing(shown_example());
    REQUIRE(folded.size() == 1440);
    for (const auto& reading : folded) {
      // 0.02 mm of residual over the smallest amplitude of 19 mm, and what it does to the phase
      CHECK(reading.relative == within_abs(std::cos(2.0 * std::numbers::pi * reading.phase), 2e-3));
    }
  }

  TEST_CASE("the drift of each period lies on the fitted line when the residuals average out") {
    const auto points = drift_points(shown_example());
    REQUIRE(points.size() == 12);
    for (const auto& point : points) {
      CHECK(point.offset_mm == within_abs(point.fitted_mm, 1e-9));
      CHECK(point.fitted_mm == within_abs(0.36 * (point.t_s - 3600.0) / 3600.0, 1e-9));
    }
  }

  TEST_CASE("a night without a swing has no statistics") {
    ShownNight night = shown_example();
    night.period_s = 0.0;
    for (auto& sample : night.samples) sample.residual_mm.reset();
    CHECK(residual_autocorrelation(night).empty());
    CHECK(residual_distribution(night).empty());
    CHECK(folded_swing(night).empty());
    CHECK(drift_points(night).empty());
    CHECK(swing_figures(night).size() == 1);  // the night itself
  }
}

TEST_SUITE("path in picture") {
  TEST_CASE("readings are found in a picture taken from the side, beyond the travel too") {
    const auto pixel_of = [](double x_mm) {  // a projective map of a line
      const double w = 1.0 + 2e-4 * x_mm;
      return nightswing::calibration::PixelPoint{(50.0 + 2.9 * x_mm) / w, (400.0 + 0.2 * x_mm) / w};
    };
    std::vector<ShownSample> samples;
    for (int k = 0; k <= 100; ++k) {
      const double x_mm = 150.0 + 2.0 * k;
      samples.push_back({.t_s = 5.0 * k,
                         .x_mm = x_mm,
                         .u_mm = 0.02,
                         .residual_mm = {},
                         .left_out = false,
                         .pixel = pixel_of(x_mm)});
    }
    const auto path = PathInPicture::of(samples);
    REQUIRE(path);
    for (const double x_mm : {100.0, 150.0, 263.7, 350.0, 420.0}) {
      // exact data, a linear fit: only rounding is left
      CHECK(path->at(x_mm).x_px == within_abs(pixel_of(x_mm).x_px, 1e-6));
      CHECK(path->at(x_mm).y_px == within_abs(pixel_of(x_mm).y_px, 1e-6));
    }
    CHECK(path->direction(250.0).x_px > 0.99);
  }

  TEST_CASE("a spot that stays where it is has no path") {
    std::vector<ShownSample> samples(50, shown_example().samples.front());
    CHECK_FALSE(PathInPicture::of(samples));
  }
}

namespace {

int pixels_like(const std::string& png, const Colour& colour) {
  const std::vector<unsigned char> bytes(png.begin(), png.end());
  const cv::Mat picture = cv::imdecode(bytes, cv::IMREAD_COLOR);
  const cv::Scalar bgr(255.0 * colour.blue, 255.0 * colour.green, 255.0 * colour.red);
  cv::Mat same;
  cv::inRange(picture, bgr - cv::Scalar::all(2), bgr + cv::Scalar::all(2), same);
  return cv::countNonZero(same);
}

}  // namespace

TEST_SUITE("figures") {
  TEST_CASE("a dot is drawn where it belongs, in its colour") {
    const Figure figure{.name = "dot",
                        .title = "",
                        .alt = "",
                        .width_pt = 72.0,
                        .height_pt = 36.0,
                        .csv = "",
                        .draw = [](Canvas& canvas) {
                          canvas.marker({18.0, 9.0}, {MarkerShape::kSquare, 6.0, {0.0, 0.0, 1.0}});
                        }};
    const std::string bytes = png_bytes(figure, light_palette());
    const cv::Mat picture =
        cv::imdecode(std::vector<unsigned char>(bytes.begin(), bytes.end()), cv::IMREAD_COLOR);
    REQUIRE(picture.cols == 150);  // one inch at 150 dots per inch
    REQUIRE(picture.rows == 75);
    CHECK(picture.at<cv::Vec3b>(18, 37) == cv::Vec3b(255, 0, 0));
    CHECK(picture.at<cv::Vec3b>(40, 37) == cv::Vec3b(255, 255, 255));
    CHECK(picture.at<cv::Vec3b>(18, 60) == cv::Vec3b(255, 255, 255));
  }

  TEST_CASE("every figure comes as SVG, PNG, PDF and CSV, and says what it shows") {
    const TemporaryFolder folder;
    const RunFolder run{folder.path()};
    const ShownNight night = shown_example();
    const cv::Mat wall(720, 1280, CV_8UC3, cv::Scalar(40, 60, 80));
    const auto figures = all_figures(night, wall);
    REQUIRE(figures.size() == 11);
    write_plots(run, figures);
    for (const Figure& figure : figures) {
      CAPTURE(figure.name);
      CHECK(figure.title.size() > 5);
      CHECK(figure.alt.size() > 20);
      const auto file = [&](const char* ending) {
        return read_whole_file(run.plots() / (figure.name + ending));
      };
      const std::string svg = file(".svg");
      CHECK(svg.starts_with("<?xml"));
      CHECK(svg.find("</svg>") != std::string::npos);
      for (const char* outside : {"href=\"http", "href=\"file", "url(http"}) {
        CHECK(svg.find(outside) == std::string::npos);
      }
      CHECK(file(".png").substr(1, 3) == "PNG");
      CHECK(file(".pdf").starts_with("%PDF"));
      std::istringstream csv(file(".csv"));
      std::string line;
      std::getline(csv, line);
      const auto columns = split_csv(line);
      REQUIRE(columns);
      int rows = 0;
      for (; std::getline(csv, line); ++rows) {
        const auto fields = split_csv(line);
        REQUIRE(fields);
        CHECK(fields->size() == columns->size());
      }
      CHECK(rows > 0);
    }
  }

  TEST_CASE("figures of an earlier analysis go when the later one has none, other files stay") {
    const TemporaryFolder folder;
    const RunFolder run{folder.path()};
    ShownNight night = shown_example();
    write_plots(run, all_figures(night, {}));
    write_text(run.plots() / "mine.csv", "kept");
    REQUIRE(std::filesystem::exists(run.plots() / "budget.svg"));
    for (const Figure& figure : all_figures(night, {})) {
      CHECK(std::ranges::find(figure_names(), figure.name) != figure_names().end());
    }
    night.comparison.reset();  // a blind analysis
    write_plots(run, all_figures(night, {}));
    CHECK_FALSE(std::filesystem::exists(run.plots() / "comparison.svg"));
    CHECK(std::filesystem::exists(run.plots() / "budget.svg"));
    night.budget.clear();  // no G
    night.corrections.clear();
    write_plots(run, all_figures(night, {}));
    CHECK_FALSE(std::filesystem::exists(run.plots() / "budget.svg"));
    CHECK_FALSE(std::filesystem::exists(run.plots() / "budget.csv"));
    CHECK(std::filesystem::exists(run.plots() / "night.svg"));
    CHECK(std::filesystem::exists(run.plots() / "mine.csv"));
  }

  TEST_CASE(
      "a segment with the sources away has a colour of its own, and none of the folded swing") {
    ShownNight night = shown_example();
    const auto both = folded_swing(night);
    night.segments[1].side = "away";
    const std::string bytes = png_bytes(swing_figures(night).at(1), light_palette());
    CHECK(pixels_like(bytes, light_palette().faint) > 100);
    CHECK(pixels_like(bytes, light_palette().minus) == 0);
    CHECK(folded_swing(night).size() == both.size() / 2);  // both segments have 720 readings
  }

  TEST_CASE("the rings around readings that were left out are explained, where there are any") {
    ShownNight night = shown_example();
    CHECK(swing_figures(night).front().title.find("rings") == std::string::npos);
    night.samples[100].left_out = night.samples[200].left_out = true;
    CHECK(swing_figures(night).front().title.ends_with(
        "; black rings: 2 readings left out, as they stand out from those around"));
  }

  TEST_CASE("the folded swing shows both sides, neither hidden by the other") {
    const auto figures = swing_figures(shown_example());
    const auto folded = std::ranges::find(figures, "folded_swing", &Figure::name);
    REQUIRE(folded != figures.end());
    const std::string bytes = png_bytes(*folded, light_palette());
    const int plus = pixels_like(bytes, light_palette().plus);
    const int minus = pixels_like(bytes, light_palette().minus);
    CHECK(plus > 500);  // a curve some 200 pt long and 1.8 pt wide at 150 dots per inch
    CHECK(minus > 500);
    CHECK(plus < 2 * minus);
    CHECK(minus < 2 * plus);
  }

  TEST_CASE("both sides are drawn in both palettes") {
    const ShownNight night = shown_example();
    for (const Palette* palette : {&light_palette(), &dark_palette()}) {
      const std::string bytes = png_bytes(swing_figures(night).at(1), *palette);
      for (const Colour& colour : {palette->plus, palette->minus}) {
        CHECK(pixels_like(bytes, colour) > 100);  // hundreds of dots of several pixels each
      }
    }
  }
}
