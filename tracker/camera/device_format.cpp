#include "tracker/camera/device_format.h"

#include <linux/videodev2.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <string_view>
#include <tuple>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {
namespace {

constexpr int kUsualWidth_px = 1280;
constexpr int kUsualHeight_px = 720;

struct Readable {
  std::uint32_t pixel_format;
  std::string_view name;
  bool compressed;
  int bits;  ///< of a pixel, uncompressed
};
constexpr std::array kReadable{Readable{V4L2_PIX_FMT_YUYV, "YUYV", false, 16},
                               Readable{V4L2_PIX_FMT_UYVY, "UYVY", false, 16},
                               Readable{V4L2_PIX_FMT_GREY, "gray", false, 8},
                               Readable{V4L2_PIX_FMT_NV12, "NV12", false, 12},
                               Readable{V4L2_PIX_FMT_MJPEG, "motion JPEG", true, 0},
                               Readable{V4L2_PIX_FMT_JPEG, "motion JPEG", true, 0}};

const Readable* readable(std::uint32_t pixel_format) {
  const auto* found = std::ranges::find(kReadable, pixel_format, &Readable::pixel_format);
  return found == kReadable.end() ? nullptr : found;
}

/// One thing that the device offers.
struct Offer {
  std::uint32_t pixel_format;
  bool compressed;
  int width_px;
  int height_px;
  std::vector<double> rates_Hz;  ///< empty: not told
};

std::vector<double> rates_of(const DeviceCalls& calls, int device, const Offer& offer) {
  std::vector<double> rates_Hz;
  for (std::uint32_t k = 0;; ++k) {
    v4l2_frmivalenum interval{};
    interval.index = k;
    interval.pixel_format = offer.pixel_format;
    interval.width = static_cast<std::uint32_t>(offer.width_px);
    interval.height = static_cast<std::uint32_t>(offer.height_px);
    if (calls.ioctl(device, VIDIOC_ENUM_FRAMEINTERVALS, &interval) < 0) return rates_Hz;
    // Of a range the shortest interval is one that surely works.
    const v4l2_fract step =
        interval.type == V4L2_FRMIVAL_TYPE_DISCRETE ? interval.discrete : interval.stepwise.min;
    if (step.numerator > 0) rates_Hz.push_back(1.0 * step.denominator / step.numerator);
    if (interval.type != V4L2_FRMIVAL_TYPE_DISCRETE) return rates_Hz;
  }
}

int within(int wanted, std::uint32_t least, std::uint32_t most, std::uint32_t step) {
  const int low = static_cast<int>(least);
  const int grid = std::max(1, static_cast<int>(step));
  const int inside = std::clamp(wanted, low, static_cast<int>(most));
  return low + (inside - low) / grid * grid;
}

std::vector<Offer> offers_of(const DeviceCalls& calls, int device, cv::Size wanted) {
  std::vector<Offer> offers;
  for (std::uint32_t k = 0;; ++k) {
    v4l2_fmtdesc about{};
    about.index = k;
    about.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (calls.ioctl(device, VIDIOC_ENUM_FMT, &about) < 0) return offers;
    const Readable* format = readable(about.pixelformat);
    if (format == nullptr) continue;
    for (std::uint32_t m = 0;; ++m) {
      v4l2_frmsizeenum size{};
      size.index = m;
      size.pixel_format = about.pixelformat;
      if (calls.ioctl(device, VIDIOC_ENUM_FRAMESIZES, &size) < 0) break;
      Offer offer{about.pixelformat, format->compressed, 0, 0, {}};
      const v4l2_frmsize_stepwise& range = size.stepwise;
      if (size.type == V4L2_FRMSIZE_TYPE_DISCRETE) {
        offer.width_px = static_cast<int>(size.discrete.width);
        offer.height_px = static_cast<int>(size.discrete.height);
      } else {
        offer.width_px = within(wanted.width, range.min_width, range.max_width, range.step_width);
        offer.height_px =
            within(wanted.height, range.min_height, range.max_height, range.step_height);
      }
      offer.rates_Hz = rates_of(calls, device, offer);
      offers.push_back(offer);
      if (size.type != V4L2_FRMSIZE_TYPE_DISCRETE) break;
    }
  }
}

/// The lowest rate that is fast enough, or the fastest; 0 if none is told.
double rate_for(const Offer& offer, double least_Hz) {
  double chosen_Hz = 0.0;
  for (const double rate_Hz : offer.rates_Hz) {
    const bool enough = rate_Hz >= least_Hz - 1e-6;
    const bool have_enough = chosen_Hz >= least_Hz - 1e-6;
    if (enough ? !have_enough || rate_Hz < chosen_Hz : !have_enough && rate_Hz > chosen_Hz) {
      chosen_Hz = rate_Hz;
    }
  }
  return chosen_Hz;
}

/// What speaks against an offer, the weightiest first.
std::tuple<double, int, double> against(const Offer& offer, cv::Size wanted, double least_Hz) {
  const double size = std::abs(std::log(1.0 * offer.width_px / wanted.width)) +
                      std::abs(std::log(1.0 * offer.height_px / wanted.height));
  const double rate_Hz = rate_for(offer, least_Hz);
  const bool slow = !offer.rates_Hz.empty() && rate_Hz < least_Hz - 1e-6;
  return {size, (offer.compressed ? 1 : 0) + (slow ? 2 : 0), std::abs(rate_Hz - least_Hz)};
}

Offer best_offer(const DeviceCalls& calls, int device, const CameraSettings& settings) {
  const cv::Size wanted(settings.width_px.value_or(kUsualWidth_px),
                        settings.height_px.value_or(kUsualHeight_px));
  const auto offers = offers_of(calls, device, wanted);
  if (offers.empty()) {
    throw InputError(
        "this camera offers no pictures that can be read here (YUYV, UYVY, gray, NV12 or motion "
        "JPEG)");
  }
  Offer best = *std::ranges::min_element(offers, {}, [&](const Offer& offer) {
    return against(offer, wanted, settings.least_rate_Hz);
  });
  if (settings.width_px && (best.width_px != wanted.width || best.height_px != wanted.height)) {
    throw InputError(
        fmt::format("this camera has no pictures of {} x {}; the nearest it offers is {} x {}",
                    wanted.width,
                    wanted.height,
                    best.width_px,
                    best.height_px));
  }
  return best;
}

double set_rate(const DeviceCalls& calls, int device, double wanted_Hz) {
  v4l2_streamparm rate{};
  rate.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
  v4l2_fract& interval = rate.parm.capture.timeperframe;
  if (wanted_Hz > 0.0) {
    interval = {.numerator = 1000, .denominator = static_cast<std::uint32_t>(1e3 * wanted_Hz)};
    static_cast<void>(calls.ioctl(device, VIDIOC_S_PARM, &rate));
  }
  if (calls.ioctl(device, VIDIOC_G_PARM, &rate) < 0 || interval.numerator == 0) return 0.0;
  return 1.0 * interval.denominator / interval.numerator;
}

}  // namespace

DeviceFormat choose_format(const DeviceCalls& calls, int device, const CameraSettings& settings) {
  const Offer offer = best_offer(calls, device, settings);
  v4l2_format format{};
  format.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
  format.fmt.pix.pixelformat = offer.pixel_format;
  format.fmt.pix.width = static_cast<std::uint32_t>(offer.width_px);
  format.fmt.pix.height = static_cast<std::uint32_t>(offer.height_px);
  format.fmt.pix.field = V4L2_FIELD_ANY;
  if (calls.ioctl(device, VIDIOC_S_FMT, &format) < 0) {
    throw InputError(fmt::format(
        "this camera cannot be set to the pictures it offers: {}; is another program using it?",
        std::strerror(errno)));
  }
  const v4l2_pix_format& taken = format.fmt.pix;
  if (readable(taken.pixelformat) == nullptr) {
    throw InputError("this camera insists on pictures that cannot be read here");
  }
  return {.pixel_format = taken.pixelformat,
          .width_px = static_cast<int>(taken.width),
          .height_px = static_cast<int>(taken.height),
          .line_bytes = static_cast<int>(taken.bytesperline),
          .rate_Hz = set_rate(calls, device, rate_for(offer, settings.least_rate_Hz))};
}

std::string text_of(const DeviceFormat& format) {
  const Readable* about = readable(format.pixel_format);
  return fmt::format("{} x {}, {}, {}",
                     format.width_px,
                     format.height_px,
                     about == nullptr ? "unknown format" : about->name,
                     format.rate_Hz > 0.0 ? fmt::format("{:.4g} pictures a second", format.rate_Hz)
                                          : std::string("rate not told"));
}

bool decode(const DeviceFormat& format,
            const void* bytes,
            std::size_t size,
            JpegDecoder& jpeg,
            cv::Mat& picture) {
  const Readable* about = readable(format.pixel_format);
  if (about == nullptr) return false;
  if (about->compressed) {
    const Picture decoded = jpeg.decode(bytes, size);
    if (decoded.size() != cv::Size(format.width_px, format.height_px)) return false;
    picture = decoded.bgr();
    return true;
  }
  const bool planar = format.pixel_format == V4L2_PIX_FMT_NV12;
  const int channels = about->bits == 16 ? 2 : 1;
  const int rows = planar ? format.height_px * 3 / 2 : format.height_px;
  const int line = std::max(format.line_bytes, format.width_px * channels);
  if (size < static_cast<std::size_t>(line) * static_cast<std::size_t>(rows)) return false;
  const cv::Mat raw(rows,
                    format.width_px,
                    channels == 2 ? CV_8UC2 : CV_8UC1,
                    // OpenCV's matrices do not take memory that is only to be read.
                    const_cast<void*>(bytes),
                    static_cast<std::size_t>(line));
  switch (format.pixel_format) {
    case V4L2_PIX_FMT_YUYV:
      cv::cvtColor(raw, picture, cv::COLOR_YUV2BGR_YUY2);
      break;
    case V4L2_PIX_FMT_UYVY:
      cv::cvtColor(raw, picture, cv::COLOR_YUV2BGR_UYVY);
      break;
    case V4L2_PIX_FMT_NV12:
      cv::cvtColor(raw, picture, cv::COLOR_YUV2BGR_NV12);
      break;
    default:
      cv::cvtColor(raw, picture, cv::COLOR_GRAY2BGR);
  }
  return true;
}

}  // namespace nightswing::tracker
