#include "demo_video/balance_physics.h"

#include <array>
#include <cmath>
#include <numbers>

namespace nightswing::demo {
namespace {

using std::numbers::pi;

struct Node {
  double place;  // -1 to 1
  double weight;
};

// Gauss-Legendre nodes from the roots of the Legendre polynomial, found by Newton steps.
std::vector<Node> gauss_nodes(int count) {
  std::vector<Node> nodes;
  for (int i = 0; i < count; ++i) {
    double x = std::cos(pi * (i + 0.75) / (count + 0.5));
    double slope = 0;
    for (int step = 0; step < 50; ++step) {
      double previous = 1, value = x;
      for (int n = 2; n <= count; ++n) {
        const double next = ((2 * n - 1) * x * value - (n - 1) * previous) / n;
        previous = value;
        value = next;
      }
      slope = count * (x * value - previous) / (x * x - 1);
      const double change = value / slope;
      x -= change;
      if (std::abs(change) < 1e-15) break;
    }
    nodes.push_back({x, 2 / ((1 - x * x) * slope * slope)});
  }
  return nodes;
}

// The solid round rod along x as points: Gauss along it, rings across it. What is left out is of
// the order (radius / distance)^6, 1e-8 of the rod's torque at worst.
void append_rod(const Balance& balance, std::vector<PointMass>& points) {
  constexpr int kAlong = 32, kRings = 2, kAround = 6;
  const double radius_m = balance.rod_diameter_m / 2;
  const std::vector<Node> along = gauss_nodes(kAlong);
  const std::vector<Node> rings = gauss_nodes(kRings);
  for (const Node& slice : along) {
    for (const Node& ring : rings) {
      // In the square of the radius equal steps are equal areas.
      const double ring_radius_m = radius_m * std::sqrt((1 + ring.place) / 2);
      for (int k = 0; k < kAround; ++k) {
        const double angle = 2 * pi * (k + 0.5) / kAround;
        points.push_back({balance.rod_mass_kg * slice.weight / 2 * ring.weight / 2 / kAround,
                          balance.rod_length_m / 2 * slice.place,
                          ring_radius_m * std::cos(angle),
                          ring_radius_m * std::sin(angle)});
      }
    }
  }
}

double inertia_of(const Balance& balance) {
  const double sphere_radius_m = balance.test_diameter_m / 2;
  const double rod_radius_m = balance.rod_diameter_m / 2;
  const double spheres = 2 * balance.test_mass_kg *
                         (balance.arm_m * balance.arm_m + 0.4 * sphere_radius_m * sphere_radius_m);
  const double rod = balance.rod_mass_kg * (balance.rod_length_m * balance.rod_length_m / 12 +
                                            rod_radius_m * rod_radius_m / 4);
  return spheres + rod + balance.mirror_inertia_kg_m2;
}

struct Place {
  double x_m;
  double y_m;
};

// Both sources as seen from the boom, which has turned by theta.
std::array<Place, 2> sources_seen_from_boom(const Balance& balance,
                                            double theta_rad,
                                            const SourcePose& pose) {
  const double radius_m = std::hypot(balance.arm_m, balance.separation_m);
  const double angle = pose.azimuth_rad - theta_rad;
  const Place first{radius_m * std::cos(angle), radius_m * std::sin(angle)};
  return {first, Place{-first.x_m, -first.y_m}};
}

}  // namespace

SourcePose source_pose(const Balance& balance, Side side) {
  const double azimuth_rad = std::atan2(balance.separation_m, balance.arm_m);
  switch (side) {
    case Side::kPlus:
      return {azimuth_rad, 1.0};
    case Side::kMinus:
      return {pi - azimuth_rad, 1.0};
    case Side::kAway:
      return {pi / 2, 0.0};
  }
  throw std::invalid_argument("source_pose: not a side");
}

SourcePose pose_between(const SourcePose& from, const SourcePose& to, double share) {
  const double s = share < 0 ? 0 : share > 1 ? 1 : share;
  const double smooth = s * s * s * (10 + s * (-15 + 6 * s));
  return {from.azimuth_rad + smooth * (to.azimuth_rad - from.azimuth_rad),
          from.presence + smooth * (to.presence - from.presence)};
}

BalancePhysics::BalancePhysics(const Balance& balance)
    : balance_(balance), inertia_kg_m2_(inertia_of(balance)) {
  boom_.push_back({balance.test_mass_kg, balance.arm_m, 0, 0});
  boom_.push_back({balance.test_mass_kg, -balance.arm_m, 0, 0});
  if (balance.rod_mass_kg > 0) append_rod(balance, boom_);
  const double angular_frequency = 2 * pi / balance.free_period_s;
  wire_constant_n_m_per_rad_ = inertia_kg_m2_ * angular_frequency * angular_frequency;
  damping_n_m_s_ = 2 * inertia_kg_m2_ / balance.amplitude_decay_time_s;
}

double BalancePhysics::torque_per_g(double theta_rad, const SourcePose& pose) const {
  if (pose.presence == 0) return 0;
  double sum = 0;
  for (const Place& source : sources_seen_from_boom(balance_, theta_rad, pose)) {
    for (const PointMass& point : boom_) {
      const double dx = source.x_m - point.x_m, dy = source.y_m - point.y_m;
      const double squared = dx * dx + dy * dy + point.z_m * point.z_m;
      sum += point.mass_kg * (point.x_m * dy - point.y_m * dx) / (squared * std::sqrt(squared));
    }
  }
  return pose.presence * balance_.source_mass_kg * sum;
}

double BalancePhysics::torque_gradient_per_g(double theta_rad, const SourcePose& pose) const {
  if (pose.presence == 0) return 0;
  double sum = 0;
  for (const Place& source : sources_seen_from_boom(balance_, theta_rad, pose)) {
    for (const PointMass& point : boom_) {
      const double dx = source.x_m - point.x_m, dy = source.y_m - point.y_m;
      const double squared = dx * dx + dy * dy + point.z_m * point.z_m;
      const double cubed = squared * std::sqrt(squared);
      const double cross = point.x_m * source.y_m - point.y_m * source.x_m;
      const double dot = point.x_m * source.x_m + point.y_m * source.y_m;
      sum += point.mass_kg * (-dot / cubed + 3 * cross * cross / (cubed * squared));
    }
  }
  return pose.presence * balance_.source_mass_kg * sum;
}

double BalancePhysics::equilibrium_rad(const SourcePose& pose, double wire_angle_rad) const {
  double theta_rad = wire_angle_rad;
  const double g = balance_.big_g_m3_per_kg_s2;
  for (int step = 0; step < 50; ++step) {
    const double stiffness =
        wire_constant_n_m_per_rad_ - g * torque_gradient_per_g(theta_rad, pose);
    if (stiffness <= 0) break;
    const double change = (g * torque_per_g(theta_rad, pose) -
                           wire_constant_n_m_per_rad_ * (theta_rad - wire_angle_rad)) /
                          stiffness;
    theta_rad += change;
    if (std::abs(change) < 1e-16) return theta_rad;
  }
  throw SettingsError(
      "the sources pull the boom in: it has no place of rest; take a shorter period or a larger "
      "separation");
}

double BalancePhysics::period_s(double equilibrium_rad, const SourcePose& pose) const {
  const double stiffness =
      wire_constant_n_m_per_rad_ -
      balance_.big_g_m3_per_kg_s2 * torque_gradient_per_g(equilibrium_rad, pose);
  return 2 * pi * std::sqrt(inertia_kg_m2_ / stiffness);
}

}  // namespace nightswing::demo
