#pragma once

#include <opencv2/core.hpp>

namespace nightswing::tracker {

/// The mean of a few pictures, which has less noise than one.
class MeanPicture {
 public:
  static constexpr int kPictures = 8;

  /// Takes a picture (8-bit BGR) for one of those that it is the mean of; all of one size.
  void add(const cv::Mat& picture);
  /// As if that had been all of them.
  void set(const cv::Mat& mean);

  [[nodiscard]] bool is_empty() const { return count_ == 0; }
  [[nodiscard]] bool is_whole() const { return count_ == kPictures; }
  /// Of those so far, 8-bit BGR; empty before the first one.
  [[nodiscard]] cv::Mat mean() const;

 private:
  cv::Mat sum_;  // 16 bit
  int count_ = 0;
};

}  // namespace nightswing::tracker
