#pragma once

#include <cmath>
#include <optional>

#include <opencv2/core.hpp>

#include "tracker/spot/colour_plane.h"
#include "tracker/spot/film_drag.h"
#include "tracker/spot/fixed_lights.h"
#include "tracker/spot/learned_width.h"
#include "tracker/spot/repeated_wall.h"
#include "tracker/spot/spot_fit.h"
#include "tracker/spot/spot_ghost.h"
#include "tracker/spot/spot_measurement.h"
#include "tracker/spot/spot_search.h"
#include "tracker/spot/wall_doubt.h"
#include "tracker/spot/wall_light.h"

namespace nightswing::tracker {

/// Finds the spot in frame after frame and measures where it is.
///
/// - What is measured is luma, or what ColourPlane chooses once the light has moved and 64 frames
///   have passed; never another than luma in lossy film. See SpotFit for the estimate and its
///   uncertainty.
/// - The spot is looked for where it should be next; the whole frame is searched only when it is
///   not there. While the light that is followed has never moved, the rest of the frame is also
///   looked at every few frames: if another light of a spot's shape moves, that is the spot, and
///   the still one is a reflection. Until this is decided, for at most 64 frames, the state is
///   kBlocked.
/// - The wall without the spot is learned meanwhile, and anew after a change of light. Fixed lights
///   (reflections) that were known are remembered over it, and neither taken for the spot again nor
///   allowed to drag it. A few black frames change nothing.
/// - Where the wall behind the spot is not known yet, u contains what its grain may do (WallDoubt),
///   as far as enough of the wall around is known; until then, what was last told of it.
/// - A light that has stood still for 400 frames must prove itself again as a new one would.
/// - A weaker light that moves with the spot (SpotGhost) is taken away before the fit, so that the
///   two may cross. Should the weaker one be followed, the brighter takes its place as soon as the
///   two are known to belong together; until then, early in the night, the state is kBlocked.
/// - Two lights that merge unknown to all this are wider than the spot, or of another form
///   (LearnedWidth): kBlocked. So is a light of quite another width in the spot's place. If the
///   other width stays for 25 frames (the camera was focused anew), it becomes the spot's.
/// - Lossy film (see RepeatedWall) displaces the spot without a trace in its shape. There neither a
///   slant nor a halo is looked for, which film itself makes, and the uncertainty contains what
///   FilmDrag says, and where the spot crosses a ghost what the ghost displaces it by. What is not
///   foretold: coarse coding may move blocks beyond a turn. The wall of such film is quieter than
///   the specks that it leaves, so that a light must stand out of two counts of noise at least.
///
/// State is only what has been learned, so equal frames give equal results, bit for bit.
class SpotFinder {
 public:
  /// One frame. A bad picture is an outcome, not an error.
  /// throws std::invalid_argument if the frame is empty or not of the size of the first one (a new
  ///        size needs a new finder, because places would mean something else).
  [[nodiscard]] SpotMeasurement measure(const Picture& frame);

  /// The camera was knocked before the next frame: the wall is learned anew. A light that has not
  /// moved of itself yet is searched anew too, or else the knock would pass for its own motion.
  void camera_moved();

  /// What has been learned of the wall so far.
  [[nodiscard]] const WallLight& wall() const { return wall_; }

 private:
  static constexpr double kMovedSigmas = 2.0;  // merging with another light moves it by less
  static constexpr int kYoung = 64;            // frames
  static constexpr int kSaturation = 250;      // counts in any channel; lossy video dims 255
  static constexpr double kDarkLuma = 8.0;     // mean counts; darker, and without a spot, is dark
  static constexpr double kMostMisfit = 0.35;  // unexplained over explained light, smoothed

  enum class Verdict { kNoLight, kWrongShape, kSpot };

  /// Whether what has been learned of the wall and of the spot's width is used.
  enum class Learned { kUsed, kIgnored };

  struct Judged {
    SpotFit fit;
    Verdict verdict = Verdict::kNoLight;
  };

  /// The light that is followed.
  struct Followed {
    SpotFit fit;
    double speed_x_px = 0;  ///< per frame
    double speed_y_px = 0;
    double acceleration_x_px = 0;  ///< per frame and frame, mean of the last ones
    double acceleration_y_px = 0;
    int misses = 0;          ///< frames since it was last measured
    int age = 0;             ///< frames since it was first measured
    double origin_x_px = 0;  ///< where it was first measured
    double origin_y_px = 0;
    bool has_moved = false;
    int still = 0;  ///< frames since it was last seen away from the origin

    [[nodiscard]] double speed_px() const { return std::hypot(speed_x_px, speed_y_px); }
  };

  /// Another light, seen while the followed one stands still.
  struct Rival {
    double origin_x_px;
    double origin_y_px;
    double peak;
    int sightings;
    int misses;  ///< looks in a row at which it was not seen: it may be behind the other
  };

  void remember_fixed_lights();
  void note_light(const Picture& frame);
  [[nodiscard]] SpotPatch followed_patch(const Picture& frame) const;
  void note_wall_doubt(const Picture& frame);
  void note_grain_doubt(const Picture& frame);
  void look_at_colour(const Picture& frame);
  void look_for_ghost(const Picture& frame);
  void note_brighter(const SpotShape& light);
  void switch_to(const SpotFit& fit);
  void look_at_ghost(const Picture& frame, const SpotShape& ghost);
  [[nodiscard]] SpotFit fit_beside_ghost(const SpotPatch& patch, const SpotFitStart& start) const;
  [[nodiscard]] bool is_ghostly(const SpotFit& fit) const;
  void note_drag(const Picture& frame);
  void check(const Picture& frame);
  [[nodiscard]] SpotMeasurement measure_in(const Picture& frame);
  [[nodiscard]] SpotMeasurement follow(const Picture& frame);
  [[nodiscard]] SpotMeasurement search(const Picture& frame, const std::optional<Judged>& seen);
  void keep_form(SpotFitStart& start) const;
  [[nodiscard]] std::optional<Judged> look_near(const Picture& frame) const;
  [[nodiscard]] Judged look_at(const Picture& frame,
                               const SpotFitStart& start,
                               Learned learned) const;
  [[nodiscard]] Judged look_at_candidate(const Picture& frame,
                                         const SpotCandidate& candidate,
                                         Learned learned) const;
  [[nodiscard]] Verdict judge(const SpotPatch& patch, const SpotFit& fit, Learned learned) const;
  void move_to(const SpotFit& fit);
  void accept(const SpotFit& fit);
  void look_for_rival(const Picture& frame);
  [[nodiscard]] cv::Rect spot_zone() const;
  [[nodiscard]] cv::Rect ghost_zone() const;
  [[nodiscard]] SpotMeasurement measured(const SpotFit& fit) const;

  cv::Size size_;
  WallLight wall_;
  WallDoubt wall_doubt_;
  RepeatedWall repeated_wall_;
  ColourPlane colour_;
  bool lossy_film_ = false;
  FilmDrag drag_;
  std::optional<Followed> followed_;
  std::optional<Rival> rival_;
  FixedLights fixed_;
  SpotGhost ghost_;
  std::optional<SpotShape> brighter_;  ///< a brighter light than the one followed, last seen
  int brighter_frames_ = 0;  ///< for so long it counts that a brighter moving light was seen
  int black_frames_ = 0;     ///< in a row
  LearnedWidth width_;
};

}  // namespace nightswing::tracker
