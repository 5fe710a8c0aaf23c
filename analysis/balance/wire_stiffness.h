#pragma once

#include <optional>
#include <string>

#include "analysis/apparatus/apparatus.h"

namespace nightswing::analysis {

/// What holds the boom back, per rotation [N m]: pi G d^4 / (32 l), G the shear modulus of the
/// wire.
///   source  J. M. Gere, Mechanics of Materials, torsion of a circular bar
[[nodiscard]] double torsion_constant_n_m(const Wire& wire, double shear_pa);

/// A sentence if the wire that the apparatus file names cannot be the one that held the boom: that
/// may be all that shows another balance's file, a wrong length, or wrong times of the frames (and
/// if only the wire is another, G does not mind). Nothing if no wire is named, its material is not
/// known, or it may be the one: a stiffness within the handbook range of its material, widened by
/// what its diameter and length are uncertain by, but at least to two thirds and one and a half (a
/// tenth of the diameter: common practice, no source).
///   measured_n_m   torsion constant by the night [N m]
///   inertia_kg_m2  of the boom, to say it in periods
[[nodiscard]] std::optional<std::string> wire_doubt(const Apparatus& apparatus,
                                                    double measured_n_m,
                                                    double inertia_kg_m2);

}  // namespace nightswing::analysis
