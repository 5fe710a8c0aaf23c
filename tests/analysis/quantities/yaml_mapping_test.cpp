#include "analysis/quantities/yaml_mapping.h"

#include <filesystem>
#include <fstream>
#include <string>

#include <doctest/doctest.h>

#include "tests/support/error_text.h"

using namespace nightswing::analysis;
using nightswing::test::error_text;

namespace {

YamlMapping read(const std::string& text) {
  return YamlMapping::from_text(text, "a.yaml");
}

}  // namespace

TEST_SUITE("yaml_mapping") {
  TEST_CASE("values, numbers, quantities, mappings and lists are read") {
    auto file = read(
        "title: Cellar\n"
        "count: 12.5\n"
        "separation: 46.0(3) mm\n"
        "boom: {arm: 50 mm}\n"
        "size: [1 mm, 2 mm]\n"
        "map: [1, -2.5e3]\n"
        "marks:\n  - {x: 1}\n  - {x: 2}\n"
        "names: []\n");
    CHECK(file.text("title") == "Cellar");
    CHECK(file.number("count") == 12.5);
    CHECK(file.optional_number("count") == 12.5);
    CHECK(file.quantity("separation", Dimension::kLength) ==
          parse_quantity("46.0(3) mm", Dimension::kLength));
    auto boom = file.mapping("boom");
    CHECK(boom.quantity("arm", Dimension::kLength).value == 0.05);
    boom.finish();
    CHECK(file.quantities("size", Dimension::kLength).size() == 2);
    CHECK(file.numbers("map") == std::vector<double>{1.0, -2500.0});
    auto marks = file.mappings("marks");
    REQUIRE(marks.size() == 2);
    CHECK(marks[1].number("x") == 2.0);
    CHECK(file.texts("names").empty());
    CHECK_NOTHROW(file.finish());
  }

  TEST_CASE("an optional key may be absent and is then known") {
    auto file = read("title: Cellar\nwatch: 3\n");
    CHECK_FALSE(file.optional_text("note").has_value());
    CHECK_FALSE(file.optional_number("rate").has_value());
    CHECK_FALSE(file.optional_quantity("foot", Dimension::kLength).has_value());
    CHECK_FALSE(file.optional_mapping("wire").has_value());
    CHECK(file.has("title"));
    CHECK_FALSE(file.has("note"));
    CHECK(error_text([&] { file.finish(); }) ==
          "a.yaml:1: unknown key 'title'; known here: note, rate, foot, wire");
  }

  TEST_CASE("an unknown key is named with its line, its place and the key that is meant") {
    auto file = read("boom:\n  arm: 50 mm\n  lenght: 116 mm\n");
    auto boom = file.mapping("boom");
    CHECK(boom.text("arm") == "50 mm");
    static_cast<void>(boom.optional_text("length"));
    static_cast<void>(boom.optional_text("mirror_inertia"));
    CHECK(error_text([&] { boom.finish(); }) ==
          "a.yaml:3: unknown key 'lenght' in boom, perhaps 'length' is meant; "
          "known here: arm, length, mirror_inertia");
  }

  TEST_CASE("no suggestion is made when nothing known resembles the unknown key") {
    auto file = read("colour: red\narm: 1\n");
    static_cast<void>(file.text("arm"));
    CHECK(error_text([&] { file.finish(); }) == "a.yaml:1: unknown key 'colour'; known here: arm");
    auto boom = read("mirror_weight: 1\n");
    static_cast<void>(boom.optional_text("mirror_inertia"));
    CHECK(error_text([&] { boom.finish(); }) ==
          "a.yaml:1: unknown key 'mirror_weight'; known here: mirror_inertia");
  }

  TEST_CASE("a missing key is named with the place that lacks it") {
    auto file = read("title: Cellar\nboom:\n  rod: {mass: 3 g}\n");
    auto rod = file.mapping("boom").mapping("rod");
    CHECK(error_text([&] { static_cast<void>(rod.text("length")); }) ==
          "a.yaml:3: the key 'length' is missing in boom.rod");
    CHECK(error_text([&] { static_cast<void>(file.text("separation")); }) ==
          "a.yaml:1: the key 'separation' is missing");
    auto mistyped = read("a: 1\nseperation: 46 mm\n");
    CHECK(error_text([&] { static_cast<void>(mistyped.text("separation")); }) ==
          "a.yaml:1: the key 'separation' is missing; is 'seperation' in line 2 meant for it?");
  }

  TEST_CASE("a duplicate key is refused with both lines") {
    CHECK(error_text([] { static_cast<void>(read("arm: 1\nrod: 2\narm: 3\n")); }) ==
          "a.yaml:3: arm stands here for the second time (first in line 1)");
    auto file = read("boom: {arm: 1, rod: 2,\n       arm: 3}\n");
    CHECK(error_text([&] { static_cast<void>(file.mapping("boom")); }) ==
          "a.yaml:2: boom.arm stands here for the second time (first in line 1)");
  }

  TEST_CASE("a value of the wrong kind is named") {
    auto file = read("boom: 3\nname: {a: 1}\nempty:\nlist: [[1], 2]\nlength: 46 kg\nrate: 2 fps\n");
    CHECK(error_text([&] { static_cast<void>(file.mapping("boom")); }) ==
          "a.yaml:1: boom must be a mapping of the form {key: value}, but is a single value");
    CHECK(error_text([&] { static_cast<void>(file.text("name")); }) ==
          "a.yaml:2: name must be a single value, but is a mapping");
    CHECK(error_text([&] { static_cast<void>(file.text("empty")); }) ==
          "a.yaml:3: empty has no value");
    CHECK(error_text([&] { static_cast<void>(file.texts("name")); }) ==
          "a.yaml:2: name must be a list such as [a, b], but is a mapping");
    CHECK(error_text([&] { static_cast<void>(file.texts("empty")); }) ==
          "a.yaml:3: empty must be a list such as [a, b], but is empty");
    CHECK(error_text([&] { static_cast<void>(file.texts("list")); }) ==
          "a.yaml:4: list must be a list of single values");
    CHECK(error_text([&] { static_cast<void>(file.quantity("length", Dimension::kLength)); }) ==
          "a.yaml:5: length is a length, but '46 kg' is a mass");
    CHECK(error_text([&] { static_cast<void>(file.number("rate")); }) ==
          "a.yaml:6: rate must be a number with a decimal point, but is '2 fps'");
  }

  TEST_CASE("a quantity that must be above zero and three lengths are refused if they are not") {
    auto file = read("mass: 3 g\nnone: 0 g\nbox: [1 mm, 2 mm, 3 mm]\nflat: [1 mm, 2 mm]\n");
    CHECK(file.positive_quantity("mass", Dimension::kMass).value == 0.003);
    CHECK(error_text([&] {
            static_cast<void>(file.positive_quantity("none", Dimension::kMass));
          }) == "a.yaml:2: none must be above zero, but is '0 g'");
    CHECK(file.three_lengths("box", "in order")[1].value == 0.002);
    CHECK(error_text([&] { static_cast<void>(file.three_lengths("flat", "in order")); }) ==
          "a.yaml:4: flat must be three lengths, in order, but has 2");
  }

  TEST_CASE("a file that is no YAML mapping is refused with the line") {
    const auto refusal = [](const std::string& text) {
      return error_text([&] { static_cast<void>(read(text)); });
    };
    CHECK(refusal("a: 1\nb: {c: 2\n").substr(0, 25) == "a.yaml:3: not valid YAML:");
    CHECK(refusal("") == "a.yaml: the file is empty");
    CHECK(refusal("# only a comment\n") == "a.yaml: the file is empty");
    CHECK(refusal("- 1\n- 2\n") ==
          "a.yaml:1: the file must be a mapping of the form {key: value}, but is a list");
    CHECK(refusal("a: 1\n---\nb: 2\n") ==
          "a.yaml:3: a second document begins here; keep one in a file");
    CHECK(refusal("[1, 2]: 3\n") == "a.yaml:1: a key must be a single word, but is a list");
    CHECK(refusal("a: *nowhere\n").substr(0, 25) == "a.yaml:1: not valid YAML:");
    CHECK(refusal("a:\n  b: 1\n\tc: 2\n") ==
          "a.yaml:3: the line is indented with a tab; use blanks");
  }

  TEST_CASE("a file that cannot be read is named") {
    CHECK(error_text([] { static_cast<void>(YamlMapping::from_file("/nonexistent/b.yaml")); }) ==
          "there is no file /nonexistent/b.yaml; look where it lies and how it is written");
    CHECK(error_text([] { static_cast<void>(YamlMapping::from_file("/")); }) ==
          "/ is a folder; name the file in it");
  }
}
