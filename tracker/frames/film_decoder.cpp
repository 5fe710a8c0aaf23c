#include "tracker/frames/film_decoder.h"

#include <algorithm>
#include <cmath>
#include <thread>
#include <utility>

#include <fmt/format.h>

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
}

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {
namespace {

constexpr int kMostThreads = 8;
// Longer than the way from a frame to one that is shown before it and made from it.
constexpr std::size_t kHeld = 6;
constexpr int kMostReadFaults = 50;
constexpr double kUsualRate = 25.0;

bool decodes_frames_at_once(const AVCodec& decoder) {
  return (decoder.capabilities & AV_CODEC_CAP_FRAME_THREADS) != 0;
}

/// Whether the decoder is known to tell of damage before it gives out what the damage spoils.
/// (That of MPEG-4 part 2 aborts the program instead.)
bool tells_damage(const AVCodec& decoder) {
  return decoder.id == AV_CODEC_ID_H264 || decoder.id == AV_CODEC_ID_HEVC;
}

}  // namespace

int FilmDecoder::usual_threads() {
  return std::clamp(static_cast<int>(std::thread::hardware_concurrency()), 1, kMostThreads);
}

FilmDecoder::FilmDecoder(std::filesystem::path path, int threads)
    : path_(std::move(path)), packet_(new_packet()) {
  open(threads, How::kStrict);
  if (!codec_ || width_px() <= 0 || height_px() <= 0) {
    throw InputError(fmt::format(
        "{} cannot be read as a video; if its recorder was cut off the file was not closed and its "
        "index is missing, else convert it to H.264 in MP4",
        path_.string()));
  }
}

/// Opens the film at its beginning; leaves `codec_` empty if that cannot be done.
void FilmDecoder::open(int threads, How how) {
  codec_.reset();
  is_strict_ = false;
  auto film = open_film(path_);
  if (!film) return;
  film_ = std::move(*film);
  for (unsigned int k = 0; k < film_.container->nb_streams; ++k) {
    if (static_cast<int>(k) != film_.stream) film_.container->streams[k]->discard = AVDISCARD_ALL;
  }
  const AVStream& stream = *film_.container->streams[film_.stream];
  OwnedCodec codec = codec_for(stream);
  if (!codec) return;
  const AVCodec& decoder = *codec->codec;
  is_strict_ = how == How::kStrict && tells_damage(decoder);
  codec->thread_type = FF_THREAD_FRAME;
  codec->thread_count = is_strict_ || !decodes_frames_at_once(decoder) ? threads : 1;
  if (is_strict_) codec->err_recognition |= AV_EF_EXPLODE;  // all damage is an error
  if (avcodec_open2(codec.get(), &decoder, nullptr) < 0) return;
  codec_ = std::move(codec);
  read_faults_ = 0;
}

FilmDecoder::Step FilmDecoder::next(DecodedFrame& frame) {
  fill_held();
  Step step = Step::kFrame;
  if (!held_.empty()) {
    frame = std::move(held_.front());
    held_.pop_front();
  } else {
    step = codec_ ? decode(frame) : Step::kEnd;
  }
  if (step == Step::kFrame) ++given_;
  return step;
}

/// Decodes ahead as long as nothing is damaged.
void FilmDecoder::fill_held() {
  while (is_strict_ && held_.size() < kHeld) {
    DecodedFrame decoded;
    const Step step = decode(decoded);
    if (step == Step::kEnd) return;
    if (step == Step::kDamaged) return start_again();
    held_.push_back(std::move(decoded));
  }
}

/// Goes behind the frames that were given, in one thread.
void FilmDecoder::start_again() {
  held_.clear();
  open(1, How::kMending);
  DecodedFrame passed;
  for (long k = 0; codec_ && k < given_;) {
    const Step step = decode(passed);
    if (step == Step::kEnd) return;
    if (step == Step::kFrame) ++k;
  }
}

FilmDecoder::Step FilmDecoder::decode(DecodedFrame& frame) {
  while (true) {
    auto decoded = new_frame();
    const int got = avcodec_receive_frame(codec_.get(), decoded.get());
    if (got == AVERROR_EOF) return Step::kEnd;
    if (got == 0 && is_strict_ && is_marked(*decoded)) return Step::kDamaged;
    if (got == 0) return take(std::move(decoded), frame) ? Step::kFrame : Step::kDamaged;
    if (got != AVERROR(EAGAIN) || !send_packet()) return Step::kDamaged;
  }
}

/// Gives the decoder the next packet, or the end; false if that was damaged.
bool FilmDecoder::send_packet() {
  const int read = av_read_frame(film_.container.get(), packet_.get());
  if (read == AVERROR(EAGAIN)) return true;
  if (read < 0) {
    const bool at_end = read == AVERROR_EOF || ++read_faults_ > kMostReadFaults;
    if (!at_end) return false;
    return avcodec_send_packet(codec_.get(), nullptr) == 0;
  }
  read_faults_ = 0;
  const bool ours = packet_->stream_index == film_.stream;
  const int sent = ours ? avcodec_send_packet(codec_.get(), packet_.get()) : 0;
  av_packet_unref(packet_.get());
  return sent == 0;
}

bool FilmDecoder::take(std::shared_ptr<AVFrame> decoded, DecodedFrame& frame) {
  const AVStream& stream = *film_.container->streams[film_.stream];
  const double unit_s = av_q2d(stream.time_base);
  const std::int64_t stamp = decoded->best_effort_timestamp;
  const std::int64_t shown = decoded->pkt_duration;
  Picture picture = pictures_.picture_of(std::move(decoded));
  if (picture.empty()) return false;
  frame.picture = std::move(picture);
  frame.t_s.reset();
  frame.duration_s.reset();
  if (stamp != AV_NOPTS_VALUE) frame.t_s = static_cast<double>(stamp) * unit_s;
  if (shown > 0) frame.duration_s = static_cast<double>(shown) * unit_s;
  return true;
}

int FilmDecoder::width_px() const {
  return film_.container->streams[film_.stream]->codecpar->width;
}

int FilmDecoder::height_px() const {
  return film_.container->streams[film_.stream]->codecpar->height;
}

double FilmDecoder::frames_per_second() const {
  AVStream* stream = film_.container->streams[film_.stream];
  const double rate = av_q2d(av_guess_frame_rate(film_.container.get(), stream, nullptr));
  return std::isfinite(rate) && rate > 0.0 ? rate : kUsualRate;
}

std::optional<long> FilmDecoder::declared_frames() const {
  const AVStream& stream = *film_.container->streams[film_.stream];
  double frames = static_cast<double>(stream.nb_frames);
  if (stream.nb_frames <= 0 && film_.container->duration > 0) {
    frames = static_cast<double>(film_.container->duration) / AV_TIME_BASE * frames_per_second();
  }
  if (!(frames >= 1.0 && frames < 1e9)) return std::nullopt;
  return std::lround(frames);
}

}  // namespace nightswing::tracker
