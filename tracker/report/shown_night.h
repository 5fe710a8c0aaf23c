#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/quantities/measured.h"
#include "calibration/map/spaces.h"
#include "calibration/map/wall_map.h"
#include "tracker/result/comparison.h"
#include "tracker/result/result_file.h"
#include "tracker/text/time_text.h"

/// What figures and report show of a night: plain values, ready to be drawn. Only shown_night.cpp
/// knows where each comes from. (The film has fewer, in film_contents.)
namespace nightswing::tracker {

inline constexpr double kShownPerG = 1e11;  ///< G is shown in units of 1e-11

struct ShownSample {
  double t_s;
  double x_mm;  ///< reading of the scale, along the path
  double u_mm;
  /// Measured minus what the fit foretold from the readings before; nothing outside the fit.
  std::optional<double> residual_mm;
  bool left_out;                  ///< taken for a false reading
  calibration::PixelPoint pixel;  ///< in first.png
};

struct ShownSegment {
  std::string side;
  double from_s;
  double to_s;
  analysis::Measured equilibrium_mm;  ///< in the segment's middle
  double without_drift_mm;            ///< of its side, in the middle of the night
  double drift_mm_per_hour;           ///< in the segment's middle
  double amplitude_from_mm;
  double amplitude_to_mm;
  double periods;
  std::size_t used;
  double residual_mean_mm;
  double residual_rms_mm;

  [[nodiscard]] double middle_s() const { return 0.5 * (from_s + to_s); }
  [[nodiscard]] double rest_mm(double t_s) const {
    return equilibrium_mm.value + drift_mm_per_hour * (t_s - middle_s()) / kHour_s;
  }
};

struct ShownEvent {
  std::optional<double> t_s;
  std::string when;
  std::string event;
  std::string detail;
};

/// Whether it gets a mark on a plot of the night: its moment is known, and not every night has it.
[[nodiscard]] bool is_marked(const ShownEvent& event);

struct ShownQuantity {
  std::string name;
  std::string text;  ///< value with uncertainty and unit
};

struct ShownInput {
  std::string name;
  std::string text;
  double percent_of_g;  ///< what it contributes to u(G), of G
  double share;         ///< of the squared uncertainty
};

struct ShownCorrection {
  std::string name;
  double percent;
};

/// A value of G by one way of getting it; u is 0 where that way gives none.
struct ShownOpinion {
  std::string method;
  analysis::Measured g_m3_kg_s2;
  bool of_night_alone = false;  ///< u holds only what the night leaves in doubt
};

/// What may be wrong beyond the budget.
struct ShownEffect {
  std::string effect;
  std::string size;
  std::string remedy;
};

struct ShownNight {
  std::string title;
  std::string program;
  std::string run;
  std::string source;
  std::optional<UtcTime> start;
  std::string status;
  std::string message;
  std::optional<analysis::Measured> g_m3_kg_s2;
  std::string g_text;                    ///< concise notation with unit; empty without G
  bool blinded = false;                  ///< every G here carries a hidden factor
  std::optional<Comparison> comparison;  ///< none while blinded
  std::vector<ShownOpinion> opinions;
  std::string opinions_agree;             ///< whether they do, a sentence; may be empty
  std::string interval_text;              ///< of 95 %, by the budget and by drawing
  std::vector<ShownQuantity> quantities;  ///< of the swing
  double period_s = 0.0;                  ///< 0 if none was found
  double damping_per_s = 0.0;
  double residual_rms_mm = 0.0;
  double correlation_widening = 1.0;
  std::string sides_from;
  std::vector<ShownSample> samples;  ///< in order of time
  std::vector<ShownSegment> segments;
  std::vector<ShownEvent> events;
  std::vector<ShownInput> budget;  ///< largest share first
  std::vector<ShownCorrection> corrections;
  std::vector<ShownEffect> not_in_budget;
  std::string apparatus_text;  ///< the file as the user wrote it
  std::string wall_text;       ///< the map in words
  calibration::WallMap map;
  std::string budget_note;  ///< why its rows do not come to u, if they do not
  std::vector<std::string> assumptions;
  std::vector<std::string> warnings;
  std::vector<std::string> commands;  ///< that reproduce the result
  std::vector<ShownQuantity> frames;  ///< how many came to which state
};

/// commands  that give the result again (repeat_commands).
[[nodiscard]] ShownNight shown_night(const ResultSource& source, std::vector<std::string> commands);

/// The segment that covers the moment; nothing if none does.
[[nodiscard]] const ShownSegment* segment_at(const ShownNight& night, double t_s);

}  // namespace nightswing::tracker
