#include "analysis/quantities/quantity.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <numbers>
#include <utility>

#include <fmt/format.h>

namespace nightswing::analysis {
namespace {

struct Unit {
  std::string_view symbol;
  Dimension dimension;
  double si_factor;
};

constexpr double kDegree = std::numbers::pi / 180;

constexpr std::array kUnits{
    Unit{"m", Dimension::kLength, 1.0},
    Unit{"cm", Dimension::kLength, 1e-2},
    Unit{"mm", Dimension::kLength, 1e-3},
    Unit{"um", Dimension::kLength, 1e-6},
    Unit{"kg", Dimension::kMass, 1.0},
    Unit{"g", Dimension::kMass, 1e-3},
    Unit{"mg", Dimension::kMass, 1e-6},
    Unit{"deg", Dimension::kAngle, kDegree},
    Unit{"mrad", Dimension::kAngle, 1e-3},
    Unit{"rad", Dimension::kAngle, 1.0},
    Unit{"kg m2", Dimension::kInertia, 1.0},
    Unit{"g cm2", Dimension::kInertia, 1e-7},
};

constexpr std::string_view kHowToWrite = "write it like 46.0(3) mm, 46.0 +/- 0.3 mm or 46 mm";

[[noreturn]] void fail_malformed(std::string_view text, std::string_view reason) {
  throw QuantityError(
      fmt::format("cannot be read as a quantity: '{}' ({}; {})", text, reason, kHowToWrite));
}

struct NamedDistribution {
  std::string_view word;
  Distribution distribution;
  double square_ratio;  // (half-width/standard uncertainty)^2
};

constexpr std::array kDistributions{
    NamedDistribution{"rect", Distribution::kRectangular, 3.0},
    NamedDistribution{"tri", Distribution::kTriangular, 6.0},
    NamedDistribution{"arcsine", Distribution::kArcsine, 2.0},
};

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

// One spelling for each unit: single blanks, no ^, no superscripts, u for micro.
std::string normal_unit(std::string_view text) {
  using Spelling = std::pair<std::string_view, char>;
  constexpr std::array kSpellings{Spelling{"\u00b2", '2'},
                                  Spelling{"\u00b3", '3'},
                                  Spelling{"\u00b5", 'u'},   // micro sign
                                  Spelling{"\u03bc", 'u'}};  // Greek mu
  std::string unit;
  std::string_view rest = trimmed(text);
  while (!rest.empty()) {
    const auto spelling = std::ranges::find_if(
        kSpellings, [rest](const Spelling& known) { return rest.starts_with(known.first); });
    if (spelling != kSpellings.end()) {
      unit += spelling->second;
      rest.remove_prefix(spelling->first.size());
      continue;
    }
    const char c = rest.front() == '\t' ? ' ' : rest.front();
    rest.remove_prefix(1);
    if (c != '^' && !(c == ' ' && unit.ends_with(' '))) unit += c;
  }
  return unit;
}

std::string known_units(Dimension dimension) {
  std::string list;
  for (const Unit& unit : kUnits) {
    if (unit.dimension != dimension) continue;
    if (!list.empty()) list += ", ";
    list += unit.symbol;
  }
  return list;
}

double si_factor(std::string_view text, std::string_view unit_text, Dimension expected) {
  const std::string symbol = normal_unit(unit_text);
  if (symbol.empty()) {
    if (expected == Dimension::kNumber) return 1.0;
    throw QuantityError(fmt::format("is {}, but '{}' has no unit (known here: {})",
                                    name_of(expected),
                                    text,
                                    known_units(expected)));
  }
  if (symbol.front() == ',') fail_malformed(text, "the decimal sign is a point");
  const auto unit = std::ranges::find(kUnits, symbol, &Unit::symbol);
  if (unit == kUnits.end()) {
    if (symbol.front() == '+' || symbol.front() == '-' || symbol.front() == '(') {
      fail_malformed(text, fmt::format("'{}' is not understood", symbol));
    }
    if (expected == Dimension::kNumber) {
      throw QuantityError(fmt::format(
          "is a plain number, but '{}' goes on with '{}' after the number", text, symbol));
    }
    throw QuantityError(fmt::format("is {}, but '{}' has the unknown unit '{}' (known here: {})",
                                    name_of(expected),
                                    text,
                                    symbol,
                                    known_units(expected)));
  }
  if (unit->dimension != expected) {
    throw QuantityError(
        fmt::format("is {}, but '{}' is {}", name_of(expected), text, name_of(unit->dimension)));
  }
  return unit->si_factor;
}

// Takes a run of characters from the front of `rest`.
template <typename Wanted>
std::string_view take_while(std::string_view& rest, Wanted wanted) {
  const auto end = std::ranges::find_if_not(rest, wanted);
  const auto count = static_cast<std::size_t>(end - rest.begin());
  const std::string_view taken = rest.substr(0, count);
  rest.remove_prefix(count);
  return taken;
}

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

// Takes "e-8" if it stands in front and returns -8, else 0.
std::optional<int> take_exponent(std::string_view& rest) {
  if (rest.empty() || (rest.front() != 'e' && rest.front() != 'E')) return 0;
  std::string_view ahead = rest.substr(1);
  const bool negative = !ahead.empty() && ahead.front() == '-';
  if (!ahead.empty() && (ahead.front() == '-' || ahead.front() == '+')) ahead.remove_prefix(1);
  const std::string_view digits = take_while(ahead, is_digit);
  int exponent = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), exponent);
  if (error != std::errc{} || end != digits.data() + digits.size()) return std::nullopt;
  rest = ahead;
  return negative ? -exponent : exponent;
}

// Takes "-12.30" from the front; empty if no number stands there.
std::string_view take_mantissa(std::string_view& rest) {
  std::string_view ahead = rest;
  if (!ahead.empty() && ahead.front() == '-') ahead.remove_prefix(1);
  take_while(ahead, [](char c) { return is_digit(c) || c == '.'; });
  const std::string_view mantissa = rest.substr(0, rest.size() - ahead.size());
  if (!parse_number(mantissa)) return {};
  rest = ahead;
  return mantissa;
}

int decimals_of(std::string_view mantissa) {
  const auto point = mantissa.find('.');
  return point == std::string_view::npos ? 0 : static_cast<int>(mantissa.size() - point - 1);
}

// Composing the text first leaves the rounding to from_chars: 2.0e-8 is then the nearest double.
double scaled(std::string_view text, std::string_view mantissa, int exponent) {
  const auto number = parse_number(fmt::format("{}e{}", mantissa, exponent));
  if (!number) fail_malformed(text, "the number is out of range");
  return *number;
}

int exponent_or_fail(std::string_view text, std::string_view& rest) {
  const auto exponent = take_exponent(rest);
  if (!exponent) fail_malformed(text, "digits are missing after the e");
  return *exponent;
}

Measured take_parenthesised(std::string_view text,
                            std::string_view mantissa,
                            std::string_view& rest) {
  rest.remove_prefix(1);
  const std::string_view digits = take_while(rest, [](char c) { return is_digit(c) || c == '.'; });
  if (!parse_number(digits)) fail_malformed(text, "digits are missing in the parentheses");
  if (rest.empty() || rest.front() != ')') fail_malformed(text, "the parenthesis is not closed");
  rest.remove_prefix(1);
  const int exponent = exponent_or_fail(text, rest);
  const bool has_point = digits.find('.') != std::string_view::npos;
  const int shift = has_point ? 0 : decimals_of(mantissa);
  return {scaled(text, mantissa, exponent), scaled(text, digits, exponent - shift)};
}

bool take_plus_minus(std::string_view& rest) {
  const std::string_view ahead = trimmed(rest);
  for (const std::string_view sign : {"+/-", "\u00b1"}) {
    if (ahead.substr(0, sign.size()) == sign) {
      rest = trimmed(ahead.substr(sign.size()));
      return true;
    }
  }
  return false;
}

Measured take_value(std::string_view text, std::string_view& rest) {
  const std::string_view mantissa = take_mantissa(rest);
  if (mantissa.empty()) fail_malformed(text, "it does not start with a number");
  if (!rest.empty() && rest.front() == '(') return take_parenthesised(text, mantissa, rest);
  const double value = scaled(text, mantissa, exponent_or_fail(text, rest));
  if (!take_plus_minus(rest)) return {value, 0.0};
  const std::string_view spread = take_mantissa(rest);
  if (spread.empty()) fail_malformed(text, "a number is missing after the sign +/-");
  const double u = scaled(text, spread, exponent_or_fail(text, rest));
  if (u < 0) fail_malformed(text, "the uncertainty is negative");
  return {value, u};
}

struct RoundedSpread {
  int two_digits;  // 10 to 99
  int last_place;  // power of ten that the second digit stands at
};

RoundedSpread round_spread(double u) {
  const std::string digits = fmt::format("{:.1e}", u);  // "9.6e-03"; rounds 0.00996 to 1.0e-02
  int exponent = 0;
  const auto sign_at = digits.find('e') + 1;
  const auto from = digits[sign_at] == '+' ? sign_at + 1 : sign_at;
  std::from_chars(digits.data() + from, digits.data() + digits.size(), exponent);
  return {(digits[0] - '0') * 10 + (digits[2] - '0'), exponent - 1};
}

std::string without_negative_zero(std::string number) {
  const bool is_zero = number.find_first_of("123456789") == std::string::npos;
  if (is_zero && number.front() == '-') number.erase(0, 1);
  return number;
}

// The number rounded to a multiple of 10^place.
std::string format_rounded(double number, int place) {
  if (place <= 0) return without_negative_zero(fmt::format("{:.{}f}", number, -place));
  const double unit = std::pow(10.0, place);
  return without_negative_zero(fmt::format("{:.0f}", std::round(number / unit) * unit));
}

std::string format_spread(int two_digits, int place) {
  if (place >= 0) return fmt::format("{:.0f}", two_digits * std::pow(10.0, place));
  // "(45)" would be read as 4.5 or as 45: a point settles it.
  if (place == -1) return fmt::format("{}.{}", two_digits / 10, two_digits % 10);
  return std::to_string(two_digits);
}

std::string format_value_and_spread(Measured quantity) {
  const RoundedSpread spread = round_spread(quantity.u);
  // The leading place is that of the rounded number: 9.9996(10) becomes 10.0.
  const double rounding = 0.5 * std::pow(10.0, spread.last_place);
  const double largest = std::max(std::abs(quantity.value) + rounding, quantity.u);
  const int leading_place =
      std::max(static_cast<int>(std::floor(std::log10(largest))), spread.last_place + 1);
  const bool plain = leading_place >= -4 && leading_place < 6;
  const int exponent = plain ? 0 : leading_place;
  const int place = spread.last_place - exponent;
  return fmt::format("{}({}){}",
                     format_rounded(quantity.value / std::pow(10.0, exponent), place),
                     format_spread(spread.two_digits, place),
                     plain ? "" : fmt::format("e{}", exponent));
}

// The distribution that the text ends with, taken off it; none: nullptr.
const NamedDistribution* take_distribution(std::string_view& rest) {
  for (const NamedDistribution& named : kDistributions) {
    if (!rest.ends_with(named.word)) continue;
    const std::string_view before = rest.substr(0, rest.size() - named.word.size());
    if (before.empty() || (before.back() != ' ' && before.back() != '\t')) continue;
    rest = trimmed(before);
    return &named;
  }
  return nullptr;
}

}  // namespace

std::string_view name_of(Dimension dimension) {
  switch (dimension) {
    case Dimension::kNumber:
      return "a plain number";
    case Dimension::kLength:
      return "a length";
    case Dimension::kMass:
      return "a mass";
    case Dimension::kAngle:
      return "an angle";
    case Dimension::kInertia:
      return "a moment of inertia";
  }
  throw std::invalid_argument("name_of: no such dimension");
}

Measured parse_quantity(std::string_view text, Dimension expected) {
  std::string_view rest = trimmed(text);
  if (rest.empty()) throw QuantityError("has no value");
  const NamedDistribution* named = take_distribution(rest);
  if (named != nullptr && rest.find("+/-") == std::string_view::npos &&
      rest.find("\u00b1") == std::string_view::npos) {
    throw QuantityError(
        fmt::format("needs its limits as +/- before '{}', as in 46 +/- 0.5 mm {}, but is '{}'",
                    named->word,
                    named->word,
                    text));
  }
  const Measured number = take_value(text, rest);
  const double factor = si_factor(text, rest, expected);
  if (named == nullptr) return {number.value * factor, number.u * factor};
  return {number.value * factor,
          number.u * factor / std::sqrt(named->square_ratio),
          named->distribution};
}

std::optional<double> parse_number(std::string_view text) {
  double number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  const bool whole = error == std::errc{} && end == text.data() + text.size();
  if (!whole || !std::isfinite(number)) return std::nullopt;
  return number;
}

std::string format_quantity(Measured quantity, std::string_view unit) {
  if (!std::isfinite(quantity.value) || !std::isfinite(quantity.u) || quantity.u < 0) {
    throw std::invalid_argument("format_quantity: value or uncertainty is not a usable number");
  }
  const std::string number = quantity.u > 0
                                 ? format_value_and_spread(quantity)
                                 : without_negative_zero(fmt::format("{:.10g}", quantity.value));
  return unit.empty() ? number : fmt::format("{} {}", number, unit);
}

}  // namespace nightswing::analysis
