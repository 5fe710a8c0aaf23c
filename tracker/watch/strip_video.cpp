#include "tracker/watch/strip_video.h"

#include <algorithm>
#include <cmath>
#include <exception>
#include <utility>

#include <fmt/format.h>

#include "tracker/watch/disk_space.h"

namespace nightswing::tracker {
namespace {

constexpr double kMargin_widths = 12.0;  // beyond is nothing of the spot, and room for its motion
constexpr double kLeastMargin_px = 32.0;
constexpr double kWholeEvery_s = 60.0;  // the whole picture as it is then
constexpr int kQuality = 16;            // the coding shall not displace the spot

}  // namespace

StripVideo::StripVideo(std::filesystem::path folder,
                       const StripVideoOptions& options,
                       UtcTime start)
    : folder_(std::move(folder)), options_(options), start_(start) {}

StripVideo::~StripVideo() {
  end();
}

void StripVideo::open(const cv::Mat& picture, double t_s) {
  std::filesystem::create_directories(folder_);
  first_s_ = t_s;
  encoder_ = std::make_unique<VideoEncoder>(
      folder_ / fmt::format("from_{:06.0f}s.mkv", t_s),
      VideoFormat{.container = "matroska",
                  .width_px = picture.cols / 2 * 2,
                  .height_px = picture.rows / 2 * 2,
                  .units_per_second = 1000,
                  .even = false,
                  .frames_between_keys = 300,
                  .quality = kQuality,
                  .preset = "superfast",
                  .no_delay = true,
                  .metadata = {{"creation_time", iso_text(after(start_, t_s))}},
                  .container_options = {{"cluster_time_limit", "5000"}}});
}

void StripVideo::widen(const SpotMeasurement& spot) {
  if (!spot.position) return;
  const SpotPosition& p = *spot.position;
  const double margin_px = std::max(kMargin_widths * p.width_px, kLeastMargin_px);
  const cv::Rect2d around(p.x_px - margin_px, p.y_px - margin_px, 2.0 * margin_px, 2.0 * margin_px);
  path_px_ = has_path_ ? (path_px_ | around) : around;
  has_path_ = true;
}

cv::Rect StripVideo::strip(cv::Size size) const {
  return cv::Rect(path_px_) & cv::Rect(cv::Point(), size);
}

std::string StripVideo::see(const cv::Mat& picture, double t_s, const SpotMeasurement& spot) {
  if (ended_) return {};
  if (is_measured(spot.state)) widen(spot);
  if (next_s_ && t_s < *next_s_) return {};
  next_s_ = options_.every_s * (std::floor(t_s / options_.every_s) + 1.0);
  try {
    write(picture, t_s, spot);
  } catch (const std::exception& error) {
    ended_ = true;
    encoder_.reset();
    return error.what();
  }
  if (bytes() < options_.most_bytes) return {};
  const std::string fault = end();
  return fault.empty() ? fmt::format("it takes up {}", size_text(bytes())) : fault;
}

void StripVideo::write(const cv::Mat& picture, double t_s, const SpotMeasurement& spot) {
  if (!encoder_) open(picture, t_s);
  // Where the spot is not known it may be anywhere.
  const bool whole = shown_.empty() || t_s >= next_whole_s_ || !is_measured(spot.state);
  if (whole) {
    picture.copyTo(shown_);
    next_whole_s_ = t_s + kWholeEvery_s;
  } else {
    const cv::Rect part = strip(picture.size());
    picture(part).copyTo(shown_(part));
  }
  const std::int64_t time_ms =
      std::max<std::int64_t>(std::llround(1e3 * (t_s - first_s_)), last_ms_ + 1);
  last_ms_ = time_ms;
  encoder_->write(shown_(cv::Rect(0, 0, picture.cols / 2 * 2, picture.rows / 2 * 2)), time_ms);
}

std::string StripVideo::end() {
  ended_ = true;
  const auto encoder = std::move(encoder_);
  try {
    if (encoder) encoder->finish();
  } catch (const std::exception& error) {
    return error.what();
  }
  return {};
}

std::uint64_t StripVideo::bytes() const {
  std::uint64_t sum = 0;
  std::error_code failed;
  for (const auto& entry : std::filesystem::directory_iterator(folder_, failed)) {
    const auto size = entry.file_size(failed);
    if (!failed) sum += size;
  }
  return sum;
}

}  // namespace nightswing::tracker
