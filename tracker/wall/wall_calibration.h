#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <opencv2/core.hpp>

#include "analysis/quantities/measured.h"
#include "calibration/map/wall_map.h"
#include "calibration/ruler/ruler_reader.h"

namespace nightswing::tracker {

/// What the user says of the scale in the picture.
struct ScaleInView {
  /// Length of the bar below the printed scale, which should be 200 mm, on a portrait sheet 160 mm.
  std::optional<analysis::Measured> bar_mm{};
  /// Read an ordinary ruler, even if a printed scale is in view too.
  bool ruler = false;
  std::optional<calibration::RulerHint> ruler_hint{};
  std::vector<calibration::RulerLabel> ruler_labels{};
  /// The command that said so, as the log keeps it (calibrated_text); empty if nothing was said.
  std::string command{};
};

/// `199.4(2) mm`, or of a portrait sheet `159.5(2) mm`.
/// throws InputError if it is no length with an uncertainty, or farther from 200 and 160 mm than a
/// printer can be.
[[nodiscard]] analysis::Measured parse_bar_mm(const std::string& text);

/// `120,600:1180,640`, or `find` for none. throws InputError for another text.
[[nodiscard]] std::optional<calibration::RulerHint> parse_ruler_hint(const std::string& text);

/// `412.5,388.0=120mm`. throws InputError for another text or a place outside the frame.
[[nodiscard]] calibration::RulerLabel parse_ruler_label(const std::string& text,
                                                        calibration::FrameSize frame);

/// The map by the scale in the picture (8-bit BGR or gray): the printed one, or where there is
/// none, an ordinary ruler.
/// throws InputError if neither can be read in it: the text says why and what to do.
[[nodiscard]] calibration::WallMap map_from_picture(const cv::Mat& picture,
                                                    const std::string& picture_name,
                                                    const ScaleInView& in_view = {});

/// The map by points set by hand. Each text is either `x_px,y_px=x` (a reading of a ruler that runs
/// along the spot's path; two or more) or `x_px,y_px=x,y` (a place on the wall; four or more), in
/// mm unless another unit of length stands behind, as in `412.5,388.0=120mm`.
///   u_px  standard uncertainty of a point's pixel
/// throws InputError for a text of another form, a mixture of both forms, or points that make no
/// map.
[[nodiscard]] calibration::WallMap map_from_points(const std::vector<std::string>& texts,
                                                   double u_px,
                                                   calibration::FrameSize frame);

/// One paragraph for people: kind, residuals, mm per pixel, what to know.
[[nodiscard]] std::string describe(const calibration::WallMap& map);

}  // namespace nightswing::tracker
