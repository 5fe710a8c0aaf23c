#include "analysis/night/blinding.h"

#include <stdexcept>

namespace nightswing::analysis {
namespace {

void scale(Interval& interval, double factor) {
  interval.low *= factor;
  interval.high *= factor;
}

}  // namespace

void blind(NightResult& result, double factor) {
  if (!(factor > 0.0)) throw std::invalid_argument("blind: factor");
  result.blinded = true;
  if (!result.gravity) return;
  result.gravity->g_m3_kg_s2 *= factor;
  result.gravity->textbook_m3_kg_s2 *= factor;
  result.budget->value *= factor;
  result.budget->u *= factor;
  for (BudgetRow& row : result.budget->rows) {
    row.sensitivity *= factor;
    row.contribution *= factor;
  }
  scale(result.interval_95, factor);
  for (Opinion& opinion : result.consistency.opinions) {
    opinion.g_m3_kg_s2.value *= factor;
    opinion.g_m3_kg_s2.u *= factor;
  }
  result.consistency.main_u_m3_kg_s2 *= factor;
  if (!result.monte_carlo) return;
  MonteCarloResult& drawn = result.monte_carlo->result;
  drawn.mean *= factor;
  drawn.u *= factor;
  scale(drawn.symmetric, factor);
  scale(drawn.symmetric_68, factor);
  scale(drawn.shortest, factor);
}

}  // namespace nightswing::analysis
