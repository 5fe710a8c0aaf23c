#include "analysis/balance/torque_model.h"

#include <cmath>
#include <stdexcept>
#include <variant>
#include <vector>

#include "analysis/apparatus/source_places.h"

namespace nightswing::analysis {
namespace {

// Elements of two extended bodies meet pair by pair, millions of them at 1e-9.
double mass_tolerance(const Shape& test) {
  return std::holds_alternative<Sphere>(test) ? 1e-9 : 1e-5;
}

// The rod contributes a few per cent, so that less will do; with extended sources, where each of
// its elements meets thousands, it would otherwise take nearly all the time.
double rod_tolerance(const Shape& source) {
  return std::holds_alternative<Sphere>(source) ? 1e-7 : 1e-5;
}

std::vector<MassElement> moved(std::vector<MassElement> elements, const Place& to) {
  for (MassElement& element : elements) {
    element.x_m += to.x_m;
    element.y_m += to.y_m;
    element.z_m += to.z_m;
  }
  return elements;
}

BoomTorque operator+(const BoomTorque& a, const BoomTorque& b) {
  return {a.near_pairs + b.near_pairs, a.far_pairs + b.far_pairs, a.rod + b.rod};
}

TorquePerG half_difference(const TorquePerG& plus, const TorquePerG& minus, double turn) {
  return {turn * (plus.torque - minus.torque) / 2, (plus.slope + minus.slope) / 2};
}

TorquePerG mirrored(const TorquePerG& torque) {
  return {-torque.torque, torque.slope};
}

/// Of one source mass on everything.
BoomTorque torque_of_source(const Apparatus& apparatus, const Place& place, double theta_rad) {
  const PullingRoom room = pulling_room(apparatus, place);
  if (!(room.beside_test_m > 0)) {
    throw std::invalid_argument("boom_torque: source and test masses overlap");
  }
  const ElementOptions options{.clearance_m = room.beside_test_m,
                               .tolerance = mass_tolerance(apparatus.test.shape)};
  const auto source = moved(mass_elements(apparatus.source, options), place);
  const auto test = mass_elements(apparatus.test, options);
  const double near_x_m = near_test_x_m(apparatus, place);
  BoomTorque torque;
  torque.near_pairs = torque_per_g(moved(test, {near_x_m, 0, 0}), source, theta_rad);
  torque.far_pairs = torque_per_g(moved(test, {-near_x_m, 0, 0}), source, theta_rad);
  if (!apparatus.rod) return torque;

  if (!(room.beside_rod_m > 0)) {
    throw std::invalid_argument("boom_torque: source masses overlap the rod");
  }
  const ElementOptions rod_options{.clearance_m = room.beside_rod_m,
                                   .tolerance = rod_tolerance(apparatus.source.shape)};
  const auto rod = mass_elements(*apparatus.rod, rod_options);
  torque.rod =
      torque_per_g(rod, moved(mass_elements(apparatus.source, rod_options), place), theta_rad);
  return torque;
}

}  // namespace

TorquePerG torque_per_g(std::span<const MassElement> boom,
                        std::span<const MassElement> source,
                        double theta_rad) {
  const double cosine = std::cos(theta_rad);
  const double sine = std::sin(theta_rad);
  TorquePerG sum;
  for (const MassElement& pulling : source) {
    // Turning the source back instead of the boom forward leaves the torque about z as it is:
    // with q = x Y - y X,  dX = Y, dY = -X  per radian, hence  d(d^2) = -2 q.
    const double source_x_m = cosine * pulling.x_m + sine * pulling.y_m;
    const double source_y_m = -sine * pulling.x_m + cosine * pulling.y_m;
    for (const MassElement& pulled : boom) {
      const double dx_m = source_x_m - pulled.x_m;
      const double dy_m = source_y_m - pulled.y_m;
      const double dz_m = pulling.z_m - pulled.z_m;
      const double d2_m2 = dx_m * dx_m + dy_m * dy_m + dz_m * dz_m;
      const double strength = pulling.mass_kg * pulled.mass_kg / (d2_m2 * std::sqrt(d2_m2));
      const double q_m2 = pulled.x_m * source_y_m - pulled.y_m * source_x_m;
      const double dot_m2 = pulled.x_m * source_x_m + pulled.y_m * source_y_m;
      sum.torque += strength * q_m2;
      sum.slope += strength * (3 * q_m2 * q_m2 / d2_m2 - dot_m2);
    }
  }
  return sum;
}

BoomTorque boom_torque(const Apparatus& apparatus, Side side, double theta_rad) {
  const auto places = source_places(apparatus, side);
  const BoomTorque first = torque_of_source(apparatus, places[0], theta_rad);
  // Where a half turn about the wire carries one source mass into the other, and the boom into
  // itself, one source mass gives half of everything.
  if (!apparatus.sides) return first + first;
  return first + torque_of_source(apparatus, places[1], theta_rad);
}

BoomTorque SideTorques::mean() const {
  return {half_difference(plus.near_pairs, minus.near_pairs, turn),
          half_difference(plus.far_pairs, minus.far_pairs, turn),
          half_difference(plus.rod, minus.rod, turn)};
}

SideTorques side_torques(const Apparatus& apparatus, double theta_rad) {
  const double turn = turn_towards(apparatus, Side::kPlus);
  const BoomTorque plus = boom_torque(apparatus, Side::kPlus, turn * theta_rad);
  // In the symmetric arrangement one side is the other's mirror image.
  return {.turn = turn,
          .plus = plus,
          .minus = apparatus.sides ? boom_torque(apparatus, Side::kMinus, -turn * theta_rad)
                                   : BoomTorque{mirrored(plus.near_pairs),
                                                mirrored(plus.far_pairs),
                                                mirrored(plus.rod)}};
}

}  // namespace nightswing::analysis
