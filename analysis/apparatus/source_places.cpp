#include "analysis/apparatus/source_places.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <stdexcept>

namespace nightswing::analysis {
namespace {

Place place_of(const SourcePlace& place) {
  return {place.along_m.value, place.across_m.value, place.height_m.value};
}

Place turned_back(const Place& place, double theta_rad) {
  const double c = std::cos(theta_rad);
  const double s = std::sin(theta_rad);
  return {c * place.x_m + s * place.y_m, c * place.y_m - s * place.x_m, place.z_m};
}

/// The room between one shape in the place of a source mass and another in that of the test mass
/// beside it.
double test_room_m(const Apparatus& apparatus,
                   const Place& source,
                   const Shape& source_shape,
                   const Shape& test_shape) {
  const Place apart{source.x_m - near_test_x_m(apparatus, source), source.y_m, source.z_m};
  return gap_m(source_shape, test_shape, apart);
}

double rod_room_m(const Apparatus& apparatus, const Place& source, const Shape& source_shape) {
  if (!apparatus.rod) return std::numeric_limits<double>::infinity();
  return gap_m(source_shape, as_body(*apparatus.rod).shape, source);
}

Shape as_it_pulls(const Shape& shape) {
  return std::holds_alternative<Sphere>(shape) ? Sphere{{0.0, 0.0}} : shape;
}

double near_pull_of(const Apparatus& apparatus, Side side) {
  double sum = 0.0;
  for (const Place& source : source_places(apparatus, side)) sum += near_pull(apparatus, source);
  return sum;
}

}  // namespace

bool has_places(const Apparatus& apparatus, Side side) {
  return side != Side::kAway || (apparatus.sides && apparatus.sides->away);
}

const std::array<SourcePlace, 2>& given_places(const SourceSides& sides, Side side) {
  if (side == Side::kAway) return sides.away.value();
  return side == Side::kPlus ? sides.plus : sides.minus;
}

std::array<Place, 2> source_places(const Apparatus& apparatus, Side side) {
  if (!has_places(apparatus, side)) {
    throw std::invalid_argument("source_places: the place of sources that are away is not known");
  }
  if (apparatus.sides) {
    const auto& places = given_places(*apparatus.sides, side);
    return {place_of(places[0]), place_of(places[1])};
  }
  const double x_m = apparatus.arm_m.value;
  const double separation_m = apparatus.separation_m.value().value;
  const double y_m = side == Side::kPlus ? separation_m : -separation_m;
  return {Place{x_m, y_m, 0.0}, Place{-x_m, -y_m, 0.0}};
}

double near_test_x_m(const Apparatus& apparatus, const Place& source) {
  return source.x_m < 0.0 ? -apparatus.arm_m.value : apparatus.arm_m.value;
}

double near_pull(const Apparatus& apparatus, const Place& source) {
  const double x_m = near_test_x_m(apparatus, source);
  return x_m * source.y_m / std::pow(std::hypot(source.x_m - x_m, source.y_m, source.z_m), 3);
}

double mean_separation_m(const Apparatus& apparatus) {
  if (apparatus.separation_m) return apparatus.separation_m->value;
  double sum_m = 0.0;
  for (const Side side : {Side::kPlus, Side::kMinus}) {
    for (const Place& source : source_places(apparatus, side)) {
      const double x_m = source.x_m - near_test_x_m(apparatus, source);
      sum_m += std::hypot(x_m, source.y_m, source.z_m);
    }
  }
  return sum_m / 4.0;
}

double turn_towards(const Apparatus& apparatus, Side side) {
  const bool plus_turns_back = apparatus.sides && near_pull_of(apparatus, Side::kPlus) <
                                                      near_pull_of(apparatus, Side::kMinus);
  return (side == Side::kMinus) != plus_turns_back ? -1.0 : 1.0;
}

double room_beside_test_m(const Apparatus& apparatus, const Place& source) {
  return test_room_m(apparatus, source, apparatus.source.shape, apparatus.test.shape);
}

double room_beside_rod_m(const Apparatus& apparatus, const Place& source) {
  return rod_room_m(apparatus, source, apparatus.source.shape);
}

PullingRoom pulling_room(const Apparatus& apparatus, const Place& source) {
  const Shape pulling = as_it_pulls(apparatus.source.shape);
  return {
      .beside_test_m = test_room_m(apparatus, source, pulling, as_it_pulls(apparatus.test.shape)),
      .beside_rod_m = rod_room_m(apparatus, source, pulling)};
}

double least_room_m(const Apparatus& apparatus, double theta_rad) {
  double least_m = std::numeric_limits<double>::infinity();
  for (const Side side : {Side::kPlus, Side::kMinus}) {
    const double turned_rad = turn_towards(apparatus, side) * theta_rad;
    for (const Place& source : source_places(apparatus, side)) {
      least_m = std::min(least_m, room_beside_test_m(apparatus, turned_back(source, turned_rad)));
    }
  }
  return least_m;
}

double contact_rad(const Apparatus& apparatus) {
  const auto touches = [&](double theta_rad) {
    return !(least_room_m(apparatus, theta_rad) > 0.0);
  };
  // Until a test mass stands beside a source mass the room only shrinks.
  double touching_rad = std::numbers::pi / 2;
  for (const Side side : {Side::kPlus, Side::kMinus}) {
    for (const Place& source : source_places(apparatus, side)) {
      touching_rad = std::min(touching_rad, std::atan2(std::abs(source.y_m), std::abs(source.x_m)));
    }
  }
  if (!touches(touching_rad)) return touching_rad;
  double free_rad = 0.0;
  for (int k = 0; k < 60; ++k) {
    const double middle_rad = 0.5 * (free_rad + touching_rad);
    (touches(middle_rad) ? touching_rad : free_rad) = middle_rad;
  }
  return free_rad;
}

}  // namespace nightswing::analysis
