#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/night/combined_nights.h"
#include "analysis/quantities/measured.h"
#include "tracker/report/canvas.h"
#include "tracker/result/result_file.h"
#include "tracker/text/time_text.h"

/// Several nights beside each other, and the one G that they give together.
namespace nightswing::tracker {

/// What the comparison shows of one night.
struct NightBeside {
  std::string run;
  std::string balance;           ///< title of its apparatus file
  std::optional<UtcTime> start;  ///< of its first frame
  std::optional<UtcTime> end{};  ///< of its last position
  bool is_analysed = true;
  std::string status;                     ///< or why it could not be analysed
  std::optional<analysis::NightValue> g;  ///< nothing where the night gives none
  std::optional<analysis::Measured> period_s;
  std::optional<analysis::Measured> shift_mm;
};

[[nodiscard]] NightBeside night_beside(const ResultSource& source);

struct NightsTogether {
  std::vector<NightBeside> nights;  ///< in the order given
  std::optional<analysis::CombinedNights>
      combined;                       ///< of those with G; nothing for fewer than two
  std::vector<std::string> warnings;  ///< of nights at the same time, a sentence for each two
};

[[nodiscard]] NightsTogether nights_together(std::vector<NightBeside> nights);

/// A table of the nights, then G, how far the nights agree and what they share: plain text.
[[nodiscard]] std::string nights_text(const NightsTogether& together);

/// The same for other programs: nights.json, see DEVELOPERS.md, formats.
[[nodiscard]] std::string nights_json(const NightsTogether& together);

/// G of every night and of all together; nothing without a combined G.
[[nodiscard]] std::vector<Figure> nights_figures(const NightsTogether& together);

/// One page that needs nothing beside it, with these figures.
[[nodiscard]] std::string nights_page(const NightsTogether& together,
                                      std::span<const Figure> figures);

}  // namespace nightswing::tracker
