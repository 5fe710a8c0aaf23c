#pragma once

#include <span>
#include <string>
#include <vector>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/gravity.h"
#include "analysis/night/source_move.h"
#include "analysis/positions/optical_lever.h"
#include "analysis/quantities/measured.h"
#include "analysis/swing/swing_fit.h"

namespace nightswing::analysis {

/// G by another way through the same night. Masses and lengths are shared with the main result, so
/// that u holds what the night alone leaves in doubt.
struct Opinion {
  std::string method;
  Measured g_m3_kg_s2;
};

/// How well the opinions agree with the main result and with each other.
struct Consistency {
  std::vector<Opinion> opinions;
  /// u of the main result by the night alone.
  double main_u_m3_kg_s2 = 0.0;
  double chi2 = 0.0;       ///< of the neighbouring pairs about their weighted mean
  int freedom = 0;         ///< pairs less one
  bool consistent = true;  ///< none further than three u, chi2 below its 99 % quantile's bound
  /// Of G: the largest difference of an opinion that lies further than two u off.
  double apart_relative = 0.0;
  std::string statement;  ///< one sentence
};

/// Ways: robust least squares in place of the likelihood; each pair of neighbouring segments on
/// opposite sides by itself (of three segments on); the first acceleration after each move in place
/// of the equilibria (source_move.h); the period with the sources away in place of
/// that beside them (gravity.h, (3)), if the night has it.
///   series    straightened positions (optical_lever.h), as fitted
///   moves     between plus and minus, as fit_source_move found them
[[nodiscard]] Consistency second_opinions(const Apparatus& apparatus,
                                          const OpticalLever& lever,
                                          const NightFindings& findings,
                                          const SwingFit& fit,
                                          std::span<const SwingSample> series,
                                          const SwingStart& start,
                                          std::span<const SourceMove> moves);

}  // namespace nightswing::analysis
