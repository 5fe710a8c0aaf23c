#include "demo_video/apparatus_reading.h"

#include <cmath>

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;

struct Quantity {
  const char* name;
  Reading ApparatusReading::*reading;
  double truth;
};

std::vector<Quantity> quantities(const NightSettings& night) {
  const Balance& balance = night.balance;
  return {{"source mass", &ApparatusReading::source_mass_kg, balance.source_mass_kg},
          {"source diameter", &ApparatusReading::source_diameter_m, balance.source_diameter_m},
          {"test mass", &ApparatusReading::test_mass_kg, balance.test_mass_kg},
          {"test diameter", &ApparatusReading::test_diameter_m, balance.test_diameter_m},
          {"arm", &ApparatusReading::arm_m, balance.arm_m},
          {"rod mass", &ApparatusReading::rod_mass_kg, balance.rod_mass_kg},
          {"rod length", &ApparatusReading::rod_length_m, balance.rod_length_m},
          {"rod diameter", &ApparatusReading::rod_diameter_m, balance.rod_diameter_m},
          {"mirror", &ApparatusReading::mirror_inertia_kg_m2, balance.mirror_inertia_kg_m2},
          {"separation", &ApparatusReading::separation_m, balance.separation_m},
          {"distance", &ApparatusReading::mirror_to_wall_m, night.lever.mirror_to_wall_m},
          {"foot", &ApparatusReading::foot_x_mm, night.lever.foot_x_mm / night.wall.scale_factor},
          {"factor", &ApparatusReading::scale_factor, night.wall.scale_factor}};
}

TEST_SUITE("apparatus_reading") {
  TEST_CASE("over many nights each reading scatters about the truth by its stated uncertainty") {
    constexpr int kNights = 2000;
    NightSettings night;
    for (const Quantity& quantity : quantities(night)) {
      CAPTURE(std::string(quantity.name));
      double sum = 0, squares = 0;
      for (int i = 0; i < kNights; ++i) {
        night.seed = 100 + static_cast<std::uint64_t>(i);
        const ApparatusReading all = read_apparatus(night);
        const Reading& reading = all.*quantity.reading;
        const double pull = (reading.value - quantity.truth) / reading.u;
        sum += pull;
        squares += pull * pull;
      }
      // 4 sd of a mean and of a variance: 4/sqrt(N), 4 sqrt(2/N)
      CHECK(sum / kNights == within_abs(0, 0.09));
      CHECK(squares / kNights == within_abs(1, 0.13));
    }
  }

  TEST_CASE("readings of one night are independent of each other") {
    NightSettings night;
    double product = 0;
    for (int i = 0; i < 2000; ++i) {
      night.seed = static_cast<std::uint64_t>(i);
      const ApparatusReading reading = read_apparatus(night);
      product += (reading.separation_m.value - 0.052) / 0.3e-3 * (reading.arm_m.value - 0.058) /
                 0.2e-3 / 2000;
    }
    CHECK(product == within_abs(0, 0.09));  // 4 sd
  }

  TEST_CASE("a concise value has two digits of uncertainty at matching places") {
    // The notation of JCGM 100:2008, 7.2.2, example 2: 100,021 47(35) g.
    CHECK(concise({100.02147, 0.00035}) == "100.02147(35)");
    CHECK(concise({46.1296, 0.3}) == "46.13(30)");
    CHECK(concise({240.3, 20}) == "240(20)");
    CHECK(concise({1.99731e-8, 0.2e-8}, -8) == "2.00(20)e-8");
    CHECK(concise({5.0, 0.0996}) == "5.00(10)");
    CHECK(concise({1.00037, 0.0005}) == "1.00037(50)");
    CHECK_THROWS_AS(static_cast<void>(concise({1, 0})), std::invalid_argument);
  }

  TEST_CASE("the apparatus file says that it is invented and names every part") {
    const NightSettings night;
    const std::string text = apparatus_yaml(read_apparatus(night));
    for (const char* part : {"invented",
                             "source_masses: {shape: sphere, mass: 2.21",
                             "test_masses:   {shape: sphere, mass: 34.",
                             "boom:          {arm: ",
                             "rod: {mass: ",
                             "mirror_inertia: ",
                             "(20)e-8 kg m2}",
                             "separation: 5",
                             "optical_lever: {mirror_to_wall: 3.1",
                             "scale: {factor: "}) {
      CAPTURE(std::string(part));
      CHECK(text.find(part) != std::string::npos);
    }
  }
}

}  // namespace
}  // namespace nightswing::demo
