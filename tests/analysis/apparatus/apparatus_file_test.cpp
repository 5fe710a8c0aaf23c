#include "analysis/apparatus/apparatus_file.h"

#include <algorithm>
#include <numbers>
#include <string>
#include <variant>

#include <doctest/doctest.h>

#include "tests/support/error_text.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using nightswing::test::error_text;
using nightswing::test::within_rel;

namespace {

const std::string kUprightMirror =
    "the mirror stands upright (no optical_lever.mirror_lean; 5 deg change G by 0.8 %)";

const std::string kBalance =
    "title: Test balance\n"
    "source_masses: {shape: sphere, mass: 2.213(1) kg, diameter: 72.0(1) mm, material: lead}\n"
    "test_masses: {shape: sphere, mass: 34.6(1) g, diameter: 18.0 mm, material: lead}\n"
    "boom: {arm: 58.0(2) mm,\n"
    "       rod: {mass: 2.6(1) g, length: 134 mm, width: 3 mm}, mirror_inertia: 2.0(2)e-8 kg m2}\n"
    "separation: 52.0(3) mm\n"
    "wire: {material: tungsten, diameter: 25 um, length: 300 mm}\n"
    "optical_lever: {mirror_to_wall: 4.870(5) m, foot: 12(20) mm}\n"
    "scale: {factor: 0.9999(4)}\n";

const std::string kSides =
    "sides:\n"
    "  plus: {first: [59.0(2) mm, 52.2(2) mm, 0 mm], second: [-58.2(2) mm, -51.8(2) mm, 0 mm]}\n"
    "  minus: {first: [58.4(2) mm, -52.4(2) mm, 0 mm],\n"
    "          second: [-57.9(2) mm, 52.1(2) mm, 0.5(5) mm]}\n";

std::string with(const std::string& text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.substr(0, at) + to + text.substr(at + from.size());
}

std::string with(const std::string& from, const std::string& to) {
  return with(kBalance, from, to);
}

std::string error_of(const std::string& text) {
  return error_text([&text] { static_cast<void>(read_apparatus_text(text, "b.yaml")); });
}

Apparatus read(const std::string& text) {
  return read_apparatus_text(text, "b.yaml");
}

std::string only_warning(const std::string& text) {
  const Apparatus balance = read(text);
  REQUIRE(balance.warnings.size() == 1);
  return balance.warnings.front();
}

constexpr double kReadRounding = 5e-16;  // one conversion to SI

}  // namespace

TEST_SUITE("apparatus_file") {
  TEST_CASE("a whole file is read in SI units, without assumption or warning") {
    const Apparatus balance = read(kBalance);
    CHECK(balance.title == "Test balance");
    CHECK(balance.source.mass_kg == Measured{2.213, 0.001});
    CHECK(std::get<Sphere>(balance.source.shape).diameter_m.value ==
          within_rel(0.072, kReadRounding));
    CHECK(balance.source.material == "lead");
    CHECK(balance.test.mass_kg.value == within_rel(0.0346, kReadRounding));
    CHECK(balance.arm_m.u == within_rel(0.0002, kReadRounding));
    REQUIRE(balance.rod.has_value());
    CHECK(balance.rod->length_m.value == within_rel(0.134, kReadRounding));
    CHECK(balance.rod->width_m.u == 0.0);
    CHECK(balance.mirror_inertia_kg_m2 == Measured{2.0e-8, 0.2e-8});
    CHECK(balance.separation_m.value().value == within_rel(0.052, kReadRounding));
    REQUIRE(balance.wire.has_value());
    CHECK(balance.wire->diameter_m.value == within_rel(25e-6, kReadRounding));
    CHECK(balance.mirror_to_wall_m == Measured{4.870, 0.005});
    REQUIRE(balance.foot_mm.has_value());
    CHECK(balance.foot_mm->value == within_rel(12.0, 2 * kReadRounding));
    CHECK(balance.foot_mm->u == within_rel(20.0, 2 * kReadRounding));
    CHECK(balance.scale_factor == Measured{0.9999, 0.0004});
    CHECK(balance.assumptions == std::vector<std::string>{kUprightMirror});
    CHECK(balance.warnings.empty());
  }

  TEST_CASE("the commented example file is read") {
    const Apparatus balance =
        read_apparatus_file(std::string(NIGHTSWING_SOURCE_DIR) + "/configs/basement.yaml");
    CHECK(balance.mirror_to_wall_m == Measured{3.860, 0.005});
    REQUIRE(balance.foot_mm.has_value());
    CHECK(balance.foot_mm->value == within_rel(185.0, 2 * kReadRounding));
    CHECK(balance.scale_factor == Measured{1.0, 0.0005});
    CHECK(balance.separation_m.value().u == within_rel(0.0002, kReadRounding));
    CHECK(balance.assumptions == std::vector<std::string>{kUprightMirror});
    CHECK(balance.warnings.empty());
  }

  TEST_CASE("sizes that look like a slip of the unit or the decimal point are warned of") {
    CHECK(only_warning(with("mirror_to_wall: 4.870(5) m", "mirror_to_wall: 487 m"))
              .ends_with("optical_lever: 487 m is unusual (expected 0.2 to 50 m); check the unit "
                         "and the decimal point"));
    CHECK(only_warning(with("foot: 12(20) mm", "foot: 20.7(2) m"))
              .ends_with("optical_lever: a foot at 20700 mm of the scale is farther off than the "
                         "mirror is from the wall (4.87 m); check its unit and where the scale's "
                         "zero is"));
    CHECK(only_warning(with("arm: 58.0(2) mm", "arm: 58.0(2) m"))
              .ends_with("boom: 58000 mm is unusual (expected 5 to 2000 mm); check the unit and "
                         "the decimal point"));
  }

  TEST_CASE("lengths that fit their unit but not the other ones are warned of") {
    // Five times the 45 mm at which the spheres touch.
    CHECK(only_warning(with("separation: 52.0(3) mm", "separation: 52.0(3) cm"))
              .ends_with("separation: 520 mm is unusual (expected 5 to 225 mm); check the unit and "
                         "the decimal point"));
    // Test masses of 18 mm with their centres 58 mm from the wire.
    CHECK(only_warning(with("length: 134 mm", "length: 90 mm"))
              .ends_with("boom: a rod of 90 mm ends before the test masses, which reach from 49 to "
                         "67 mm from the wire; check its length, end to end, and the arm"));
    CHECK(read(with("length: 134 mm", "length: 99 mm")).warnings.empty());
    CHECK(only_warning(with("length: 134 mm", "length: 134 cm"))
              .find("a rod of 1340 mm goes far beyond the test masses") != std::string::npos);
    // 134 mm of 3 mm are 0.947 cm3; with 26 g: 27 450 kg/m3.
    CHECK(only_warning(with("mass: 2.6(1) g", "mass: 26(1) g"))
              .ends_with("boom: mass and size of the rod give 2.74e+04 kg/m3, which is no "
                         "material's; check mass, length and width"));
    CHECK(
        only_warning(with("factor: 0.9999(4)", "factor: 1.2"))
            .ends_with("scale: a factor of 1.2 makes the scale's millimetres 20 % wrong, which no "
                       "print and no ruler is; it is the true length of what the scale calls 1 "
                       "mm"));
  }

  TEST_CASE("cylinders and boxes are read with their direction") {
    const Apparatus upright = read(with("shape: sphere, mass: 2.213(1) kg, diameter: 72.0(1) mm",
                                        "shape: cylinder, mass: 2.213(1) kg, diameter: 6.0(1) cm, "
                                        "length: 69 mm, axis: vertical"));
    const auto& cylinder = std::get<Cylinder>(upright.source.shape);
    CHECK(cylinder.axis == CylinderAxis::kVertical);
    CHECK(cylinder.diameter_m.value == within_rel(0.06, kReadRounding));
    CHECK(half_extents(upright.source.shape).vertical_m == within_rel(0.0345, kReadRounding));

    const Apparatus bricks =
        read(with("shape: sphere, mass: 2.213(1) kg, diameter: 72.0(1) mm",
                  "shape: box, mass: 2.213(1) kg, size: [65 mm, 60 mm, 50 mm]"));
    const auto& box = std::get<Box>(bricks.source.shape);
    CHECK(box.across_m.value == within_rel(0.06, kReadRounding));
    CHECK(half_extents(bricks.source.shape).along_m == within_rel(0.0325, kReadRounding));
  }

  TEST_CASE("what is left out is replaced and said") {
    std::string text = with("scale: {factor: 0.9999(4)}\n", "");
    text = with(text, ", foot: 12(20) mm", "");
    text = with(text, "wire: {material: tungsten, diameter: 25 um, length: 300 mm}\n", "");
    text =
        with(text,
             "rod: {mass: 2.6(1) g, length: 134 mm, width: 3 mm}, mirror_inertia: 2.0(2)e-8 kg m2",
             "");
    text = with(text, ", material: lead", "");
    const Apparatus balance = read(text);
    CHECK_FALSE(balance.rod.has_value());
    CHECK(balance.mirror_inertia_kg_m2 == Measured{0, 0});
    CHECK_FALSE(balance.foot_mm.has_value());
    CHECK_FALSE(balance.wire.has_value());
    CHECK(balance.scale_factor == Measured{1.0, 0.001});
    REQUIRE(balance.assumptions.size() == 5);
    CHECK(balance.assumptions[0] ==
          "the boom's rod has no mass (boom.rod is not given); it would be pulled and would "
          "swing too");
    CHECK(balance.assumptions[1] ==
          "the mirror has no moment of inertia (boom.mirror_inertia is not given)");
    CHECK(balance.assumptions[2] ==
          "the perpendicular from the mirror meets the scale midway between the equilibria "
          "(optical_lever.foot is not given); a beam 10 degrees off it changes G by 3 %");
    CHECK(balance.assumptions[3] == kUprightMirror);
    CHECK(balance.assumptions[4] ==
          "the scale is true, factor 1.0000(10) (scale.factor is not given)");
  }

  TEST_CASE("a leaning mirror is read with the laser's place, and what is not given is said") {
    CHECK_FALSE(read(kBalance).leaning_mirror.has_value());
    const Apparatus full =
        read(with("foot: 12(20) mm",
                  "foot: 12(20) mm, mirror_lean: 5.0(5) deg, laser_elevation: -10(1) deg, laser: "
                  "300(5) mm"));
    REQUIRE(full.leaning_mirror.has_value());
    CHECK(full.assumptions.empty());
    const double degree = std::numbers::pi / 180;
    CHECK(full.leaning_mirror->lean_rad.value == within_rel(5 * degree, 2 * kReadRounding));
    CHECK(full.leaning_mirror->lean_rad.u == within_rel(0.5 * degree, 2 * kReadRounding));
    CHECK(full.leaning_mirror->laser_elevation_rad.value ==
          within_rel(-10 * degree, 2 * kReadRounding));
    REQUIRE(full.leaning_mirror->laser_mm.has_value());
    CHECK(full.leaning_mirror->laser_mm->value == within_rel(300.0, 2 * kReadRounding));
    const auto alone = read(with("foot: 12(20) mm", "foot: 12(20) mm, mirror_lean: 5.0(5) deg"));
    REQUIRE(alone.assumptions.size() == 2);
    CHECK(alone.assumptions[0].starts_with("the laser stands level with the mirror"));
    CHECK(alone.assumptions[1].starts_with("seen from above, the laser stands in line"));
  }

  TEST_CASE("a laser's place without a lean, and a mirror that hardly stands, are refused") {
    CHECK(error_of(with("foot: 12(20) mm", "laser: 300 mm")) ==
          "b.yaml:8: optical_lever.laser says nothing without mirror_lean; give that too, or leave "
          "it out");
    CHECK(error_of(with("foot: 12(20) mm", "mirror_lean: 40 deg")) ==
          "b.yaml:8: optical_lever.mirror_lean must lie between -15 and 15 deg, but is '40 deg'");
    CHECK(error_of(with("foot: 12(20) mm", "mirror_lean: 5(10) deg")) ==
          "b.yaml:8: optical_lever.mirror_lean is too uncertain, '5(10) deg'; measure it better");
  }

  TEST_CASE("an unknown key is named with line, place and what is known there") {
    CHECK(error_of(with("length: 134 mm", "lenght: 134 mm, length: 134 mm")) ==
          "b.yaml:5: unknown key 'lenght' in boom.rod, perhaps 'length' is meant; "
          "known here: mass, length, width");
    CHECK(error_of(kBalance + "places: {}\n") ==
          "b.yaml:10: unknown key 'places'; known here: title, source_masses, test_masses, boom, "
          "sides, separation, optical_lever, wire, scale");
  }

  TEST_CASE("a missing key is named") {
    CHECK(error_of(with("separation: 52.0(3) mm\n", "")) ==
          "b.yaml:1: the key 'separation' is missing");
    CHECK(error_of(with("arm: 58.0(2) mm,", "")) == "b.yaml:4: the key 'arm' is missing in boom");
  }

  TEST_CASE("a duplicate key is named with both lines") {
    CHECK(error_of(kBalance + "separation: 53 mm\n") ==
          "b.yaml:10: separation stands here for the second time (first in line 6)");
  }

  TEST_CASE("a wrong unit is named as the dimension it has") {
    CHECK(error_of(with("separation: 52.0(3) mm", "separation: 52 kg")) ==
          "b.yaml:6: separation is a length, but '52 kg' is a mass");
  }

  TEST_CASE("a malformed quantity is quoted") {
    CHECK(error_of(with("52.0(3) mm", "52.0(3 mm")) ==
          "b.yaml:6: separation cannot be read as a quantity: '52.0(3 mm' (the parenthesis is not "
          "closed; write it like 46.0(3) mm, 46.0 +/- 0.3 mm or 46 mm)");
  }

  TEST_CASE("impossible values are named with their line") {
    CHECK(error_of(with("2.213(1) kg", "-2.213(1) kg")) ==
          "b.yaml:2: source_masses.mass must be above zero, but is '-2.213(1) kg'");
    CHECK(error_of(with("34.6(1) g", "0 g")) ==
          "b.yaml:3: test_masses.mass must be above zero, but is '0 g'");
    CHECK(error_of(with("2.0(2)e-8 kg m2", "-2.0(2)e-8 kg m2")) ==
          "b.yaml:5: boom.mirror_inertia must not be negative");
    CHECK(error_of(with("0.9999(4)", "0")) ==
          "b.yaml:9: scale.factor must be above zero, but is '0'");
  }

  TEST_CASE("touching masses are refused with both numbers") {
    CHECK(error_of(with("52.0(3) mm", "44.0(3) mm")) ==
          "b.yaml:6: separation is 44 mm, but the masses touch at 45 mm (half of a source mass "
          "and "
          "half of a test mass); it is measured from centre to centre");
    // A thick rod may be met before the test mass is.
    CHECK(error_of(with("width: 3 mm", "width: 34 mm")) ==
          "b.yaml:6: separation is 52 mm, but a source mass touches the rod at 53 mm");
  }

  TEST_CASE("extended masses that may touch, for all that is known of them, are refused") {
    const std::string bricks =
        with(with("{shape: sphere, mass: 2.213(1) kg, diameter: 72.0(1) mm, material: lead}",
                  "{shape: box, size: [60 mm, 50.0(2) mm, 60 mm], mass: 2.04 kg, material: lead}"),
             "{shape: sphere, mass: 34.6(1) g, diameter: 18.0 mm, material: lead}",
             "{shape: cylinder, axis: vertical, diameter: 20 mm, length: 20 mm, mass: 71 g, "
             "material: lead}");
    CHECK(error_of(bricks) == "no error");
    // 36 mm - 25 mm - 10 mm are free, known to 0.8 mm and half of 0.2 mm.
    CHECK(error_of(with(bricks, "52.0(3) mm", "36.0(8) mm")) ==
          "b.yaml:6: separation is too uncertain: the masses have 1 mm between them, known to "
          "0.81 mm only with their sizes, so that they might as well touch; measure better, or "
          "move them apart");
    // Spheres pull as points, however near their surfaces are.
    CHECK(error_of(with("52.0(3) mm", "45.2(3) mm")) == "no error");
  }

  TEST_CASE("places of the source masses stand instead of a separation") {
    const Apparatus balance = read(with("separation: 52.0(3) mm\n", kSides));
    CHECK(!balance.separation_m);
    REQUIRE(balance.sides.has_value());
    CHECK(balance.sides->plus[0].along_m.value == within_rel(0.059, kReadRounding));
    CHECK(balance.sides->plus[1].across_m.value == within_rel(-0.0518, kReadRounding));
    CHECK(balance.sides->plus[1].across_m.u == within_rel(0.0002, kReadRounding));
    CHECK(balance.sides->minus[1].height_m.value == within_rel(0.0005, kReadRounding));
    CHECK(balance.warnings.empty());
  }

  TEST_CASE("faults of the places of the source masses are named") {
    const auto placed = [](const std::string& from, const std::string& to) {
      return with(with("separation: 52.0(3) mm\n", kSides), from, to);
    };
    CHECK(error_of(kBalance + kSides) ==
          "b.yaml:10: sides says where the source masses stand, and so does separation: leave one "
          "of them out");
    CHECK(error_of(placed("[-58.2(2) mm, -51.8(2) mm, 0 mm]", "[-58.2(2) mm, -51.8(2) mm]")) ==
          "b.yaml:7: sides.plus.second must be three lengths, along the boom, across it and "
          "upwards, all from where the wire meets the boom, but has 2");
    CHECK(error_of(placed("  minus: {first: [58.4(2) mm, -52.4(2) mm, 0 mm],\n"
                          "          second: [-57.9(2) mm, 52.1(2) mm, 0.5(5) mm]}\n",
                          "")) == "b.yaml:6: the key 'minus' is missing in sides");
    CHECK(error_of(placed("first: [59.0(2) mm, 52.2(2) mm, 0 mm], ", "")) ==
          "b.yaml:7: the key 'first' is missing in sides.plus");
    CHECK(error_of(placed("52.2(2) mm", "52.2(2) g")) ==
          "b.yaml:7: sides.plus.first is a length, but '52.2(2) g' is a mass");
    CHECK(error_of(placed("  minus: {", "  minus: {third: [1 mm, 2 mm, 3 mm], ")) ==
          "b.yaml:8: unknown key 'third' in sides.minus; known here: first, second");
    // 44 mm across and 1 mm along: 44.0114 mm; the spheres touch at 45 mm
    CHECK(error_of(placed("52.2(2) mm", "44.0(2) mm")) ==
          "b.yaml:6: sides leaves no room: first of plus touches a test mass, whose centre is "
          "44.0114 mm away with the boom midway; coordinates are of centres, from where the wire "
          "meets the boom");
    // the rod of 3 mm ends 67 mm from the wire; a sphere of 72 mm touches it at 37.5 mm
    CHECK(error_of(placed("[-57.9(2) mm, 52.1(2) mm, 0.5(5) mm]", "[0 mm, 37 mm, 0 mm]")) ==
          "b.yaml:6: sides leaves no room: second of minus touches the rod");
    CHECK(error_of(placed("[-58.2(2) mm, -51.8(2) mm, 0 mm]", "[40 mm, 60 mm, 0 mm]")) ==
          "b.yaml:6: sides leaves no room: the source masses of plus overlap, with 20.5387 mm from "
          "centre to centre");
    CHECK(error_of(placed("[58.4(2) mm, -52.4(2) mm, 0 mm],\n"
                          "          second: [-57.9(2) mm, 52.1(2) mm, 0.5(5) mm]",
                          "[59.0 mm, 52.2 mm, 0 mm], second: [-58.2 mm, -51.8 mm, 0 mm]")) ==
          "b.yaml:6: sides pulls the boom on plus as on minus, so that nothing would shift; is a "
          "sign wrong? Across the boom, places on plus and minus lie on opposite sides of it");
    const std::string opposed = only_warning(placed("-51.8(2) mm", "55.8(2) mm"));
    CHECK(
        opposed ==
        "b.yaml:6: sides: first and second of plus turn the boom opposite ways; is a sign wrong?");
    const std::string in_metres =
        only_warning(placed("[59.0(2) mm, 52.2(2) mm, 0 mm]", "[59.0 mm, 52.2 m, 0 mm]"));
    CHECK(in_metres.starts_with("b.yaml:6: sides: 13089.1 mm is unusual (expected 5 to 225 mm)"));
  }

  TEST_CASE("where the sources are put away to may be said too") {
    const auto placed = [](const std::string& away) {
      return with("separation: 52.0(3) mm\n", kSides + "  away: " + away + "\n");
    };
    const std::string apart =
        "{first: [5(1) mm, 120(1) mm, 0 mm], second: [0 mm, -120(1) mm, 0 mm]}";
    const Apparatus balance = read(placed(apart));
    REQUIRE(balance.sides.has_value());
    REQUIRE(balance.sides->away.has_value());
    CHECK((*balance.sides->away)[0].along_m.value == within_rel(0.005, kReadRounding));
    CHECK((*balance.sides->away)[1].across_m.u == within_rel(0.001, kReadRounding));
    CHECK(balance.warnings.empty());
    CHECK_FALSE(read(with("separation: 52.0(3) mm\n", kSides)).sides->away.has_value());

    CHECK(error_of(placed("{first: [5 mm, 120 mm, 0 mm]}")) ==
          "b.yaml:10: the key 'second' is missing in sides.away");
    CHECK(error_of(placed("{first: [5 mm, 120 mm], second: [0 mm, -120 mm, 0 mm]}")) ==
          "b.yaml:10: sides.away.first must be three lengths, along the boom, across it and "
          "upwards, all from where the wire meets the boom, but has 2");
    CHECK(error_of(placed("{first: [53 mm, 0 mm, 30 mm], second: [0 mm, -120 mm, 0 mm]}")) ==
          "b.yaml:6: sides leaves no room: first of away touches a test mass, whose centre is "
          "30.4138 mm away with the boom midway; coordinates are of centres, from where the wire "
          "meets the boom");
    // Places near side plus, named away by mistake.
    const std::string mistaken =
        only_warning(placed("{first: [59 mm, 49.2 mm, 0 mm], second: [-58.2 mm, -49.8 mm, 0 mm]}"));
    // The pulls on the test masses beside them, b/(a^2 + b^2)^(3/2): 1.109 of those of plus and
    // minus.
    CHECK(mistaken ==
          "b.yaml:6: sides: away turns the boom by 111 % of what plus and minus do; is a sign or a "
          "place wrong?");
  }

  TEST_CASE("shapes, axes and sizes must be known ones") {
    CHECK(error_of(with("shape: sphere", "shape: egg")) ==
          "b.yaml:2: source_masses.shape must be sphere, cylinder or box, but is 'egg'");
    CHECK(error_of(with("shape: sphere,", "shape: cylinder, length: 5 cm, axis: up,")) ==
          "b.yaml:2: source_masses.axis must be vertical, along_boom or across, but is 'up'");
    const std::string sphere = "shape: sphere, mass: 2.213(1) kg, diameter: 72.0(1) mm";
    CHECK(error_of(with(sphere, "shape: box, mass: 2.2 kg, size: [5 cm, 6 cm]")) ==
          "b.yaml:2: source_masses.size must be three lengths, along the boom, across it and "
          "vertical, but has 2");
    CHECK(error_of(with(sphere, "shape: box, mass: 2.2 kg, size: [5 cm, 0 cm, 4 cm]")) ==
          "b.yaml:2: source_masses.size must be above zero in all three directions");
    CHECK(error_of(with("shape: sphere", "shape: box, size: [5 cm, 6 cm, 4 cm]")) ==
          "b.yaml:2: unknown key 'diameter' in source_masses; known here: shape, size, mass, "
          "material");
  }

  TEST_CASE("a density that does not fit the material is a warning") {
    // 2.627 kg in a sphere of 72 mm: 13 442 kg/m3, lead has 11 340 (handbook, from memory).
    CHECK(only_warning(with("2.213(1) kg", "2.627(1) kg")) ==
          "b.yaml:2: source_masses: mass and size give 13442 kg/m3, 19 % more than lead (11340 "
          "kg/m3); check both, or name the alloy");
  }

  TEST_CASE("iron and steel are warned of") {
    CHECK(only_warning(with("material: lead", "material: Cast iron")) ==
          "b.yaml:2: source_masses: cast iron can be magnetic, and a magnetic pull looks like "
          "gravity; test it with a compass needle or use lead, tungsten or brass");
  }

  TEST_CASE("masses that are both ferromagnetic are warned of as a pair too") {
    const std::string steel = with("material: lead", "material: steel");
    const std::string text = with(steel, "material: lead", "material: nickel");
    const auto warnings = read(text).warnings;
    const auto pair = std::ranges::find_if(warnings, [](const std::string& w) {
      return w.starts_with("source masses of steel and test masses of nickel pull at each other");
    });
    CHECK(pair != warnings.end());
    CHECK(std::ranges::none_of(read(steel).warnings, [](const std::string& w) {
      return w.starts_with("source masses of");
    }));
  }

  TEST_CASE("an empty material says nothing and is accepted") {
    CHECK(read(with(", material: lead", "")).source.material.empty());
  }
}
