#pragma once

#include <array>
#include <optional>
#include <string_view>

namespace nightswing::tracker {

/// What became of one frame. Every frame gets exactly one of these; nothing is dropped.
enum class SpotState {
  kFound,    ///< measured
  kClipped,  ///< measured; the core is saturated, which the uncertainty takes into account
  kBlocked,  ///< light where the spot should be, but not of its shape (cut by the edge of the
             ///< frame, covered, merged with another light): a position, if any, is not to be used
  kLost,     ///< no spot in a lit frame
  kDark,     ///< practically no light in the frame, and no spot
};

/// All of them, in the order in which they are told.
inline constexpr std::array kSpotStates{SpotState::kFound,
                                        SpotState::kClipped,
                                        SpotState::kBlocked,
                                        SpotState::kLost,
                                        SpotState::kDark};

/// The word for a state in files: found, clipped, blocked, lost, dark.
[[nodiscard]] std::string_view word_for(SpotState state);

/// The state for a word in files; none if the word is not one of the five.
[[nodiscard]] std::optional<SpotState> spot_state_from(std::string_view word);

/// Whether a frame of this state has a position that may be used: found and clipped.
[[nodiscard]] constexpr bool is_measured(SpotState state) {
  return state == SpotState::kFound || state == SpotState::kClipped;
}

/// Where the spot is in the stored picture: the centre of the top left pixel is (0, 0), x to the
/// right, y downwards. Standard uncertainties have k = 1.
struct SpotPosition {
  double x_px;
  double y_px;
  double u_x_px;
  double u_y_px;
  double peak;  ///< counts above the wall (0 to 255 for black to white); above 255 - wall if the
                ///< core is clipped, because the fit continues the flanks
  double width_px;  ///< Gaussian sigma: geometric mean of the two axes
  bool operator==(const SpotPosition&) const = default;
};

/// found and clipped have a position; blocked may have one; lost and dark have none.
struct SpotMeasurement {
  SpotState state;
  std::optional<SpotPosition> position;
  bool operator==(const SpotMeasurement&) const = default;
};

}  // namespace nightswing::tracker
