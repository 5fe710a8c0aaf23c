#include "tracker/frames/mean_picture.h"

namespace nightswing::tracker {

void MeanPicture::add(const cv::Mat& picture) {
  if (sum_.empty()) sum_ = cv::Mat::zeros(picture.size(), CV_16UC3);
  cv::add(sum_, picture, sum_, cv::noArray(), CV_16U);
  ++count_;
}

void MeanPicture::set(const cv::Mat& mean) {
  mean.convertTo(sum_, CV_16U, kPictures);
  count_ = kPictures;
}

cv::Mat MeanPicture::mean() const {
  cv::Mat mean;
  if (count_ > 0) sum_.convertTo(mean, CV_8U, 1.0 / count_);
  return mean;
}

}  // namespace nightswing::tracker
