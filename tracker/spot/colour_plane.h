#pragma once

#include <optional>

#include "tracker/frames/picture.h"
#include "tracker/spot/spot_fit.h"

namespace nightswing::tracker {

/// Chooses the sum of the colours in which the spot is measured, once, from the spot itself.
///
/// A red spot has 0.3 of its light in luma, which also has the noise of the other colours. So the
/// spot is measured both in luma and in the sum in which each colour counts by the spot's light in
/// it (best for colours of equal noise) in 32 frames. The sum is taken if
/// - its uncertainty is less than 1 / 1.5 of luma's, and
/// - the places differ by no more than luma's own noise explains. (Of colours that compression or a
///   coarser grid has spoilt this is not true, whatever the fit says.)
/// Else it stays luma: for gray and white spots, where the laser's grain limits both alike, and for
/// green ones, of which luma has nearly all. What is chosen holds from then on; the mean difference
/// of the places is taken off, so that there is no step, whatever a camera or a file's head say of
/// where its colours are.
class ColourPlane {
 public:
  static constexpr int kFrames = 32;
  static constexpr double kLeastGain = 1.5;

  /// Another frame in which the spot was measured; `fit` is where, in luma. Returns the spot in the
  /// sum of colours if that has been chosen by it.
  [[nodiscard]] std::optional<SpotFit> compare(const Picture& frame,
                                               const SpotFit& fit,
                                               int saturation);

  [[nodiscard]] bool is_decided() const { return frames_ == kFrames; }
  /// The picture in the gray that has been chosen.
  [[nodiscard]] Picture seen(const Picture& frame) const;
  /// To be taken off places that are measured in it.
  [[nodiscard]] double shift_x_px() const { return shift_x_px_; }
  [[nodiscard]] double shift_y_px() const { return shift_y_px_; }

 private:
  /// Mean and mean square.
  struct Moments {
    double mean = 0;
    double square = 0;
    void add(double value, int count);
    [[nodiscard]] double variance() const { return square - mean * mean; }
  };

  void note_light(const Picture& frame, const cv::Rect& area, const SpotFit& fit, int saturation);
  [[nodiscard]] GrayShares matched() const;

  int frames_ = 0;
  double blue_ = 0;  // counts of the spot's peak, summed over the frames
  double green_ = 0;
  double red_ = 0;
  Moments difference_x_px_;
  Moments difference_y_px_;
  double luma_variance_ = 0;  // u^2, summed
  double sum_variance_ = 0;
  std::optional<GrayShares> chosen_;
  double shift_x_px_ = 0;
  double shift_y_px_ = 0;
};

}  // namespace nightswing::tracker
