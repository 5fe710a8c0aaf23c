#include "analysis/apparatus/source_places_file.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <string_view>
#include <variant>

#include <fmt/format.h>

#include "analysis/apparatus/source_places.h"
#include "analysis/quantities/quantity.h"

namespace nightswing::analysis {
namespace {

constexpr std::array kSides{Side::kPlus, Side::kMinus};
constexpr std::array kMasses{"first", "second"};
/// Sources that are away and still turn the boom by so much of what they do on a side are told.
constexpr double kMostAway = 0.5;
/// Sides whose pulls differ by less of what the source masses pull are taken for a slip of a sign.
constexpr double kLeastDifference = 0.01;

SourcePlace place_of(YamlMapping& side, const char* mass) {
  const auto centre = side.three_lengths(
      mass, "along the boom, across it and upwards, all from where the wire meets the boom");
  return {.along_m = centre[0], .across_m = centre[1], .height_m = centre[2]};
}

std::array<SourcePlace, 2> places_of(YamlMapping& sides, Side side) {
  YamlMapping map = sides.mapping(name_of(side));
  std::array places{place_of(map, kMasses[0]), place_of(map, kMasses[1])};
  map.finish();
  return places;
}

/// How well the surface of a pulling body is known to be half of its size from its centre [m].
double surface_u_m(const Shape& shape) {
  if (const auto* cylinder = std::get_if<Cylinder>(&shape)) {
    return std::hypot(cylinder->diameter_m.u, cylinder->length_m.u) / 2;
  }
  if (const auto* box = std::get_if<Box>(&shape)) {
    return std::hypot(box->along_m.u, box->across_m.u, box->vertical_m.u) / 2;
  }
  return 0.0;
}

/// What G comes to is also asked for inputs some of their uncertainties away: none of these may
/// make the masses overlap.
void check_sure_room(const YamlMapping& file,
                     std::string_view key,
                     const Apparatus& apparatus,
                     const Place& place,
                     double place_u_m) {
  constexpr double kSureOf = 5.0;  // standard uncertainties
  const double u_m =
      std::hypot(place_u_m, surface_u_m(apparatus.source.shape), surface_u_m(apparatus.test.shape));
  const PullingRoom room = pulling_room(apparatus, place);
  const double room_m = std::min(room.beside_test_m, room.beside_rod_m);
  if (room_m > kSureOf * u_m) return;
  file.fail(key,
            fmt::format("is too uncertain: the masses have {:.2g} mm between them, known to "
                        "{:.2g} mm only with their sizes, so that they might as well touch; "
                        "measure better, or move them apart",
                        1e3 * room_m,
                        1e3 * u_m));
}

void check_room_beside(const YamlMapping& file, const Apparatus& apparatus) {
  const Place beside = source_places(apparatus, Side::kPlus)[0];
  const double separation_m = apparatus.separation_m->value;
  const double source_m = half_extents(apparatus.source.shape).across_m;
  if (!(room_beside_test_m(apparatus, beside) > 0.0)) {
    const double test_m = source_m + half_extents(apparatus.test.shape).across_m;
    file.fail("separation",
              fmt::format("is {:.6g} mm, but the masses touch at {:.6g} mm (half of a source mass "
                          "and half of a test mass); it is measured from centre to centre",
                          1e3 * separation_m,
                          1e3 * test_m));
  }
  if (!(room_beside_rod_m(apparatus, beside) > 0.0)) {
    const double rod_m = source_m + apparatus.rod->width_m.value / 2;
    file.fail("separation",
              fmt::format("is {:.6g} mm, but a source mass touches the rod at {:.6g} mm",
                          1e3 * separation_m,
                          1e3 * rod_m));
  }
  check_sure_room(file, "separation", apparatus, beside, apparatus.separation_m->u);
}

void check_room_at(const YamlMapping& file, const Apparatus& apparatus, Side side) {
  const auto places = source_places(apparatus, side);
  for (std::size_t k = 0; k < places.size(); ++k) {
    const Place& place = places[k];
    const auto fail = [&](const std::string& what) {
      file.fail("sides",
                fmt::format("leaves no room: {} of {} {}", kMasses[k], name_of(side), what));
    };
    if (!(room_beside_test_m(apparatus, place) > 0.0)) {
      const double x_m = place.x_m - near_test_x_m(apparatus, place);
      fail(
          fmt::format("touches a test mass, whose centre is {:.6g} mm away with the boom midway; "
                      "coordinates are of centres, from where the wire meets the boom",
                      1e3 * std::hypot(x_m, place.y_m, place.z_m)));
    }
    if (!(room_beside_rod_m(apparatus, place) > 0.0)) fail("touches the rod");
    const SourcePlace& given = given_places(*apparatus.sides, side)[k];
    check_sure_room(file,
                    "sides",
                    apparatus,
                    place,
                    std::hypot(given.along_m.u, given.across_m.u, given.height_m.u));
  }
  const Place apart{
      places[1].x_m - places[0].x_m, places[1].y_m - places[0].y_m, places[1].z_m - places[0].z_m};
  if (gap_m(apparatus.source.shape, apparatus.source.shape, apart) > 0.0) return;
  file.fail("sides",
            fmt::format("leaves no room: the source masses of {} overlap, with {:.6g} mm from "
                        "centre to centre",
                        name_of(side),
                        1e3 * std::hypot(apart.x_m, apart.y_m, apart.z_m)));
}

void check_turning(const YamlMapping& file,
                   const Apparatus& apparatus,
                   std::vector<std::string>& warnings) {
  double difference = 0.0;
  double sizes = 0.0;
  for (const Side side : kSides) {
    const auto places = source_places(apparatus, side);
    const double first = near_pull(apparatus, places[0]);
    const double second = near_pull(apparatus, places[1]);
    difference += side == Side::kPlus ? first + second : -first - second;
    sizes += std::abs(first) + std::abs(second);
    if (first * second >= 0.0) continue;
    warnings.push_back(
        fmt::format("{}: first and second of {} turn the boom opposite ways; is a sign wrong?",
                    file.where("sides"),
                    name_of(side)));
  }
  if (std::abs(difference) < kLeastDifference * sizes) {
    file.fail("sides",
              "pulls the boom on plus as on minus, so that nothing would shift; is a sign wrong? "
              "Across the boom, places on plus and minus lie on opposite sides of it");
  }
  if (!has_places(apparatus, Side::kAway)) return;
  const auto away = source_places(apparatus, Side::kAway);
  const double turning = near_pull(apparatus, away[0]) + near_pull(apparatus, away[1]);
  if (std::abs(turning) < kMostAway * std::abs(difference) / 2) return;
  warnings.push_back(
      fmt::format("{}: away turns the boom by {:.0f} % of what plus and minus do; is a sign or a "
                  "place wrong?",
                  file.where("sides"),
                  200 * std::abs(turning / difference)));
}

}  // namespace

SourcesInFile sources_in(YamlMapping& file) {
  auto map = file.optional_mapping("sides");
  if (!map) {
    return {.separation_m = file.positive_quantity("separation", Dimension::kLength), .sides = {}};
  }
  if (file.has("separation")) {
    file.fail("sides",
              "says where the source masses stand, and so does separation: leave one of them out");
  }
  SourceSides sides{.plus = places_of(*map, Side::kPlus), .minus = places_of(*map, Side::kMinus)};
  if (map->has(name_of(Side::kAway))) sides.away = places_of(*map, Side::kAway);
  map->finish();
  return {.separation_m = {}, .sides = sides};
}

void check_source_places(const YamlMapping& file,
                         const Apparatus& apparatus,
                         std::vector<std::string>& warnings) {
  if (!apparatus.sides) {
    check_room_beside(file, apparatus);
    return;
  }
  for (const Side side : kSides) check_room_at(file, apparatus, side);
  if (has_places(apparatus, Side::kAway)) check_room_at(file, apparatus, Side::kAway);
  check_turning(file, apparatus, warnings);
}

}  // namespace nightswing::analysis
