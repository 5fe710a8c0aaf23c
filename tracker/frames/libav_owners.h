#pragma once

#include <memory>

struct AVCodec;
struct AVCodecContext;
struct AVFrame;
struct AVPacket;
struct AVStream;

namespace nightswing::tracker {

struct FreeCodec {
  void operator()(AVCodecContext* codec) const;
};
using OwnedCodec = std::unique_ptr<AVCodecContext, FreeCodec>;

struct FreePacket {
  void operator()(AVPacket* packet) const;
};
using OwnedPacket = std::unique_ptr<AVPacket, FreePacket>;

/// Empty ones. throws std::bad_alloc
[[nodiscard]] OwnedPacket new_packet();
[[nodiscard]] std::shared_ptr<AVFrame> new_frame();

/// What decodes so, not opened yet. throws std::bad_alloc
[[nodiscard]] OwnedCodec new_codec(const AVCodec& decoder);
/// What decodes that stream, not opened yet; nothing if libav cannot.
[[nodiscard]] OwnedCodec codec_for(const AVStream& stream);

/// Whether the decoder says of a frame that it made up a part of it.
[[nodiscard]] bool is_marked(const AVFrame& frame);

}  // namespace nightswing::tracker
