#include "tracker/film/video_encoder.h"

#include <new>
#include <stdexcept>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/frames/libav_owners.h"

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/log.h>
#include <libavutil/opt.h>
#include <libswscale/swscale.h>
}

namespace nightswing::tracker {
namespace {

struct Deleter {
  void operator()(SwsContext* scaler) const { sws_freeContext(scaler); }
  void operator()(AVFormatContext* file) const {
    if (file->pb != nullptr) avio_closep(&file->pb);
    avformat_free_context(file);
  }
};

std::string words_for(int error) {
  char text[AV_ERROR_MAX_STRING_SIZE] = {};
  av_strerror(error, text, sizeof(text));
  return text;
}

int checked(int status, const std::filesystem::path& path) {
  if (status < 0) {
    throw InputError(fmt::format(
        "the film {} cannot be written: {}; is the disk full?", path.string(), words_for(status)));
  }
  return status;
}

}  // namespace

struct VideoEncoder::Streams {
  std::unique_ptr<AVFormatContext, Deleter> file;
  OwnedCodec encoder;
  std::shared_ptr<AVFrame> frame;
  OwnedPacket packet;
  std::unique_ptr<SwsContext, Deleter> scaler;
  AVPixelFormat scaled_from = AV_PIX_FMT_NONE;
  AVStream* stream = nullptr;
};

namespace {

void open_encoder(AVCodecContext& encoder, const VideoFormat& format, bool global_header) {
  encoder.width = format.width_px;
  encoder.height = format.height_px;
  encoder.pix_fmt = AV_PIX_FMT_YUV420P;
  encoder.time_base = {1, format.units_per_second};
  if (format.even) encoder.framerate = {format.units_per_second, 1};
  encoder.gop_size = format.frames_between_keys;
  encoder.color_range = AVCOL_RANGE_MPEG;
  encoder.color_primaries = AVCOL_PRI_BT709;
  encoder.color_trc = AVCOL_TRC_BT709;
  encoder.colorspace = AVCOL_SPC_BT709;
  if (global_header) encoder.flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
  av_opt_set(encoder.priv_data, "preset", format.preset.c_str(), 0);
  av_opt_set(encoder.priv_data, "crf", fmt::format("{}", format.quality).c_str(), 0);
  if (format.no_delay) {
    av_opt_set(encoder.priv_data, "tune", "zerolatency", 0);
    encoder.thread_count = 1;
  }
}

/// To yuv420p as BT.709 says, with the colours where players of H.264 take them to be (at the left
/// one of two pixels): the defaults of the scaler are neither.
SwsContext* bt709_scaler(const AVCodecContext& encoder, AVPixelFormat from) {
  SwsContext* scaler = sws_alloc_context();
  if (scaler == nullptr) throw std::bad_alloc();
  const auto set = [&](const char* name, int value) { av_opt_set_int(scaler, name, value, 0); };
  set("srcw", encoder.width);
  set("srch", encoder.height);
  set("src_format", from);
  set("dstw", encoder.width);
  set("dsth", encoder.height);
  set("dst_format", AV_PIX_FMT_YUV420P);
  set("dst_h_chr_pos", 0);
  set("dst_v_chr_pos", 128);  // half-way between two rows
  set("sws_flags", SWS_BILINEAR);
  if (sws_init_context(scaler, nullptr, nullptr) < 0) {
    sws_freeContext(scaler);
    throw std::runtime_error("no converter from BGR to yuv420p");
  }
  const int* table = sws_getCoefficients(SWS_CS_ITU709);
  sws_setColorspaceDetails(scaler, table, 1, table, 0, 0, 1 << 16, 1 << 16);
  return scaler;
}

const AVCodec& h264_encoder() {
  const AVCodec* codec = avcodec_find_encoder_by_name("libx264");
  if (codec == nullptr) codec = avcodec_find_encoder(AV_CODEC_ID_H264);
  if (codec == nullptr) {
    throw InputError("no H.264 encoder is installed; on Debian it comes with libavcodec59");
  }
  return *codec;
}

}  // namespace

VideoEncoder::VideoEncoder(const std::filesystem::path& path, const VideoFormat& format)
    : path_(path) {
  if (format.width_px <= 0 || format.height_px <= 0 || format.width_px % 2 != 0 ||
      format.height_px % 2 != 0 || format.units_per_second <= 0) {
    throw std::invalid_argument("VideoEncoder: width and height must be even and above zero");
  }
  av_log_set_level(AV_LOG_QUIET);  // what is wrong is said by exceptions
  const AVCodec& codec = h264_encoder();
  streams_ = std::make_unique<Streams>();
  Streams& s = *streams_;
  AVFormatContext* file = nullptr;
  checked(avformat_alloc_output_context2(&file, nullptr, format.container.c_str(), path_.c_str()),
          path_);
  s.file.reset(file);
  s.encoder.reset(avcodec_alloc_context3(&codec));
  if (!s.encoder) throw std::bad_alloc();
  open_encoder(*s.encoder, format, (file->oformat->flags & AVFMT_GLOBALHEADER) != 0);
  checked(avcodec_open2(s.encoder.get(), &codec, nullptr), path_);
  s.stream = avformat_new_stream(file, nullptr);
  if (s.stream == nullptr) throw std::bad_alloc();
  s.stream->time_base = s.encoder->time_base;
  s.stream->avg_frame_rate = s.encoder->framerate;
  checked(avcodec_parameters_from_context(s.stream->codecpar, s.encoder.get()), path_);
  for (const auto& [key, value] : format.metadata) {
    av_dict_set(&file->metadata, key.c_str(), value.c_str(), 0);
  }
  checked(avio_open(&file->pb, path_.c_str(), AVIO_FLAG_WRITE), path_);
  AVDictionary* options = nullptr;
  for (const auto& [key, value] : format.container_options) {
    av_dict_set(&options, key.c_str(), value.c_str(), 0);
  }
  if (format.no_delay) file->flags |= AVFMT_FLAG_FLUSH_PACKETS;
  const int status = avformat_write_header(file, &options);
  av_dict_free(&options);
  checked(status, path_);
  s.frame = new_frame();
  s.frame->format = s.encoder->pix_fmt;
  s.frame->width = format.width_px;
  s.frame->height = format.height_px;
  checked(av_frame_get_buffer(s.frame.get(), 0), path_);
  s.packet = new_packet();
}

VideoEncoder::~VideoEncoder() = default;

void VideoEncoder::encode(bool flush) {
  Streams& s = *streams_;
  checked(avcodec_send_frame(s.encoder.get(), flush ? nullptr : s.frame.get()), path_);
  for (;;) {
    const int status = avcodec_receive_packet(s.encoder.get(), s.packet.get());
    if (status == AVERROR(EAGAIN) || status == AVERROR_EOF) return;
    checked(status, path_);
    av_packet_rescale_ts(s.packet.get(), s.encoder->time_base, s.stream->time_base);
    s.packet->stream_index = s.stream->index;
    checked(av_interleaved_write_frame(s.file.get(), s.packet.get()), path_);
  }
}

void VideoEncoder::write(const cv::Mat& picture, std::int64_t time) {
  Streams& s = *streams_;
  if ((picture.type() != CV_8UC4 && picture.type() != CV_8UC3) || picture.cols != s.frame->width ||
      picture.rows != s.frame->height) {
    throw std::invalid_argument("VideoEncoder: a frame of another size or kind");
  }
  const AVPixelFormat from = picture.channels() == 4 ? AV_PIX_FMT_BGR0 : AV_PIX_FMT_BGR24;
  if (s.scaled_from != from) s.scaler.reset(bt709_scaler(*s.encoder, from));
  s.scaled_from = from;
  checked(av_frame_make_writable(s.frame.get()), path_);
  const std::uint8_t* const rows[] = {picture.data};
  const int strides[] = {static_cast<int>(picture.step)};
  sws_scale(
      s.scaler.get(), rows, strides, 0, picture.rows, &s.frame->data[0], &s.frame->linesize[0]);
  s.frame->pts = time;
  encode(false);
}

void VideoEncoder::finish() {
  encode(true);
  checked(av_write_trailer(streams_->file.get()), path_);
  streams_.reset();
}

}  // namespace nightswing::tracker
