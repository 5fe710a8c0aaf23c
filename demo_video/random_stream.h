#pragma once

#include <cstdint>
#include <random>

namespace nightswing::demo {

/// Each use of chance in a night has its own stream, so that one night with and without a film, or
/// with more torque noise, still draws the same errors of measurement.
enum class Chance : std::uint32_t { kTorque = 1, kCamera = 2, kReading = 3, kPaint = 4 };

inline std::mt19937_64 random_stream(std::uint64_t seed, Chance purpose) {
  std::seed_seq sequence{static_cast<std::uint32_t>(seed),
                         static_cast<std::uint32_t>(seed >> 32),
                         static_cast<std::uint32_t>(purpose)};
  return std::mt19937_64(sequence);
}

}  // namespace nightswing::demo
