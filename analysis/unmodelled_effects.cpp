#include "analysis/unmodelled_effects.h"

#include <array>

namespace nightswing::analysis {
namespace {

constexpr std::array kEffects{
    UnmodelledEffect{
        "electric charge on the masses", "100 % at 39 pC on each", "connect all metal to earth"},
    UnmodelledEffect{"magnetism (iron in the masses, the boom or the case)",
                     "without bound",
                     "hold a magnet to each part; lead, brass or tungsten"},
    UnmodelledEffect{"air moved or warmed by the sources",
                     "1 to 5 % for some minutes",
                     "a closed case; the settling time after each move"},
    UnmodelledEffect{"temperature of the wire and the room, if it follows the sides",
                     "1 to 10 %",
                     "leave the room; move the sources at uneven intervals"},
    UnmodelledEffect{"tilt of the ground or of the masses' heights",
                     "1 % for 5 mm at 60 mm",
                     "level the masses to a millimetre"},
    UnmodelledEffect{"masses in the room that move with the sources (a person, a chair)",
                     "0.1 to 1 %",
                     "stand in the same place for both moves, then leave"},
    UnmodelledEffect{"cavities in cast masses", "0.1 to 1 %", "turn the masses between the runs"},
    UnmodelledEffect{"stiffness of the wire that depends on frequency",
                     "up to 1/(pi Q of the wire), in G upward",
                     "nothing; 0.06 % at Q = 500"},
    UnmodelledEffect{"air that the sources displace", "0.01 %", "nothing"},
};

}  // namespace

std::span<const UnmodelledEffect> unmodelled_effects() {
  return kEffects;
}

}  // namespace nightswing::analysis
