#pragma once

#include "analysis/quantities/measured.h"

namespace nightswing::analysis {

/// The accepted value of G [m3 kg-1 s-2], CODATA 2022 (E. Tiesinga et al., NIST, 2024; unchanged
/// since 2018). Only for the comparison printed beside a finished result: nothing that computes,
/// fits or rejects may read it.
inline constexpr Measured kAcceptedG{6.67430e-11, 0.00015e-11};

}  // namespace nightswing::analysis
