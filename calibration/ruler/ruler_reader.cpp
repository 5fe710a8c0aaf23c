#include "calibration/ruler/ruler_reader.h"

#include <algorithm>
#include <cmath>
#include <sstream>
#include <stdexcept>
#include <utility>

#include <opencv2/imgproc.hpp>

#include "calibration/ruler/ruler_search.h"

namespace nightswing::calibration {
namespace {

constexpr double kLabelReach = 0.6;  // divisions between a label and its tick
// cv::remap takes pictures and gives rows of less than 32767 px; the longest row of strokes goes,
// bent a little, from corner to corner.
constexpr double kLargest_px = 30000.0;

std::string with_decimals(double value, int decimals) {
  std::ostringstream text;
  text.setf(std::ios::fixed);
  text.precision(decimals);
  text << value;
  return text.str();
}

cv::Mat gray_values(const cv::Mat& picture) {
  cv::Mat gray = picture;
  if (picture.type() == CV_8UC3) {
    cv::cvtColor(picture, gray, cv::COLOR_BGR2GRAY);
  } else if (picture.type() != CV_8UC1) {
    throw std::invalid_argument("the picture of a ruler must be 8-bit gray or BGR");
  }
  cv::Mat values;
  gray.convertTo(values, CV_32F);
  return values;
}

void check(const RulerRequest& request) {
  const auto finite = [](PixelPoint p) { return std::isfinite(p.x_px) && std::isfinite(p.y_px); };
  if (request.hint && (!finite(request.hint->from) || !finite(request.hint->to) ||
                       request.hint->from == request.hint->to)) {
    throw std::invalid_argument("the hint for a ruler must be two different places");
  }
  for (const RulerLabel& label : request.labels) {
    if (!finite(label.pixel) || !std::isfinite(label.reading_mm)) {
      throw std::invalid_argument("a label of a ruler needs a finite place and reading");
    }
  }
}

std::string refusal_text(const RulerSearch& found, bool hinted) {
  switch (found.refusal) {
    case RulerStatus::kTooFine:
      return "one division of the ruler covers only " +
             with_decimals(found.refused_division_px, 1) +
             " px, too little to tell its ticks apart; move the camera nearer";
    case RulerStatus::kNoPattern:
      return "a row of strokes was found, but their lengths follow neither millimetres (longer at "
             "every 5th, longest at every 10th) nor sixteenths of an inch; show a ruler with such "
             "ticks, sharp and large, or give places on it by hand";
    case RulerStatus::kAmbiguous:
      return "the ticks of the ruler can be read in more than one way; move the camera nearer or "
             "give places on the ruler by hand";
    case RulerStatus::kInconsistent:
      return "ticks were found, but they do not keep one even count along the ruler; tape it flat, "
             "uncover it, or give places on it by hand";
    default:
      return hinted ? "no row of ruler ticks was found along the given line; give two places on "
                      "the graduated edge, or move the camera nearer"
                    : "no row of ruler ticks was found in the picture; bring the ruler into view, "
                      "sharp and so large that one division covers 3 px, or give two places along "
                      "its edge";
  }
}

/// How the readings follow from the index: reading = sense * index * division + offset_mm.
struct Numbering {
  double sense = 1.0;
  double offset_mm = 0.0;
  bool sense_assumed = true;  ///< the other sense would do as well
};

double division_of(const MeasuredRuler& ruler) {
  return division_mm(ruler.pattern.division);
}

/// Numbers grow to the right, or downwards where the ruler is steeper than half a right angle.
double usual_sense(const MeasuredRuler& ruler) {
  const PixelPoint first = ruler.ticks.front().near;
  const PixelPoint last = ruler.ticks.back().near;
  const double right_px = last.x_px - first.x_px;
  const double down_px = last.y_px - first.y_px;
  return (std::abs(right_px) >= std::abs(down_px) ? right_px : down_px) > 0.0 ? 1.0 : -1.0;
}

/// The numbering in one sense that has longest ticks at whole centimetres or inches and lies
/// nearest to the labels; none if a label lies off its tick.
std::optional<Numbering> numbering_by(const MeasuredRuler& ruler,
                                      const std::vector<RulerLabel>& labels,
                                      double sense) {
  const double division = division_of(ruler);
  const double longest_mm = division * (ruler.pattern.division == Division::kMillimetre ? 10 : 16);
  double mean_mm = 0.0;
  for (const RulerLabel& label : labels) {
    if (beyond_horizon(ruler.map, label.pixel)) return std::nullopt;
    const double counted_mm = sense * wall_from_pixel(ruler.map, label.pixel).x_mm;
    mean_mm += (label.reading_mm - counted_mm) / static_cast<double>(labels.size());
  }
  const Numbering numbering{.sense = sense,
                            .offset_mm = longest_mm * std::round(mean_mm / longest_mm)};
  for (const RulerLabel& label : labels) {
    const double counted_mm =
        sense * wall_from_pixel(ruler.map, label.pixel).x_mm + numbering.offset_mm;
    if (std::abs(label.reading_mm - counted_mm) > kLabelReach * division) return std::nullopt;
  }
  return numbering;
}

std::optional<Numbering> numbering_of(const MeasuredRuler& ruler,
                                      const std::vector<RulerLabel>& labels) {
  const double sense = usual_sense(ruler);
  if (labels.empty()) {
    const MeasuredTick& first = sense > 0.0 ? ruler.ticks.front() : ruler.ticks.back();
    return Numbering{.sense = sense, .offset_mm = -sense * first.index * division_of(ruler)};
  }
  auto usual = numbering_by(ruler, labels, sense);
  auto opposite = numbering_by(ruler, labels, -sense);
  if (usual) usual->sense_assumed = opposite.has_value();
  if (opposite) opposite->sense_assumed = usual.has_value();
  return usual ? usual : opposite;
}

void number_ticks(const MeasuredRuler& ruler, const Numbering& numbering, RulerReading& reading) {
  const double division = division_of(ruler);
  for (const MeasuredTick& tick : ruler.ticks) {
    const double dx = tick.far.x_px - tick.near.x_px;
    const double dy = tick.far.y_px - tick.near.y_px;
    const double length_px = std::hypot(dx, dy);
    reading.ticks.push_back({.pixel = tick.near,
                             .direction_x = dx / length_px,
                             .direction_y = dy / length_px,
                             .index = static_cast<int>(numbering.sense) * tick.index,
                             .length_class = tick.length_class,
                             .x_mm = numbering.sense * tick.index * division + numbering.offset_mm,
                             .u_px = tick.u_px});
  }
  std::ranges::sort(reading.ticks, {}, &RulerTick::x_mm);
}

std::string reading_text(const RulerReading& reading, bool hinted, bool sense_assumed) {
  const bool one = reading.rulers_seen == 1;
  std::string text =
      std::to_string(reading.ticks.size()) + " ticks of " +
      (one      ? "a ruler"
       : hinted ? "the ruler along the given line"
                : "the longest of " + std::to_string(reading.rulers_seen) + " rulers") +
      " were read, one division taken to be " + division_name(reading.division) + " (" +
      with_decimals(reading.division_px, 1) + " px)";
  if (sense_assumed) {
    const RulerTick& first = reading.ticks.front();
    const RulerTick& last = reading.ticks.back();
    const bool across = std::abs(last.pixel.x_px - first.pixel.x_px) >=
                        std::abs(last.pixel.y_px - first.pixel.y_px);
    const double step =
        across ? last.pixel.x_px - first.pixel.x_px : last.pixel.y_px - first.pixel.y_px;
    text += std::string("; that its numbers grow ") +
            (across ? (step > 0.0 ? "to the right" : "to the left")
                    : (step > 0.0 ? "downwards" : "upwards")) +
            " is assumed, two labelled places would prove it";
  }
  return text;
}

}  // namespace

RulerReading read_ruler(const cv::Mat& picture, const RulerRequest& request) {
  check(request);
  RulerReading reading;
  if (picture.empty()) {
    reading.message = "the picture is empty, so it shows no ruler; take another";
    return reading;
  }
  if (std::hypot(picture.cols, picture.rows) > kLargest_px) {
    reading.message =
        "the picture measures more than 30000 px from corner to corner, too much for the search "
        "for a ruler; take a smaller one";
    return reading;
  }
  const RulerSearch found = search_rulers(gray_values(picture), request.hint);
  reading.rulers_seen = static_cast<int>(found.rulers.size());
  if (found.rulers.empty()) {
    reading.status = found.refusal;
    reading.division_px = found.refused_division_px;
    reading.message = refusal_text(found, request.hint.has_value());
    return reading;
  }
  const MeasuredRuler& ruler = found.rulers.front();
  reading.division = ruler.pattern.division;
  reading.division_px = ruler.pattern.grid.division_px();
  const auto numbering = numbering_of(ruler, request.labels);
  if (!numbering) {
    reading.status = RulerStatus::kLabelsDisagree;
    reading.message = "the labelled places do not agree with the ticks, one division taken to be " +
                      division_name(reading.division) +
                      "; check their readings, or whether the ruler counts otherwise";
    return reading;
  }
  number_ticks(ruler, *numbering, reading);
  reading.map = renumbered(ruler.map, numbering->sense, numbering->offset_mm);
  reading.status = RulerStatus::kRead;
  reading.message = reading_text(reading, request.hint.has_value(), numbering->sense_assumed);
  return reading;
}

}  // namespace nightswing::calibration
