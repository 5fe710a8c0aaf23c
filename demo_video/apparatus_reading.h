#pragma once

#include <string>

#include "demo_video/night_settings.h"

namespace nightswing::demo {

/// What somebody read off an instrument, and its standard uncertainty (k = 1), both SI.
struct Reading {
  double value;
  double u;
};

/// The balance as its builder would write it down.
struct ApparatusReading {
  Reading source_mass_kg;
  Reading source_diameter_m;
  Reading test_mass_kg;
  Reading test_diameter_m;
  Reading arm_m;
  Reading rod_mass_kg;
  Reading rod_length_m;
  Reading rod_diameter_m;
  Reading mirror_inertia_kg_m2;
  Reading separation_m;
  Reading mirror_to_wall_m;
  Reading foot_x_mm;
  Reading scale_factor;
};

/// Each reading is the true value plus a normal error of its stated standard uncertainty. The
/// uncertainties are those of a kitchen balance, a calliper and a tape measure, handled with care.
/// The foot is read on the scale, hence in printed millimetres.
[[nodiscard]] ApparatusReading read_apparatus(const NightSettings& settings);

/// A value with its standard uncertainty in the last digits, two of them: "46.13(30)". With
/// `power` the value is written in units of 10^power: "2.05(20)e-8". u must be larger than 0.
[[nodiscard]] std::string concise(const Reading& reading, int power = 0);

/// The apparatus file.
[[nodiscard]] std::string apparatus_yaml(const ApparatusReading& reading);

}  // namespace nightswing::demo
