#pragma once

#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>

#include "analysis/quantities/measured.h"

/// Quantities as people write them: `46.0(3) mm`, `46.0 +/- 0.3 mm`, `46.0 ± 0.3 mm`, `46 mm`.
/// The notation is that of JCGM 100:2008, 7.2.2: digits in parentheses stand under the last digits
/// of the value, unless they carry a decimal point themselves (`12.3(4.5) mm` is 12.3 +/- 4.5 mm).
/// Limits instead of a standard uncertainty: `46 +/- 0.5 mm rect` (anything between, equally
/// likely), `tri` (most likely in the middle), `arcsine` (most likely at the limits).
/// A power of ten belongs to both: `2.0(2)e-8 kg m2`. The decimal sign is a point everywhere.
namespace nightswing::analysis {

enum class Dimension { kNumber, kLength, kMass, kAngle, kInertia };

/// "a length", "a plain number", ...
[[nodiscard]] std::string_view name_of(Dimension dimension);

/// What is wrong with a quantity, as the end of a sentence that the caller starts with the name of
/// the thing: "separation" + " " + "is a length, but '46 kg' is a mass".
class QuantityError : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// Reads one quantity and returns it in SI units (m, kg, rad, kg m2).
/// u is 0 when the text gives no uncertainty.
/// units    m cm mm um | kg g mg | rad mrad deg | kg m2, g cm2; `m^2` and `m²` are the same as `m2`
/// throws   QuantityError for malformed text, an unknown unit or another dimension.
[[nodiscard]] Measured parse_quantity(std::string_view text, Dimension expected);

/// Reads a whole text as one finite number with a decimal point; nothing else may stand in it.
[[nodiscard]] std::optional<double> parse_number(std::string_view text);

/// Writes a quantity with two digits of uncertainty: `6.71(12)e-11 m3 kg-1 s-2`, `12.3(4.5) mm`.
/// Without uncertainty (u = 0) the value has up to ten digits. An empty unit is left out.
/// throws   std::invalid_argument if the value or u is not finite or u is negative.
[[nodiscard]] std::string format_quantity(Measured quantity, std::string_view unit);

}  // namespace nightswing::analysis
