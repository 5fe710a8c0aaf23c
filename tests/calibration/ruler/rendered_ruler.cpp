#include "tests/calibration/ruler/rendered_ruler.h"

#include <algorithm>
#include <cmath>
#include <string>

#include <opencv2/imgproc.hpp>

#include "tests/calibration/scale/rendered_scale.h"

namespace nightswing::test {
namespace {

constexpr double kSheetPxPerMm = 20.0;
constexpr double kEndMm = 4.0;  // bare wood beyond the outer ticks
constexpr int kSamples = 8;     // along a pixel
constexpr int kBlurSteps = 4;   // blurred at so many steps a pixel

/// Share of the texel [texel, texel + 1) / px_per_mm that lies within [from, to] mm.
double share_within(int texel, double from_mm, double to_mm) {
  const double left = std::max(from_mm * kSheetPxPerMm, static_cast<double>(texel));
  const double right = std::min(to_mm * kSheetPxPerMm, texel + 1.0);
  return std::clamp(right - left, 0.0, 1.0);
}

/// Draws an upright stroke with exact edges: x in mm from the sheet's left, down from its top.
void draw_stroke(cv::Mat& sheet, double middle_mm, double line_mm, double down_mm, double ink_dn) {
  const double from_mm = middle_mm - line_mm / 2.0;
  const double to_mm = middle_mm + line_mm / 2.0;
  const int bottom = std::min(sheet.rows, cvRound(down_mm * kSheetPxPerMm));
  const int first = std::max(0, cvFloor(from_mm * kSheetPxPerMm));
  const int last = std::min(sheet.cols - 1, cvFloor(to_mm * kSheetPxPerMm));
  for (int x = first; x <= last; ++x) {
    const auto share = static_cast<float>(share_within(x, from_mm, to_mm));
    for (int y = 0; y < bottom; ++y) {
      float& value = sheet.at<float>(y, x);
      value += share * (static_cast<float>(ink_dn) - value);
    }
  }
}

void draw_text(cv::Mat& sheet,
               const std::string& text,
               cv::Point2d middle_mm,
               double height_mm,
               double ink_dn) {
  // The capitals of this font are about 22 px high at scale 1.
  const double size = height_mm * kSheetPxPerMm / 22.0;
  const int thickness = cvRound(0.35 * kSheetPxPerMm);
  int below = 0;
  const cv::Size box = cv::getTextSize(text, cv::FONT_HERSHEY_SIMPLEX, size, thickness, &below);
  cv::putText(sheet,
              text,
              {cvRound(middle_mm.x * kSheetPxPerMm) - box.width / 2,
               cvRound(middle_mm.y * kSheetPxPerMm) + box.height / 2},
              cv::FONT_HERSHEY_SIMPLEX,
              size,
              cv::Scalar(ink_dn),
              thickness);
}

cv::Mat blank(double width_mm, double height_mm, double ground_dn) {
  return {cvRound(height_mm * kSheetPxPerMm),
          cvRound(width_mm * kSheetPxPerMm),
          CV_32F,
          cv::Scalar(ground_dn)};
}

/// Where the lens shows an ideal place, relative to the middle, and back.
cv::Point2d through_lens(cv::Point2d ideal, const RulerCamera& camera) {
  const double r2 = ideal.dot(ideal) / (camera.focal_px * camera.focal_px);
  return ideal * (1.0 + camera.k1 * r2);
}

cv::Point2d before_lens(cv::Point2d seen, const RulerCamera& camera) {
  cv::Point2d ideal = seen;
  for (int round = 0; round < 8 && camera.k1 != 0.0; ++round) {
    const double r2 = ideal.dot(ideal) / (camera.focal_px * camera.focal_px);
    ideal = seen / (1.0 + camera.k1 * r2);
  }
  return ideal;
}

cv::Point2d middle_of(cv::Size size) {
  return {(size.width - 1) / 2.0, (size.height - 1) / 2.0};
}

/// Texels of a sheet from millimetres on the wall.
cv::Matx33d texel_from_wall(const Sheet& sheet) {
  const double c = std::cos(sheet.turn_rad) * sheet.px_per_mm;
  const double s = std::sin(sheet.turn_rad) * sheet.px_per_mm;
  const cv::Matx33d shift(
      1.0, 0.0, -sheet.corner.x_mm, 0.0, 1.0, -sheet.corner.y_mm, 0.0, 0.0, 1.0);
  // Right of the sheet is (cos, sin) on the wall, down is (sin, -cos); texel centres are whole.
  return cv::Matx33d(c, s, -0.5, s, -c, -0.5, 0.0, 0.0, 1.0) * shift;
}

/// The part of the picture that shows a sheet, with a margin.
cv::Rect seen_part(const Sheet& sheet, const RulerCamera& camera) {
  const cv::Matx33d wall_from_texel = texel_from_wall(sheet).inv();
  double left = 1e9;
  double right = -1e9;
  double top = 1e9;
  double bottom = -1e9;
  for (int i = 0; i <= 20; ++i) {
    for (int j = 0; j <= 4; ++j) {
      const cv::Vec3d wall =
          wall_from_texel *
          cv::Vec3d(sheet.picture.cols * i / 20.0, sheet.picture.rows * j / 4.0, 1.0);
      const auto p = project(camera, {wall[0], wall[1]});
      left = std::min(left, p.x_px);
      right = std::max(right, p.x_px);
      top = std::min(top, p.y_px);
      bottom = std::max(bottom, p.y_px);
    }
  }
  const cv::Rect whole(0, 0, camera.size.width, camera.size.height);
  const cv::Rect box(cvFloor(std::max(-50.0, left)) - 12,
                     cvFloor(std::max(-50.0, top)) - 12,
                     cvCeil(std::min(4000.0, right) - std::max(-50.0, left)) + 24,
                     cvCeil(std::min(4000.0, bottom) - std::max(-50.0, top)) + 24);
  return box & whole;
}

/// Draws one part of the picture in fine steps and puts it in.
void expose(const std::vector<Sheet>& sheets,
            const RulerCamera& camera,
            const RulerLight& light,
            cv::Rect part,
            cv::Mat& picture) {
  const cv::Matx33d wall_from_pixel = camera.pixel_from_wall.inv();
  const cv::Point2d middle = middle_of(camera.size);
  const cv::Size samples(part.width * kSamples, part.height * kSamples);
  // The wall's places at the corners of the pixels; between them, linear is exact to 1e-5 mm.
  cv::Mat corners(part.height + 1, part.width + 1, CV_64FC2);
  for (int y = 0; y < corners.rows; ++y) {
    for (int x = 0; x < corners.cols; ++x) {
      const cv::Point2d pixel(part.x + x - 0.5, part.y + y - 0.5);
      const cv::Point2d ideal = before_lens(pixel - middle, camera) + middle;
      const cv::Vec3d wall = wall_from_pixel * cv::Vec3d(ideal.x, ideal.y, 1.0);
      corners.at<cv::Vec2d>(y, x) = {wall[0] / wall[2], wall[1] / wall[2]};
    }
  }
  cv::Mat sharp(samples, CV_32F, cv::Scalar(light.wall_dn));
  cv::Mat map(samples, CV_32FC2);
  for (const Sheet& sheet : sheets) {
    const cv::Matx33d texel = texel_from_wall(sheet);
    for (int y = 0; y < samples.height; ++y) {
      const int row = y / kSamples;
      const double down = (y % kSamples + 0.5) / kSamples;
      for (int x = 0; x < samples.width; ++x) {
        const int column = x / kSamples;
        const double right = (x % kSamples + 0.5) / kSamples;
        const auto* above = corners.ptr<cv::Vec2d>(row) + column;
        const auto* below = corners.ptr<cv::Vec2d>(row + 1) + column;
        const cv::Vec2d wall = (1.0 - down) * ((1.0 - right) * above[0] + right * above[1]) +
                               down * ((1.0 - right) * below[0] + right * below[1]);
        map.at<cv::Vec2f>(y, x) = {
            static_cast<float>(texel(0, 0) * wall[0] + texel(0, 1) * wall[1] + texel(0, 2)),
            static_cast<float>(texel(1, 0) * wall[0] + texel(1, 1) * wall[1] + texel(1, 2))};
      }
    }
    cv::remap(sheet.picture, sharp, map, cv::noArray(), cv::INTER_LINEAR, cv::BORDER_TRANSPARENT);
  }
  cv::Mat fine;
  cv::resize(sharp, fine, part.size() * kBlurSteps, 0.0, 0.0, cv::INTER_AREA);
  cv::GaussianBlur(fine, fine, {}, light.blur_px * kBlurSteps, 0.0, cv::BORDER_REPLICATE);
  cv::Mat seen;
  cv::resize(fine, seen, part.size(), 0.0, 0.0, cv::INTER_AREA);
  seen.copyTo(picture(part));
}

void add_blob(cv::Mat& picture, cv::Point2d place, double sigma_px, double peak_dn) {
  for (int y = 0; y < picture.rows; ++y) {
    for (int x = 0; x < picture.cols; ++x) {
      const cv::Point2d off = cv::Point2d(x, y) - place;
      const double light = peak_dn * std::exp(-0.5 * off.dot(off) / (sigma_px * sigma_px));
      picture.at<float>(y, x) += static_cast<float>(light);
    }
  }
}

}  // namespace

RulerLook millimetre_ruler(double shortest_mm, double fifth_mm, double tenth_mm) {
  RulerLook look;
  look.tick_mm = [=](int i) {
    return i % 10 == 0 ? tenth_mm : i % 5 == 0 ? fifth_mm : shortest_mm;
  };
  return look;
}

RulerLook inch_ruler(double shortest_mm, double step_mm) {
  RulerLook look;
  look.division_mm = 25.4 / 16.0;
  look.numeral_every = 16;
  look.tick_mm = [=](int i) {
    int halvings = 0;
    while (halvings < 4 && i % (2 << halvings) == 0) ++halvings;
    return shortest_mm + halvings * step_mm;
  };
  return look;
}

Sheet ruler_sheet(const RulerLook& look, calibration::WallPoint zero, bool upside_down) {
  Sheet sheet{.picture = blank(look.length_mm + 2.0 * kEndMm, look.height_mm, look.ground_dn)};
  const int ticks = cvFloor(look.length_mm / look.division_mm + 1e-9);
  double longest_mm = 0.0;
  for (int i = 0; i <= ticks; ++i) {
    const double length_mm = look.tick_mm(i);
    longest_mm = std::max(longest_mm, length_mm);
    if (length_mm > 0.0) {
      draw_stroke(
          sheet.picture, kEndMm + i * look.division_mm, look.line_mm, length_mm, look.ink_dn);
    }
  }
  for (int i = 0; look.numeral_every > 0 && i <= ticks; i += look.numeral_every) {
    draw_text(sheet.picture,
              std::to_string(i),
              {kEndMm + i * look.division_mm, longest_mm + 3.0},
              3.0,
              look.ink_dn);
  }
  sheet.turn_rad = upside_down ? CV_PI : 0.0;
  sheet.corner = {zero.x_mm + (upside_down ? kEndMm : -kEndMm), zero.y_mm};
  return sheet;
}

Sheet graph_paper(double width_mm, double height_mm, calibration::WallPoint corner) {
  Sheet sheet{.picture = blank(width_mm, height_mm, 215.0), .corner = corner};
  const auto line_mm = [](int i) { return i % 10 == 0 ? 0.45 : i % 5 == 0 ? 0.3 : 0.15; };
  for (int i = 1; i < cvFloor(width_mm); ++i) {
    draw_stroke(sheet.picture, i, line_mm(i), height_mm, 110.0);
  }
  cv::Mat turned = sheet.picture.t();
  for (int i = 1; i < cvFloor(height_mm); ++i) {
    draw_stroke(turned, i, line_mm(i), width_mm, 110.0);
  }
  sheet.picture = turned.t();
  return sheet;
}

Sheet printed_page(double width_mm, double height_mm, calibration::WallPoint corner) {
  Sheet sheet{.picture = blank(width_mm, height_mm, 225.0), .corner = corner};
  cv::RNG random(5);
  for (double down_mm = 8.0; down_mm < height_mm - 5.0; down_mm += 6.0) {
    std::string line;
    while (static_cast<double>(line.size()) * 2.0 < width_mm - 20.0) {
      const int letters = random.uniform(2, 10);
      for (int i = 0; i < letters; ++i) line += static_cast<char>('a' + random.uniform(0, 26));
      line += ' ';
    }
    draw_text(sheet.picture, line, {width_mm / 2.0, down_mm}, 2.2, 40.0);
  }
  return sheet;
}

calibration::PixelPoint project(const RulerCamera& camera, calibration::WallPoint wall) {
  const auto ideal = project(camera.pixel_from_wall, wall);
  const cv::Point2d middle = middle_of(camera.size);
  const cv::Point2d p = through_lens(cv::Point2d(ideal.x_px, ideal.y_px) - middle, camera) + middle;
  return {p.x, p.y};
}

calibration::WallPoint unproject(const RulerCamera& camera, calibration::PixelPoint pixel) {
  const cv::Point2d middle = middle_of(camera.size);
  const cv::Point2d p = before_lens(cv::Point2d(pixel.x_px, pixel.y_px) - middle, camera) + middle;
  return unproject(camera.pixel_from_wall, calibration::PixelPoint{p.x, p.y});
}

cv::Mat render_wall(const std::vector<Sheet>& sheets,
                    const RulerCamera& camera,
                    const RulerLight& light) {
  cv::Mat picture(camera.size, CV_32F, cv::Scalar(light.wall_dn));
  for (const Sheet& sheet : sheets) {
    const cv::Rect part = seen_part(sheet, camera);
    if (!part.empty()) expose(sheets, camera, light, part, picture);
  }
  cv::RNG random(light.seed);
  // Plaster: soft stains of 2 gray values.
  cv::Mat plaster(camera.size / 8, CV_32F);
  random.fill(plaster, cv::RNG::NORMAL, 0.0, 2.0);
  cv::resize(plaster, plaster, camera.size, 0.0, 0.0, cv::INTER_CUBIC);
  picture += plaster;
  for (int x = 0; x < picture.cols; ++x) {
    picture.col(x) *= 1.0 - light.shading * x / camera.size.width;
  }
  for (const cv::Rect& shadow : light.shadows) {
    cv::Mat dimming(camera.size, CV_32F, cv::Scalar(1.0));
    cv::rectangle(dimming, shadow, 0.5, -1);
    cv::GaussianBlur(dimming, dimming, {}, 8.0);
    picture = picture.mul(dimming);
  }
  for (const cv::Rect& hand : light.hands) cv::rectangle(picture, hand, 140.0, -1);
  for (const cv::Point2d& place : light.glare_px) add_blob(picture, place, 25.0, 400.0);
  for (const cv::Point2d& place : light.laser_px) add_blob(picture, place, 4.0, 150.0);
  picture *= light.exposure;
  cv::Mat noise(camera.size, CV_32F);
  random.fill(noise, cv::RNG::NORMAL, 0.0, light.noise_dn);
  picture += noise;
  cv::Mat stored;
  picture.convertTo(stored, CV_8U);  // rounds and saturates
  return stored;
}

}  // namespace nightswing::test
