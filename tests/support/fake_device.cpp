#include "tests/support/fake_device.h"

#include <linux/videodev2.h>

#include <cerrno>
#include <cmath>
#include <cstring>
#include <memory>
#include <set>

namespace nightswing::test {
namespace {

int refused(int error) {
  errno = error;
  return -1;
}

}  // namespace

void FakeDevice::take_picture(const std::vector<std::uint8_t>& bytes,
                              double monotonic_s,
                              bool damaged) {
  if (!streaming || free_.empty()) return;
  const std::uint32_t index = free_.front();
  free_.pop_front();
  Buffer& buffer = buffers_[index];
  buffer.used = std::min(bytes.size(), buffer.bytes.size());
  std::memcpy(buffer.bytes.data(), bytes.data(), buffer.used);
  buffer.monotonic_s = monotonic_s;
  buffer.damaged = damaged;
  filled_.push_back(index);
}

int FakeDevice::ioctl(unsigned long request, void* argument) {
  if (unplugged) return refused(ENODEV);
  switch (request) {
    case VIDIOC_QUERYCAP: {
      auto& about = *static_cast<v4l2_capability*>(argument);
      about = {};
      std::strncpy(reinterpret_cast<char*>(about.card), card.c_str(), sizeof(about.card) - 1);
      about.device_caps =
          (gives_pictures ? V4L2_CAP_VIDEO_CAPTURE : V4L2_CAP_META_CAPTURE) | V4L2_CAP_STREAMING;
      // The whole camera has capture, also where this device of it has not.
      about.capabilities = V4L2_CAP_VIDEO_CAPTURE | V4L2_CAP_STREAMING | V4L2_CAP_DEVICE_CAPS;
      return 0;
    }
    case VIDIOC_ENUM_FMT:
      return enumerate_format(argument);
    case VIDIOC_ENUM_FRAMESIZES:
      return enumerate_size(argument);
    case VIDIOC_ENUM_FRAMEINTERVALS:
      return enumerate_interval(argument);
    case VIDIOC_S_FMT:
      return set_format(argument);
    case VIDIOC_S_PARM:
      return set_rate(argument);
    case VIDIOC_G_PARM:
      return get_rate(argument);
    case VIDIOC_REQBUFS:
      return request_buffers(argument);
    case VIDIOC_QUERYBUF:
      return query_buffer(argument);
    case VIDIOC_QBUF:
      return queue_buffer(argument);
    case VIDIOC_DQBUF:
      return dequeue_buffer(argument);
    case VIDIOC_STREAMON:
      if (stream_on_fault != 0) return refused(stream_on_fault);
      streaming = true;
      return 0;
    case VIDIOC_STREAMOFF:
      streaming = false;
      free_.clear();
      filled_.clear();
      return 0;
    case VIDIOC_QUERYCTRL:
      return query_control(argument);
    case VIDIOC_G_CTRL:
      return get_control(argument);
    case VIDIOC_S_CTRL:
      return set_control(argument);
    default:
      return refused(ENOTTY);
  }
}

/// The formats in the order of their first mode.
int FakeDevice::enumerate_format(void* argument) {
  auto& about = *static_cast<v4l2_fmtdesc*>(argument);
  std::vector<std::uint32_t> formats;
  for (const Mode& mode : modes) {
    if (formats.empty() || formats.back() != mode.pixel_format)
      formats.push_back(mode.pixel_format);
  }
  if (about.index >= formats.size()) return refused(EINVAL);
  about.pixelformat = formats[about.index];
  return 0;
}

int FakeDevice::enumerate_size(void* argument) {
  auto& size = *static_cast<v4l2_frmsizeenum*>(argument);
  std::uint32_t k = 0;
  for (const Mode& mode : modes) {
    if (mode.pixel_format != size.pixel_format || k++ != size.index) continue;
    size.type = V4L2_FRMSIZE_TYPE_DISCRETE;
    size.discrete = {static_cast<std::uint32_t>(mode.width_px),
                     static_cast<std::uint32_t>(mode.height_px)};
    return 0;
  }
  return refused(EINVAL);
}

int FakeDevice::enumerate_interval(void* argument) {
  auto& interval = *static_cast<v4l2_frmivalenum*>(argument);
  for (const Mode& mode : modes) {
    if (mode.pixel_format != interval.pixel_format ||
        static_cast<std::uint32_t>(mode.width_px) != interval.width ||
        static_cast<std::uint32_t>(mode.height_px) != interval.height) {
      continue;
    }
    if (interval.index >= mode.rates_Hz.size()) return refused(EINVAL);
    interval.type = V4L2_FRMIVAL_TYPE_DISCRETE;
    interval.discrete = {1, static_cast<std::uint32_t>(mode.rates_Hz[interval.index])};
    return 0;
  }
  return refused(EINVAL);
}

/// A driver takes the nearest it can; this one what it is asked, as the program asks for offers.
int FakeDevice::set_format(void* argument) {
  if (streaming) return refused(EBUSY);
  auto& pix = static_cast<v4l2_format*>(argument)->fmt.pix;
  pixel_format = pix.pixelformat;
  width_px = static_cast<int>(pix.width);
  height_px = static_cast<int>(pix.height);
  pix.bytesperline = pixel_format == V4L2_PIX_FMT_YUYV ? 2 * pix.width : pix.width;
  pix.sizeimage = 2 * pix.width * pix.height;
  return 0;
}

int FakeDevice::set_rate(void* argument) {
  const v4l2_fract step = static_cast<v4l2_streamparm*>(argument)->parm.capture.timeperframe;
  rate_Hz = static_cast<int>(std::lround(1.0 * step.denominator / step.numerator));
  return 0;
}

int FakeDevice::get_rate(void* argument) {
  static_cast<v4l2_streamparm*>(argument)->parm.capture.timeperframe = {
      1, static_cast<std::uint32_t>(rate_Hz)};
  return 0;
}

int FakeDevice::request_buffers(void* argument) {
  const auto& request = *static_cast<v4l2_requestbuffers*>(argument);
  buffers_.assign(request.count, Buffer{});
  for (Buffer& buffer : buffers_) {
    buffer.bytes.resize(2 * static_cast<std::size_t>(width_px) *
                        static_cast<std::size_t>(height_px));
  }
  return 0;
}

int FakeDevice::query_buffer(void* argument) {
  auto& about = *static_cast<v4l2_buffer*>(argument);
  if (about.index >= buffers_.size()) return refused(EINVAL);
  about.length = static_cast<std::uint32_t>(buffers_[about.index].bytes.size());
  about.m.offset = about.index * 4096;
  return 0;
}

int FakeDevice::queue_buffer(void* argument) {
  const auto& about = *static_cast<v4l2_buffer*>(argument);
  if (about.index >= buffers_.size() || buffers_[about.index].queued) return refused(EINVAL);
  buffers_[about.index].queued = true;
  free_.push_back(about.index);
  return 0;
}

int FakeDevice::dequeue_buffer(void* argument) {
  if (filled_.empty()) return refused(EAGAIN);
  auto& about = *static_cast<v4l2_buffer*>(argument);
  about.index = filled_.front();
  filled_.pop_front();
  Buffer& buffer = buffers_[about.index];
  buffer.queued = false;
  about.bytesused = static_cast<std::uint32_t>(buffer.used);
  about.flags = timestamp_flag | (buffer.damaged ? V4L2_BUF_FLAG_ERROR : 0U);
  const double whole = std::floor(buffer.monotonic_s);
  about.timestamp.tv_sec = static_cast<long>(whole);
  about.timestamp.tv_usec = static_cast<long>(1e6 * (buffer.monotonic_s - whole));
  return 0;
}

int FakeDevice::query_control(void* argument) {
  auto& about = *static_cast<v4l2_queryctrl*>(argument);
  const auto found = controls.find(about.id);
  if (found == controls.end()) return refused(EINVAL);
  about.minimum = found->second.minimum;
  about.maximum = found->second.maximum;
  about.flags = 0;
  return 0;
}

int FakeDevice::get_control(void* argument) {
  auto& control = *static_cast<v4l2_control*>(argument);
  const auto found = controls.find(control.id);
  if (found == controls.end()) return refused(EINVAL);
  control.value = found->second.value;
  return 0;
}

int FakeDevice::set_control(void* argument) {
  const auto& control = *static_cast<v4l2_control*>(argument);
  const auto found = controls.find(control.id);
  if (found == controls.end()) return refused(EINVAL);
  if (!found->second.settable) return refused(EIO);
  if (control.value < found->second.minimum || control.value > found->second.maximum) {
    return refused(ERANGE);
  }
  found->second.value = control.value;
  set.push_back({control.id, control.value});
  return 0;
}

int FakeDevice::wait(int) {
  if (unplugged) return refused(ENODEV);
  return filled_.empty() ? 0 : 1;
}

void* FakeDevice::map(std::size_t, off_t offset) {
  ++mapped;
  return buffers_.at(static_cast<std::size_t>(offset) / 4096).bytes.data();
}

void FakeDevice::unmap() {
  --mapped;
}

tracker::DeviceCalls calls_to(std::map<std::string, FakeDevice*> devices) {
  auto paths = std::make_shared<std::map<std::string, FakeDevice*>>(std::move(devices));
  auto open = std::make_shared<std::vector<FakeDevice*>>();  // the descriptor is the place in it
  const auto at = [open](int device) { return open->at(static_cast<std::size_t>(device)); };
  return {.open =
              [paths, open](const std::string& path) {
                const auto found = paths->find(path);
                if (found == paths->end() || found->second->unplugged) return refused(ENOENT);
                if (!found->second->may_be_opened) return refused(EACCES);
                ++found->second->opened;
                open->push_back(found->second);
                return static_cast<int>(open->size()) - 1;
              },
          .close = [at](int device) { ++at(device)->closed; },
          .ioctl = [at](int device,
                        unsigned long request,
                        void* argument) { return at(device)->ioctl(request, argument); },
          .map = [at](int device,
                      std::size_t length,
                      off_t offset) { return at(device)->map(length, offset); },
          .unmap =
              [open](void*, std::size_t) {
                if (!open->empty()) open->back()->unmap();
              },
          .wait = [at](int device, int timeout_ms) { return at(device)->wait(timeout_ms); }};
}

std::vector<std::uint8_t> yuyv(const cv::Mat& gray) {
  std::vector<std::uint8_t> bytes;
  for (int y = 0; y < gray.rows; ++y) {
    for (int x = 0; x < gray.cols; ++x) {
      bytes.push_back(gray.at<std::uint8_t>(y, x));
      bytes.push_back(128);
    }
  }
  return bytes;
}

}  // namespace nightswing::test
