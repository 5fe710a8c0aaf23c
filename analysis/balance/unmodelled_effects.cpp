#include "analysis/balance/unmodelled_effects.h"

#include <cmath>

#include <fmt/format.h>

#include "analysis/balance/plan.h"

namespace nightswing::analysis {
namespace {

constexpr double kAir_kg_m3 = 1.2;  // at 20 degrees and 1013 hPa (handbook, from memory)

/// Points at a distance b and at heights h apart pull along b with b/(b^2 + h^2)^(3/2): 1.5 (h/b)^2
/// less than at one height.
std::string height_size(const Apparatus& apparatus) {
  if (!apparatus.separation_m) return "for example 1 % for 5 mm at a separation of 60 mm";
  const double b_mm = 1e3 * apparatus.separation_m->value;
  return fmt::format("1 % for {:.1f} mm at {:.0f} mm", b_mm * std::sqrt(0.01 / 1.5), b_mm);
}

}  // namespace

std::vector<UnmodelledEffect> unmodelled_effects(const Apparatus& apparatus) {
  return {
      {"electric charge on the masses",
       fmt::format("{:.2g} pC on each would pull like gravity",
                   1e12 * charge_like_gravity_c(apparatus)),
       "connect all metal to earth, at a terminal meant for it, never a socket"},
      {"magnetism (iron in the masses, the boom or the case)",
       "without bound",
       "hold a magnet to each part; lead, brass or tungsten"},
      {"air moved or warmed by the sources",
       "1 to 5 % for some minutes",
       "a closed case; the settling time after each move"},
      {"temperature of the wire and the room, if it follows the sides",
       "1 to 10 %",
       "leave the room; move the sources at uneven intervals"},
      {"tilt of the ground or of the masses' heights",
       height_size(apparatus),
       "level the masses to a millimetre"},
      {"what carries the sources and moves with them (a turntable, cradles, a bucket)",
       "some tenths of its mass over theirs",
       "make it light, low and alike on both sides, or count it in their mass and shape"},
      {"masses in the room that move with the sources (a person, a chair)",
       "0.1 to 1 %",
       "stand in the same place for both moves, then leave"},
      {"cavities in cast masses", "0.1 to 1 %", "turn the masses between the runs"},
      {"stiffness of the wire that depends on frequency",
       "up to 1/(pi Q of the wire), in G upward (K. Kuroda, Phys. Rev. Lett. 75 (1995) 2796, from "
       "memory)",
       "nothing; for example 0.06 % at Q = 500"},
      {"air that the sources displace",
       fmt::format("{:.1g} %, G downward", 100.0 * kAir_kg_m3 / density_kg_m3(apparatus.source)),
       "nothing"},
  };
}

}  // namespace nightswing::analysis
