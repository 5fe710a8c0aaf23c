#include "tracker/frames/libav_owners.h"

#include <new>

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
}

namespace nightswing::tracker {

void FreeCodec::operator()(AVCodecContext* codec) const {
  avcodec_free_context(&codec);
}

void FreePacket::operator()(AVPacket* packet) const {
  av_packet_free(&packet);
}

OwnedPacket new_packet() {
  OwnedPacket packet(av_packet_alloc());
  if (!packet) throw std::bad_alloc();
  return packet;
}

std::shared_ptr<AVFrame> new_frame() {
  AVFrame* frame = av_frame_alloc();
  if (frame == nullptr) throw std::bad_alloc();
  return {frame, [](AVFrame* old) { av_frame_free(&old); }};
}

OwnedCodec new_codec(const AVCodec& decoder) {
  OwnedCodec codec(avcodec_alloc_context3(&decoder));
  if (!codec) throw std::bad_alloc();
  codec->flags |= AV_CODEC_FLAG_UNALIGNED;  // cut off exactly what the film says
  // Else of a photograph that is cut off the rest is made up.
  if (decoder.id == AV_CODEC_ID_MJPEG) codec->err_recognition |= AV_EF_EXPLODE;
  return codec;
}

OwnedCodec codec_for(const AVStream& stream) {
  const AVCodec* decoder = avcodec_find_decoder(stream.codecpar->codec_id);
  if (decoder == nullptr) return nullptr;
  OwnedCodec codec = new_codec(*decoder);
  if (avcodec_parameters_to_context(codec.get(), stream.codecpar) < 0) return nullptr;
  codec->pkt_timebase = stream.time_base;
  return codec;
}

bool is_marked(const AVFrame& frame) {
  return frame.decode_error_flags != 0 || (frame.flags & AV_FRAME_FLAG_CORRUPT) != 0;
}

}  // namespace nightswing::tracker
