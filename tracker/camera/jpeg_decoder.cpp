#include "tracker/camera/jpeg_decoder.h"

#include <cstring>
#include <limits>
#include <new>
#include <utility>

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavutil/log.h>
}

namespace nightswing::tracker {
namespace {

OwnedCodec opened() {
  av_log_set_level(AV_LOG_QUIET);
  const AVCodec* decoder = avcodec_find_decoder(AV_CODEC_ID_MJPEG);
  if (decoder == nullptr) return nullptr;
  OwnedCodec codec = new_codec(*decoder);  // of one thread: several would hold pictures back
  if (avcodec_open2(codec.get(), decoder, nullptr) < 0) return nullptr;
  return codec;
}

}  // namespace

Picture JpegDecoder::decode(const void* bytes, std::size_t size) {
  if (!codec_) codec_ = opened();
  const bool fits = size > 0 && size < std::numeric_limits<int>::max() / 2;
  if (!codec_ || !fits) return {};
  av_packet_unref(packet_.get());
  // Copied, because libav reads beyond the end.
  if (av_new_packet(packet_.get(), static_cast<int>(size)) < 0) throw std::bad_alloc();
  std::memcpy(packet_->data, bytes, size);
  auto decoded = new_frame();
  if (avcodec_send_packet(codec_.get(), packet_.get()) < 0 ||
      avcodec_receive_frame(codec_.get(), decoded.get()) < 0) {
    codec_.reset();  // nothing of a damaged picture shall come to light with the next one
    return {};
  }
  return is_marked(*decoded) ? Picture() : pictures_.picture_of(std::move(decoded));
}

}  // namespace nightswing::tracker
