#pragma once

#include <span>
#include <vector>

#include "analysis/positions/swing_series.h"

namespace nightswing::analysis {

/// The samples without single false readings, for finding starting values only (the fit itself
/// names what it leaves out): a sample goes if it lies further from the median of itself and its
/// two neighbours on either side than eight times what is usual in the track, that is, the largest
/// of the upper quartile of these distances, the median step from sample to sample and the median
/// u_mm. A steady motion passes unharmed.
///   samples  time-ordered;  source  Hampel, J. Am. Stat. Assoc. 69, 383 (1974)
[[nodiscard]] std::vector<SwingSample> without_spikes(std::span<const SwingSample> samples);

/// Takes neighbouring samples together so that at most `most` remain: mean time, mean position, the
/// standard uncertainty of the first (these samples only serve starting values). Gaps stay gaps.
[[nodiscard]] std::vector<SwingSample> thinned(std::span<const SwingSample> samples,
                                               std::size_t most);

}  // namespace nightswing::analysis
