#pragma once

#include <opencv2/core.hpp>

#include "tracker/frames/mean_picture.h"
#include "tracker/frames/picture.h"
#include "tracker/run/run_folder.h"

namespace nightswing::tracker {

/// Keeps a few pictures of the night in frames/: the mean of the first ones (less noise, for
/// reading the scale), one every half hour up to a fixed number, so that a long night does not fill
/// the disk. throws InputError if a picture cannot be written.
class EvidenceFrames {
 public:
  explicit EvidenceFrames(RunFolder run) : run_(std::move(run)) {}

  /// Goes on with a run whose first.png stands already, from t_s on. Before the first picture.
  void go_on(const cv::Mat& first, double t_s);

  void see(const Picture& picture, double t_s);

  /// Keeps no more pictures (the disk is nearly full).
  void stop() { kept_ = kMostKept; }

  /// Writes first.png if fewer frames came than it is the mean of. Call once at the end.
  void finish();

  /// Mean of the first frames so far, 8-bit BGR; empty before the first one.
  [[nodiscard]] cv::Mat first_mean() const { return first_.mean(); }

  /// Whether the mean is that of all the frames that it is made of: first.png.
  [[nodiscard]] bool has_first_mean() const { return first_.is_whole(); }

 private:
  static constexpr int kMostKept = 24;

  RunFolder run_;
  MeanPicture first_;
  int kept_ = 0;
  double next_s_ = 1800.0;
};

}  // namespace nightswing::tracker
