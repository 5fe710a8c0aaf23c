#pragma once

#include <span>
#include <string>

#include "tracker/report/canvas.h"
#include "tracker/report/shown_night.h"

namespace nightswing::tracker {

/// report.html: one page that needs nothing beside it and asks nothing of the network (its content
/// policy forbids it). The figures are SVG in both colour schemes; with scripts on, the night can
/// be zoomed; paper gets the static figure. All text of the user is escaped.
///   cautions  shown at the end, plain text
[[nodiscard]] std::string report_page(const ShownNight& night,
                                      std::span<const Figure> figures,
                                      const std::string& cautions);

}  // namespace nightswing::tracker
