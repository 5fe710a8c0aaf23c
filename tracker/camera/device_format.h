#pragma once

#include <cstdint>
#include <string>

#include <opencv2/core.hpp>

#include "tracker/camera/camera_settings.h"
#include "tracker/camera/device_calls.h"
#include "tracker/camera/jpeg_decoder.h"

namespace nightswing::tracker {

/// What a V4L2 device sends.
struct DeviceFormat {
  std::uint32_t pixel_format = 0;  ///< V4L2_PIX_FMT_...
  int width_px = 0;
  int height_px = 0;
  int line_bytes = 0;    ///< of uncompressed pictures
  double rate_Hz = 0.0;  ///< 0: the device does not say
};

/// Chooses format, size and rate, sets them, and reads back what the device took.
/// The size asked for, or the one on offer nearest to 1280 x 720; of its formats an uncompressed
/// one if it comes at least_rate_Hz or faster, because compression displaces the spot, else motion
/// JPEG; the lowest rate on offer that is not below least_rate_Hz.
/// throws InputError if the device offers no format that can be read here, or not the size asked
/// for.
[[nodiscard]] DeviceFormat choose_format(const DeviceCalls& calls,
                                         int device,
                                         const CameraSettings& settings);

/// `1280 x 720, YUYV, 10 pictures a second`.
[[nodiscard]] std::string text_of(const DeviceFormat& format);

/// The picture in the bytes that the device gave, 8-bit BGR; false if they are damaged.
///   jpeg  for devices that send such; the same one for each picture
[[nodiscard]] bool decode(const DeviceFormat& format,
                          const void* bytes,
                          std::size_t size,
                          JpegDecoder& jpeg,
                          cv::Mat& picture);

}  // namespace nightswing::tracker
