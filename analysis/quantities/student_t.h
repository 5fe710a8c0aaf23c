#pragma once

namespace nightswing::analysis {

/// Probability that a Student t variable stays below t. degrees_of_freedom > 0, infinity = normal.
///   source  regularised incomplete beta function by its continued fraction: Abramowitz and Stegun,
///           Handbook of Mathematical Functions, 26.5.8 and 26.7.1
[[nodiscard]] double student_t_probability(double t, double degrees_of_freedom);

/// The factor by which a standard uncertainty is multiplied to get the half-width of a symmetric
/// interval of the coverage given, 0 < coverage < 1 (JCGM 100:2008, table G.2).
[[nodiscard]] double coverage_factor(double coverage, double degrees_of_freedom);

}  // namespace nightswing::analysis
