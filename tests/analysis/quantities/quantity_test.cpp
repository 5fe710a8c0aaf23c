#include "analysis/quantities/quantity.h"

#include <cmath>
#include <limits>
#include <numbers>
#include <string>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::analysis;
using nightswing::test::within_rel;

namespace {

// A conversion to SI is one multiplication: one rounding, 1.2e-16, with a margin of four.
constexpr double kQuantityRounding = 5e-16;

void check_reads(std::string_view text, Dimension dimension, double value_si, double u_si) {
  CAPTURE(text);
  const Measured quantity = parse_quantity(text, dimension);
  CHECK(quantity.value == within_rel(value_si, kQuantityRounding));
  CHECK(quantity.u == within_rel(u_si, kQuantityRounding));
}

std::string error_of(std::string_view text, Dimension dimension) {
  try {
    static_cast<void>(parse_quantity(text, dimension));
  } catch (const QuantityError& error) {
    return error.what();
  }
  return "no error";
}

}  // namespace

TEST_SUITE("quantity") {
  TEST_CASE("limits become standard uncertainties by their distribution") {
    // Half-width a: a/sqrt(3), a/sqrt(6), a/sqrt(2) (JCGM 101:2008, 6.4.2, 6.4.5, 6.4.6)
    const Measured rect = parse_quantity("46 +/- 0.5 mm rect", Dimension::kLength);
    CHECK(rect.value == within_rel(0.046, 1e-12));
    CHECK(rect.u == within_rel(0.5e-3 / std::sqrt(3.0), 1e-12));
    CHECK(rect.distribution == Distribution::kRectangular);
    const Measured tri = parse_quantity("46 \u00b1 0.5 mm tri", Dimension::kLength);
    CHECK(tri.u == within_rel(0.5e-3 / std::sqrt(6.0), 1e-12));
    CHECK(tri.distribution == Distribution::kTriangular);
    const Measured arcsine = parse_quantity("1.000 +/- 0.001 arcsine", Dimension::kNumber);
    CHECK(arcsine.u == within_rel(1e-3 / std::sqrt(2.0), 1e-12));
    CHECK(arcsine.distribution == Distribution::kArcsine);
    CHECK_THROWS_AS(static_cast<void>(parse_quantity("46(1) mm rect", Dimension::kLength)),
                    QuantityError);
    CHECK_THROWS_AS(static_cast<void>(parse_quantity("46 mm tri", Dimension::kLength)),
                    QuantityError);
  }

  // The notation of JCGM 100:2008, 7.2.2: three ways of writing the same result.
  TEST_CASE("the three notations of an uncertainty mean the same") {
    check_reads("46.0(3) mm", Dimension::kLength, 0.046, 0.0003);
    check_reads("46.0 +/- 0.3 mm", Dimension::kLength, 0.046, 0.0003);
    check_reads("46.0 \u00b1 0.3 mm", Dimension::kLength, 0.046, 0.0003);
    check_reads("46.0+/-0.3 mm", Dimension::kLength, 0.046, 0.0003);
    check_reads("  46.0(3)mm ", Dimension::kLength, 0.046, 0.0003);
  }

  TEST_CASE("a quantity without uncertainty has u = 0") {
    check_reads("46 mm", Dimension::kLength, 0.046, 0.0);
    check_reads("-7.5 cm", Dimension::kLength, -0.075, 0.0);
  }

  TEST_CASE("digits in parentheses stand under the last digits of the value") {
    check_reads("2.213(1) kg", Dimension::kMass, 2.213, 0.001);
    check_reads("12(20) mm", Dimension::kLength, 0.012, 0.020);
    check_reads("0.9999(4)", Dimension::kNumber, 0.9999, 0.0004);
    check_reads("1.00(123) kg", Dimension::kMass, 1.0, 1.23);
    check_reads("-12(20) mm", Dimension::kLength, -0.012, 0.020);
  }

  TEST_CASE("parentheses with a decimal point hold the uncertainty itself") {
    check_reads("12.3(4.5) mm", Dimension::kLength, 0.0123, 0.0045);
    check_reads("12.3(45) mm", Dimension::kLength, 0.0123, 0.0045);
    check_reads("46(0.3) mm", Dimension::kLength, 0.046, 0.0003);
  }

  TEST_CASE("a power of ten belongs to value and uncertainty") {
    check_reads("2.0(2)e-8 kg m2", Dimension::kInertia, 2.0e-8, 0.2e-8);
    check_reads("6.67430(15)E-11", Dimension::kNumber, 6.67430e-11, 0.00015e-11);
    check_reads("2.0e-8 +/- 2e-9 kg m2", Dimension::kInertia, 2.0e-8, 2e-9);
    check_reads("1.5e+2 mm", Dimension::kLength, 0.15, 0.0);
  }

  TEST_CASE("every unit has its factor to SI") {
    // BIPM, The International System of Units, 9th edition (2019), tables 4, 7 and 8.
    check_reads("2 m", Dimension::kLength, 2.0, 0);
    check_reads("2 cm", Dimension::kLength, 0.02, 0);
    check_reads("25 um", Dimension::kLength, 25e-6, 0);
    check_reads("25 \u00b5m", Dimension::kLength, 25e-6, 0);
    check_reads("25 \u03bcm", Dimension::kLength, 25e-6, 0);
    check_reads("34.6(1) g", Dimension::kMass, 0.0346, 0.0001);
    check_reads("5 mg", Dimension::kMass, 5e-6, 0);
    check_reads("180 deg", Dimension::kAngle, std::numbers::pi, 0);
    check_reads("5 mrad", Dimension::kAngle, 0.005, 0);
    check_reads("1 rad", Dimension::kAngle, 1, 0);
    check_reads("3 g cm2", Dimension::kInertia, 3e-7, 0);
    check_reads("3 kg m^2", Dimension::kInertia, 3, 0);
    check_reads("3 kg  m\u00b2", Dimension::kInertia, 3, 0);
  }

  TEST_CASE("another dimension is named together with what is wanted") {
    CHECK(error_of("46 kg", Dimension::kLength) == "is a length, but '46 kg' is a mass");
    CHECK(error_of("46 mm", Dimension::kNumber) == "is a plain number, but '46 mm' is a length");
    CHECK(error_of("3 kg m2", Dimension::kMass) ==
          "is a mass, but '3 kg m2' is a moment of inertia");
    CHECK(error_of("3 g", Dimension::kInertia) == "is a moment of inertia, but '3 g' is a mass");
    CHECK(error_of("3 m", Dimension::kAngle) == "is an angle, but '3 m' is a length");
    CHECK(error_of("3 deg", Dimension::kNumber) == "is a plain number, but '3 deg' is an angle");
  }

  TEST_CASE("a decimal comma and a sign that is none are told from a unit") {
    const std::string how = "; write it like 46.0(3) mm, 46.0 +/- 0.3 mm or 46 mm)";
    CHECK(error_of("46,0(3) mm", Dimension::kLength) ==
          "cannot be read as a quantity: '46,0(3) mm' (the decimal sign is a point" + how);
    CHECK(error_of("0,9998", Dimension::kNumber) ==
          "cannot be read as a quantity: '0,9998' (the decimal sign is a point" + how);
    CHECK(error_of("46.0 +- 0.3 mm", Dimension::kLength) ==
          "cannot be read as a quantity: '46.0 +- 0.3 mm' ('+- 0.3 mm' is not understood" + how);
  }

  TEST_CASE("a missing or unknown unit is named together with the known ones") {
    CHECK(error_of("46", Dimension::kLength) ==
          "is a length, but '46' has no unit (known here: m, cm, mm, um)");
    CHECK(error_of("46 inch", Dimension::kLength) ==
          "is a length, but '46 inch' has the unknown unit 'inch' (known here: m, cm, mm, um)");
    CHECK(error_of("46 %", Dimension::kNumber) ==
          "is a plain number, but '46 %' goes on with '%' after the number");
  }

  TEST_CASE("malformed text is quoted with the reason and the way to write it") {
    const std::string advice = "; write it like 46.0(3) mm, 46.0 +/- 0.3 mm or 46 mm)";
    CHECK(error_of("about 46 mm", Dimension::kLength) ==
          "cannot be read as a quantity: 'about 46 mm' (it does not start with a number" + advice);
    CHECK(error_of("46.0(3 mm", Dimension::kLength) ==
          "cannot be read as a quantity: '46.0(3 mm' (the parenthesis is not closed" + advice);
    CHECK(error_of("46.0() mm", Dimension::kLength) ==
          "cannot be read as a quantity: '46.0() mm' (digits are missing in the parentheses" +
              advice);
    CHECK(error_of("46.0 +/- mm", Dimension::kLength) ==
          "cannot be read as a quantity: '46.0 +/- mm' (a number is missing after the sign +/-" +
              advice);
    CHECK(error_of("46.0 +/- -0.3 mm", Dimension::kLength) ==
          "cannot be read as a quantity: '46.0 +/- -0.3 mm' (the uncertainty is negative" + advice);
    CHECK(error_of("2e mm", Dimension::kLength) ==
          "cannot be read as a quantity: '2e mm' (digits are missing after the e" + advice);
    CHECK(error_of("1e999 m", Dimension::kLength) ==
          "cannot be read as a quantity: '1e999 m' (the number is out of range" + advice);
    CHECK(error_of(" ", Dimension::kLength) == "has no value");
  }

  TEST_CASE("nothing but a finite decimal number counts as one") {
    for (const auto* text : {"nan", "inf", "0x10", "1.2.3 mm", "46,0 mm", "1 000", "+-3", "--3"}) {
      CAPTURE(text);
      CHECK(error_of(text, Dimension::kNumber) != "no error");
    }
    CHECK(parse_number("1.5") == 1.5);
    CHECK_FALSE(parse_number("1.5 ").has_value());
    CHECK_FALSE(parse_number("").has_value());
    CHECK_FALSE(parse_number("inf").has_value());
  }

  TEST_CASE("a result is written with two digits of uncertainty") {
    // Two digits at most: JCGM 100:2008, 7.2.6.
    CHECK(format_quantity({6.7134e-11, 0.1234e-11}, "m3 kg-1 s-2") == "6.71(12)e-11 m3 kg-1 s-2");
    CHECK(format_quantity({6.67430e-11, 0.00015e-11}, "") == "6.67430(15)e-11");
    CHECK(format_quantity({46.0, 0.3}, "mm") == "46.00(30) mm");
    CHECK(format_quantity({123456789.0, 120.0}, "") == "1.2345679(12)e8");
  }

  TEST_CASE("an uncertainty between 1 and 10 keeps its decimal point") {
    CHECK(format_quantity({12.34, 4.5}, "mm") == "12.3(4.5) mm");
    CHECK(format_quantity({601.23, 1.04}, "s") == "601.2(1.0) s");
  }

  TEST_CASE("an uncertainty above 10 rounds value and uncertainty before the point") {
    CHECK(format_quantity({12.0, 20.0}, "mm") == "12(20) mm");
    CHECK(format_quantity({12345.0, 1234.0}, "kg/m3") == "12300(1200) kg/m3");
  }

  TEST_CASE("rounding up to the next power of ten moves the digits") {
    CHECK(format_quantity({1.23456, 0.00996}, "") == "1.235(10)");
    CHECK(format_quantity({1.23456, 0.0096}, "") == "1.2346(96)");
    CHECK(format_quantity({5.0, 0.996}, "s") == "5.0(1.0) s");
    CHECK(format_quantity({5.0, 9.96}, "s") == "5(10) s");
    CHECK(format_quantity({9.99996e-7, 0.001e-7}, "") == "1.00000(10)e-6");
  }

  TEST_CASE("values below their uncertainty, negative values and zero are written plainly") {
    CHECK(format_quantity({0.4, 1.24}, "mm") == "0.4(1.2) mm");
    CHECK(format_quantity({-0.5, 0.012}, "mm") == "-0.500(12) mm");
    CHECK(format_quantity({-0.001, 1.2}, "mm") == "0.0(1.2) mm");
    CHECK(format_quantity({0.0, 0.12}, "mm") == "0.00(12) mm");
    CHECK(format_quantity({1.2e-11, 2.0e-10}, "") == "0.1(2.0)e-10");
    CHECK(format_quantity({0.0, 0.0}, "mm") == "0 mm");
  }

  TEST_CASE("without uncertainty the value stands alone") {
    CHECK(format_quantity({46.0, 0.0}, "mm") == "46 mm");
    CHECK(format_quantity({2e-8, 0.0}, "kg m2") == "2e-08 kg m2");
  }

  TEST_CASE("what is written can be read again") {
    const double values[] = {46.0, -3.14159, 0.0, 6.674e-11, 98765.4, 1.2e7, 0.00034};
    const double spreads[] = {0.3, 0.0096, 1.04, 4.5, 37.0, 1.5e-13, 2.2e5};
    for (const double value : values) {
      for (const double u : spreads) {
        const std::string text = format_quantity({value, u}, "");
        CAPTURE(text);
        const Measured again = parse_quantity(text, Dimension::kNumber);
        // Two digits of u are kept: at worst 0.5 in 10, 5 %, and the value to half of that digit.
        CHECK(again.u == within_rel(u, 0.051));
        CHECK(std::abs(again.value - value) <= 0.051 * u);
      }
    }
  }

  TEST_CASE("a number that is not one is a bug of the caller") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(static_cast<void>(format_quantity({nan, 1.0}, "")), std::invalid_argument);
    CHECK_THROWS_AS(static_cast<void>(format_quantity({1.0, -1.0}, "")), std::invalid_argument);
  }
}
