#include "tracker/wall/wall_calibration.h"

#include <functional>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/calibration/ruler/rendered_ruler.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::InputError;
namespace calibration = nightswing::calibration;

namespace {

std::string error_text(const std::vector<std::string>& points) {
  try {
    static_cast<void>(map_from_points(points, 0.5, {1280, 720}));
  } catch (const InputError& error) {
    return error.what();
  }
  return "no error";
}

}  // namespace

TEST_SUITE("wall_calibration") {
  TEST_CASE("two readings of a ruler make a line map, units or not") {
    for (const auto& points : {std::vector<std::string>{"100,400=120mm", "1100,400=320mm"},
                               std::vector<std::string>{"100,400=120", "1100,400=32 cm"}}) {
      const auto map = map_from_points(points, 0.5, {1280, 720});
      CHECK(map.kind == calibration::MapKind::kLine);
      // 200 mm over 1000 px
      CHECK(calibration::wall_from_pixel(map, {600.0, 400.0}).x_mm == within_abs(220.0, 1e-9));
      CHECK(calibration::mm_per_px(map, {600.0, 400.0}) == within_abs(0.2, 1e-12));
    }
  }

  TEST_CASE("four places make a plane map") {
    const auto map = map_from_points(
        {"100,100=0,200mm", "1100,100=400,200", "100,600=0,0", "1100,600=400mm,0mm"},
        0.5,
        {1280, 720});
    CHECK(map.kind == calibration::MapKind::kPlane);
    CHECK(calibration::wall_from_pixel(map, {600.0, 350.0}).y_mm == within_abs(100.0, 1e-6));
  }

  TEST_CASE("points that cannot be read or make no map are named") {
    CHECK(error_text({"100,400"}).starts_with("--point 100,400: there is no '='; write"));
    CHECK(error_text({"100=5mm"}).starts_with("--point 100=5mm: the pixel has no comma"));
    CHECK(error_text({"a,b=5mm"}).starts_with("--point a,b=5mm: the pixel is not two numbers"));
    CHECK(error_text({"1,2=5kg"})
              .starts_with(
                  "--point 1,2=5kg: a place on the wall is a length, but '5kg' is a mass; write "));
    CHECK(error_text({"1,2=5mm", "3,4=5mm,6mm"}).starts_with("some --point give one reading"));
    CHECK(error_text({"1,2=5mm"}) != "no error");
    CHECK(error_text({"1,2=5mm", "1,2=9mm"}) != "no error");
  }

  TEST_CASE("a picture without scale says so with its name") {
    const cv::Mat empty_wall(720, 1280, CV_8UC3, cv::Scalar(40, 40, 40));
    std::string text = "no error";
    try {
      static_cast<void>(map_from_picture(empty_wall, "first.png"));
    } catch (const InputError& error) {
      text = error.what();
    }
    CHECK(text.starts_with("first.png: "));
    CHECK(text.find("Nor can an ordinary ruler be read: ") != std::string::npos);
  }

  TEST_CASE("a print of another size makes millimetres of another length") {
    const cv::Matx33d view =
        pixel_from_wall_matrix({.yaw_rad = 0.2, .pitch_rad = -0.15}, {1280, 720});
    const cv::Mat picture = render_scale(view, {});
    const auto travel_mm = [&](const ScaleInView& in_view) {
      const auto map = map_from_picture(picture, "first.png", in_view);
      return calibration::wall_from_pixel(map, {900.0, 330.0}).x_mm -
             calibration::wall_from_pixel(map, {400.0, 330.0}).x_mm;
    };
    const ScaleInView small{.bar_mm = parse_bar_mm("198.0(2) mm")};
    // The factor is 198 / 200 by definition; the two fits differ by their convergence.
    CHECK(travel_mm(small) / travel_mm({}) == within_abs(0.99, 1e-6));
    CHECK(map_from_picture(picture, "first.png", small).print_relative_u ==
          within_rel(0.2 / 198.0, 1e-12));
    CHECK(map_from_picture(picture, "first.png").print_relative_u == 0.0);
  }

  TEST_CASE("the bar belongs to the sheet: a landscape one is not taken for a portrait one") {
    const cv::Matx33d view =
        pixel_from_wall_matrix({.yaw_rad = 0.2, .pitch_rad = -0.15}, {1280, 720});
    const cv::Mat landscape = render_scale(view, {});  // six columns, none of them set off
    const auto text_of = [&](const cv::Mat& picture, const std::string& bar) -> std::string {
      try {
        return map_from_picture(picture, "first.png", {.bar_mm = parse_bar_mm(bar)}).note;
      } catch (const InputError& error) {
        return error.what();
      }
    };
    CHECK(text_of(landscape, "199.4(2) mm")
              .starts_with("the bar is taken for that of 200 mm, so the print is 0.30 % short"));
    // Printed at 80 %: as long as a portrait sheet's should be.
    CHECK(text_of(landscape, "160.0(2) mm")
              .starts_with("--bar: 160 mm is what the bar of a portrait sheet should measure"));
    // Its first four columns alone may be a portrait sheet.
    cv::Mat four = landscape.clone();
    const auto edge = project(view, {160.0, 25.0});
    four(cv::Rect(cvRound(edge.x_px), 0, four.cols - cvRound(edge.x_px), four.rows)).setTo(200);
    CHECK(text_of(four, "159.2(4) mm")
              .starts_with("the bar is taken for that of 160 mm, so the print is 0.50 % short"));
  }

  TEST_CASE("what was left out of the scale is told") {
    const cv::Matx33d view =
        pixel_from_wall_matrix({.yaw_rad = 0.2, .pitch_rad = -0.15}, {1280, 720});
    cv::Mat picture = render_scale(view, {});
    // Marker 2 stuck on 60 mm higher, in the blank lane.
    const auto place = [&view](calibration::WallPoint wall) {
      const auto pixel = project(view, wall);
      return cv::Point(cvRound(pixel.x_px), cvRound(pixel.y_px));
    };
    const cv::Rect from(place({45.0, -15.0}), place({75.0, -45.0}));
    const cv::Mat marker = picture(from).clone();
    picture(from).setTo(200);
    marker.copyTo(picture(cv::Rect(place({45.0, 45.0}), from.size())));
    CHECK(map_from_picture(picture, "first.png").note.find("marker 2 was left out") !=
          std::string::npos);
  }

  TEST_CASE("a bar that cannot be is refused") {
    const auto text_of = [](const std::string& bar) -> std::string {
      try {
        static_cast<void>(parse_bar_mm(bar));
      } catch (const InputError& error) {
        return error.what();
      }
      return "no error";
    };
    CHECK(text_of("199.4(2) mm") == "no error");
    CHECK(text_of("0.1994(2) m") == "no error");
    const std::string end =
        ", such as --bar '199.4(2) mm'; 200 mm, on a portrait sheet 160 mm, if the printer kept "
        "the size";
    CHECK(text_of("199.4 mm") ==
          "--bar '199.4 mm' lacks the uncertainty: write how well the bar was measured" + end);
    CHECK(text_of("180(1) mm").starts_with("--bar '180(1) mm' is more than the 5 % off"));
    for (const std::string bar : {"200(1) kg", "soon", "199.4"}) {
      CHECK(text_of(bar) == "--bar '" + bar +
                                "' is no length with its unit: write what the bar measures and how "
                                "well" +
                                end);
    }
  }

  TEST_CASE("without a printed scale an ordinary ruler is read, and what it took a division for") {
    RulerCamera camera;
    camera.pixel_from_wall = pixel_from_wall_matrix(
        {.yaw_rad = 0.15, .pitch_rad = -0.1, .aim = {120.0, 10.0}}, {1280, 720});
    const cv::Mat picture =
        render_wall({ruler_sheet(millimetre_ruler(3.0, 4.5, 6.0), {-20.0, 0.0})}, camera, {});
    const auto travel_mm = [&](const calibration::WallMap& map) {
      return calibration::wall_from_pixel(map, project(camera, {180.0, 20.0})).x_mm -
             calibration::wall_from_pixel(map, project(camera, {60.0, 20.0})).x_mm;
    };
    const auto map = map_from_picture(picture, "first.png");
    CHECK(map.kind == calibration::MapKind::kRuler);
    CHECK(map.note.find("one division taken to be 1 mm") != std::string::npos);
    CHECK(describe(map).starts_with("ruler map from "));
    // 0.1 % is what a ruler is asked for; this view is an easy one.
    CHECK(travel_mm(map) == within_rel(120.0, 1e-3));

    // A label at a tick: 50 mm on the wall is called 300 mm.
    const calibration::PixelPoint tick = project(camera, {50.0, 0.0});
    const ScaleInView labelled{.ruler = true,
                               .ruler_hint = calibration::RulerHint{project(camera, {0.0, 0.0}),
                                                                    project(camera, {200.0, 0.0})},
                               .ruler_labels = {{tick, 300.0}}};
    const auto absolute = map_from_picture(picture, "first.png", labelled);
    CHECK(calibration::wall_from_pixel(absolute, tick).x_mm == within_abs(300.0, 0.1));
    CHECK(travel_mm(absolute) == within_rel(120.0, 1e-3));
  }

  TEST_CASE("what the user says of a ruler is read, or its fault is named") {
    const auto hint = parse_ruler_hint("120,600:1180,640.5");
    REQUIRE(hint.has_value());
    CHECK(hint->from == calibration::PixelPoint{120.0, 600.0});
    CHECK(hint->to == calibration::PixelPoint{1180.0, 640.5});
    CHECK_FALSE(parse_ruler_hint("find").has_value());
    for (const char* wrong : {"", "120,600", "120:1180", "a,b:c,d", "5,5:5,5"}) {
      CHECK_THROWS_AS(static_cast<void>(parse_ruler_hint(wrong)), InputError);
    }
    CHECK(parse_ruler_label("412.5,388=12cm", {1280, 720}).reading_mm == within_abs(120.0, 1e-9));
    CHECK_THROWS_AS(static_cast<void>(parse_ruler_label("412.5,388=12,5", {1280, 720})),
                    InputError);
    CHECK_THROWS_AS(static_cast<void>(parse_ruler_label("1412.5,388=12cm", {1280, 720})),
                    InputError);
  }
}
