#include "tracker/camera/device_camera.h"

#include <linux/videodev2.h>

#include <cerrno>
#include <cstring>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {
namespace {

constexpr std::uint32_t kBuffers = 4;
constexpr double kOldestStamp_s = 5.0;  // a timestamp further back is of another clock
constexpr const char* kDriverTimes =
    "the driver's time of capture (the picture is some hundredths of a second older: exposure and "
    "reading out)";
constexpr const char* kArrivalTimes =
    "the moment a picture reached the program (the driver gives no time of capture)";

v4l2_buffer capture_buffer() {
  v4l2_buffer buffer{};
  buffer.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
  buffer.memory = V4L2_MEMORY_MMAP;
  return buffer;
}

InputError cannot_stream(const std::string& path, int error) {
  if (error == ENOSPC) {
    // The kernel's words would be "no space left on device", which nobody connects with a cable.
    return InputError(
        fmt::format("the USB connection of {} has no room for its pictures; plug the camera in by "
                    "itself, or ask for smaller ones with --size",
                    path));
  }
  if (error == EBUSY) {
    return InputError(fmt::format("another program is using the camera {}; close it", path));
  }
  return InputError(fmt::format("the camera {} gives no pictures: {}", path, std::strerror(error)));
}

}  // namespace

DeviceCamera::DeviceCamera(const ListedCamera& listed,
                           const CameraSettings& settings,
                           const Clock& clock,
                           DeviceCalls calls)
    : clock_(clock), calls_(std::move(calls)), device_(calls_.open(listed.path)) {
  if (device_ < 0) {
    throw InputError(fmt::format("cannot open the camera {}: {}{}",
                                 listed.path,
                                 std::strerror(errno),
                                 errno == EACCES ? "; add yourself to the group 'video'" : ""));
  }
  try {
    format_ = choose_format(calls_, device_, settings);
    facts_.refused = apply_settings(calls_, device_, settings);
    begin_streaming(listed.path);
  } catch (...) {
    end_streaming();
    calls_.close(device_);
    throw;
  }
  facts_.identity = listed.lasting.empty() ? listed.path + ' ' + listed.name : listed.lasting;
  facts_.width_px = format_.width_px;
  facts_.height_px = format_.height_px;
  facts_.format = text_of(format_);
  facts_.time_from = kArrivalTimes;  // until a picture comes with a time of the driver
}

DeviceCamera::~DeviceCamera() {
  end_streaming();
  calls_.close(device_);
}

void DeviceCamera::begin_streaming(const std::string& path) {
  v4l2_requestbuffers request{};
  request.count = kBuffers;
  request.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
  request.memory = V4L2_MEMORY_MMAP;
  if (calls_.ioctl(device_, VIDIOC_REQBUFS, &request) < 0) throw cannot_stream(path, errno);
  for (std::uint32_t k = 0; k < request.count; ++k) {
    v4l2_buffer buffer = capture_buffer();
    buffer.index = k;
    if (calls_.ioctl(device_, VIDIOC_QUERYBUF, &buffer) < 0) throw cannot_stream(path, errno);
    void* bytes = calls_.map(device_, buffer.length, static_cast<off_t>(buffer.m.offset));
    if (bytes == nullptr) throw cannot_stream(path, errno);
    memory_.push_back({bytes, buffer.length});
    if (!give_back(k)) throw cannot_stream(path, errno);
  }
  int type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
  if (calls_.ioctl(device_, VIDIOC_STREAMON, &type) < 0) throw cannot_stream(path, errno);
}

void DeviceCamera::end_streaming() {
  int type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
  calls_.ioctl(device_, VIDIOC_STREAMOFF, &type);
  for (const Memory& memory : memory_) calls_.unmap(memory.bytes, memory.length);
  memory_.clear();
}

bool DeviceCamera::give_back(std::uint32_t index) {
  v4l2_buffer buffer = capture_buffer();
  buffer.index = index;
  return calls_.ioctl(device_, VIDIOC_QBUF, &buffer) >= 0;
}

Grab DeviceCamera::gone(const std::string& what) {
  fault_ = what;
  return Grab::kGone;
}

Grab DeviceCamera::take() {
  v4l2_buffer buffer = capture_buffer();
  if (calls_.ioctl(device_, VIDIOC_DQBUF, &buffer) < 0) {
    if (errno == EAGAIN) return Grab::kNothing;
    return gone(errno == ENODEV ? "it was unplugged" : std::strerror(errno));
  }
  if (buffer.index >= memory_.size()) return gone("the driver gave a picture of no buffer");
  const std::size_t size = buffer.bytesused;
  const bool usable =
      (buffer.flags & V4L2_BUF_FLAG_ERROR) == 0 && size > 0 && size <= memory_[buffer.index].length;
  if (!usable) {
    return give_back(buffer.index) ? Grab::kDamaged : gone(std::strerror(errno));
  }
  if (newest_ && !give_back(newest_->index)) return gone(std::strerror(errno));
  newest_ = Filled{buffer.index, size};
  note_time(static_cast<double>(buffer.timestamp.tv_sec) +
                1e-6 * static_cast<double>(buffer.timestamp.tv_usec),
            (buffer.flags & V4L2_BUF_FLAG_TIMESTAMP_MASK) == V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC);
  return Grab::kPicture;
}

Grab DeviceCamera::grab(std::chrono::milliseconds patience, const GiveUp&) {
  if (newest_) {
    const std::uint32_t index = std::exchange(newest_, std::nullopt)->index;
    if (!give_back(index)) return gone(std::strerror(errno));
  }
  const int ready = calls_.wait(device_, static_cast<int>(patience.count()));
  if (ready == 0) return Grab::kNothing;
  if (ready < 0) return gone(errno == ENODEV ? "it was unplugged" : std::strerror(errno));
  // All that wait are taken; the last one that is whole is the newest.
  bool some_damaged = false;
  for (std::size_t k = 0; k < memory_.size(); ++k) {
    const Grab taken = take();
    if (taken == Grab::kGone) return taken;
    if (taken == Grab::kNothing) break;
    some_damaged = some_damaged || taken == Grab::kDamaged;
  }
  if (newest_) return Grab::kPicture;
  return some_damaged ? Grab::kDamaged : Grab::kNothing;
}

void DeviceCamera::note_time(double stamp_s, bool monotonic) {
  const double age_s = clock_.monotonic_s() - stamp_s;
  const bool believable = monotonic && age_s >= -1e-3 && age_s < kOldestStamp_s;
  facts_.time_from = believable ? kDriverTimes : kArrivalTimes;
  grabbed_steady_s_ = clock_.steady_s() - (believable ? age_s : 0.0);
}

bool DeviceCamera::retrieve(cv::Mat& picture) {
  return newest_ && decode(format_, memory_[newest_->index].bytes, newest_->size, jpeg_, picture);
}

std::vector<CameraSetting> DeviceCamera::settings() {
  return read_settings(calls_, device_);
}

}  // namespace nightswing::tracker
