#include "calibration/map/plane_notes.h"

#include <algorithm>
#include <cmath>
#include <iomanip>
#include <numbers>
#include <sstream>
#include <vector>

#include "calibration/map/camera_likeness.h"
#include "calibration/map/map_refusal.h"

namespace nightswing::calibration {
namespace {

constexpr double kFlat_mm = 0.04;          // in the picture's plane: ridges of 1 to 2 mm
constexpr double kWorthAWord_mm = 0.2;     // of a sheet's shift: what careful hands leave
constexpr double kWorthAWord_rad = 0.003;  // of its turn: 0.2 mm over half its length
// Sheets of one print: paper grows by 1 to 2 parts in a thousand from dry to damp (common practice,
// no source). A sheet 5 mm off the wall before a camera 1 m away seems 0.5 % larger.
constexpr double kNoSheet_relative = 0.004;
// A picture cut off-centre, or a lens: up to 0.1. A coordinate wrong by a tenth of the distances
// strains as much.
constexpr double kStrained = 0.1;
constexpr double kNoCamera = 0.3;

std::string rounded(double value, int digits) {
  std::ostringstream text;
  text << std::fixed << std::setprecision(digits) << std::abs(value);
  return text.str();
}

std::string size_of(const PageShift& page) {
  return rounded(100.0 * page.larger_relative, 2) + " % " +
         (page.larger_relative > 0.0 ? "larger" : "smaller");
}

/// Where the sheet lies, if that is worth a word. One that is off the wall is so by that alone.
std::string note_of(const PageShift& page) {
  const auto tells = [](double value, double u, double least) {
    return std::abs(value) > std::max(kSure * u, least);
  };
  const std::string name = "page " + std::to_string(page.page) + " seems ";
  if (tells(page.larger_relative, page.u_larger_relative, kUsualSheet_relative)) {
    return name + size_of(page) +
           " than the first (one of them off the wall, or of another size), which the uncertainty "
           "allows for; tape both flat";
  }
  std::vector<std::string> parts;
  if (tells(page.shift_x_mm, page.u_x_mm, kWorthAWord_mm)) {
    parts.push_back(rounded(page.shift_x_mm, 1) + " mm further " +
                    (page.shift_x_mm > 0.0 ? "right" : "left"));
  }
  if (tells(page.shift_y_mm, page.u_y_mm, kWorthAWord_mm)) {
    parts.push_back(rounded(page.shift_y_mm, 1) + " mm " +
                    (page.shift_y_mm > 0.0 ? "higher" : "lower"));
  }
  if (tells(page.turn_rad, page.u_turn_rad, kWorthAWord_rad)) {
    parts.push_back(rounded(page.turn_rad * 180.0 / std::numbers::pi, 2) + " degrees turned " +
                    (page.turn_rad > 0.0 ? "to the left" : "to the right"));
  }
  if (parts.empty()) return {};
  std::string text = name + "to lie " + parts.front();
  for (std::size_t i = 1; i < parts.size(); ++i) text += " and " + parts[i];
  return text + " than printed, which the map allows for";
}

/// How much the view is strained for sure, where it can be told.
double sure_strain(const WallMap& map) {
  if (map.frame.width_px <= 0 || map.frame.height_px <= 0) return 0.0;
  const CameraLikeness likeness = camera_likeness(map);
  return likeness.strain - kSure * likeness.u_strain;
}

std::string note_of_four_points(const WallMap& map) {
  const double strain = sure_strain(map);
  if (strain <= kStrained) {
    return "four points fit any plane, so nothing checks the map; add a fifth point";
  }
  return "a usual camera would see these four points only if the wall were stretched by " +
         rounded(100.0 * strain, 0) +
         " % or more; check them for a mistyped coordinate, and add a fifth point";
}

}  // namespace

std::string note_of(const WallMap& map, double off_wall_mm) {
  if (map.degrees_of_freedom == 0) {
    return note_of_four_points(map);
  }
  std::string note;
  for (const PageShift& page : map.pages) {
    const std::string text = note_of(page);
    if (!text.empty()) note += (note.empty() ? "" : "; ") + text;
  }
  if (off_wall_mm > kFlat_mm) {
    note += (note.empty() ? "" : "; ");
    note += "the markers lie off one flat wall by about " + rounded(off_wall_mm, 2) +
            " mm, which the uncertainty allows for; check that the scale lies flat";
  }
  const bool by_hand = std::ranges::all_of(
      map.references, [](const auto& r) { return r.point.marker == kNoMarker; });
  if (by_hand && map.reduced_chi2 > kWorstReducedChi2) {
    note += "the reference points scatter " +
            std::to_string(std::lround(std::sqrt(map.reduced_chi2))) +
            " times more than their uncertainties; check that the wall is flat and that no point "
            "is mistaken";
  }
  return note;
}

std::optional<std::string> fault_of_sheets(const WallMap& map) {
  for (const PageShift& page : map.pages) {
    const double sure = std::abs(page.larger_relative) - kSure * page.u_larger_relative;
    if (sure <= kNoSheet_relative) continue;
    return "page " + std::to_string(page.page) + " seems " + size_of(page) +
           " than the first, so one of them stands off the wall or was printed to another size; "
           "tape both flat on the wall, printed in one go";
  }
  return std::nullopt;
}

std::optional<std::string> fault_of_four_points(const WallMap& map) {
  if (map.degrees_of_freedom > 0 || sure_strain(map) <= kNoCamera) return std::nullopt;
  return "no usual camera can see a flat wall with these four points where they are given; check "
         "them for a mistyped coordinate or a unit";
}

}  // namespace nightswing::calibration
