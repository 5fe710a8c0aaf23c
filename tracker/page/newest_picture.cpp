#include "tracker/page/newest_picture.h"

#include <vector>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "tracker/aim/aim_picture.h"

namespace nightswing::tracker {
namespace {

constexpr int kWidest_px = 1280;
constexpr int kQuality = 80;
constexpr std::chrono::seconds kLeastAge{1};

}  // namespace

const std::string& NewestPicture::jpeg(const SeenPicture& seen,
                                       std::chrono::steady_clock::time_point now) {
  const bool is_fresh = number_ != 0 && now - made_ < kLeastAge;
  if (seen.number == number_ || is_fresh) return jpeg_;
  cv::Mat shown = seen.picture.clone();
  draw_spot(shown, seen.spot, seen.room);
  if (shown.cols > kWidest_px) {
    const double scale = static_cast<double>(kWidest_px) / shown.cols;
    cv::resize(shown, shown, {}, scale, scale, cv::INTER_AREA);
  }
  std::vector<unsigned char> bytes;
  cv::imencode(".jpg", shown, bytes, {cv::IMWRITE_JPEG_QUALITY, kQuality});
  jpeg_.assign(bytes.begin(), bytes.end());
  number_ = seen.number;
  made_ = now;
  return jpeg_;
}

}  // namespace nightswing::tracker
