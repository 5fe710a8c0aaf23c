#include "tracker/frames/stream_decoder.h"

#include <utility>

#include <fmt/format.h>

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
}

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {

std::string without_password(const std::string& address) {
  const auto begin = address.find("://");
  if (begin == std::string::npos) return address;
  const auto host = address.find_last_of('@', address.find('/', begin + 3));
  if (host == std::string::npos || host < begin) return address;
  return address.substr(0, begin + 3) + address.substr(host + 1);
}

bool StreamDecoder::Wait::is_over() const {
  return Clock::now() >= until || (gives_up && gives_up());
}

std::unique_ptr<StreamDecoder> StreamDecoder::open(const std::string& address,
                                                   const StreamPatience& patience,
                                                   const GiveUp& gives_up) {
  std::unique_ptr<StreamDecoder> decoder(new StreamDecoder);
  decoder->patience_ = patience.picture;
  decoder->wait_ = {.until = Clock::now() + patience.open, .gives_up = gives_up};
  const bool is_open = decoder->open(address);
  if (gives_up && gives_up()) return nullptr;
  if (!is_open) {
    throw InputError(fmt::format(
        "no video comes from {}; check in a {} on this computer that the address shows one",
        without_password(address),
        address.starts_with("http") ? "browser" : "video player"));
  }
  decoder->wait_.gives_up = {};  // who asks for it need not live as long
  return decoder;
}

bool StreamDecoder::open(const std::string& address) {
  const AVIOInterruptCB waits{
      .callback = [](void* wait) { return static_cast<const Wait*>(wait)->is_over() ? 1 : 0; },
      .opaque = &wait_};
  auto film = open_film(address, &waits);
  if (!film) return false;
  film_ = std::move(*film);
  const AVStream& stream = *film_.container->streams[film_.stream];
  width_px_ = stream.codecpar->width;
  height_px_ = stream.codecpar->height;
  codec_ = codec_for(stream);
  // One thread: several would each hold a picture back.
  return codec_ && width_px_ > 0 && height_px_ > 0 &&
         avcodec_open2(codec_.get(), codec_->codec, nullptr) == 0;
}

StreamDecoder::Step StreamDecoder::next(Picture& picture, const GiveUp& gives_up) {
  wait_ = {.until = Clock::now() + patience_, .gives_up = gives_up};
  const std::int64_t before = bytes_come();
  const Step step = wait_for(picture);
  wait_.gives_up = {};
  const bool something_came = bytes_come() > before && !(gives_up && gives_up());
  return step == Step::kSilent && something_came ? Step::kUnreadable : step;
}

/// 0 where libav does not count them (RTSP).
std::int64_t StreamDecoder::bytes_come() const {
  return film_.container->pb == nullptr ? 0 : film_.container->pb->bytes_read;
}

StreamDecoder::Step StreamDecoder::wait_for(Picture& picture) {
  while (true) {
    auto decoded = new_frame();
    const int got = avcodec_receive_frame(codec_.get(), decoded.get());
    if (got == 0) {
      if (is_marked(*decoded)) return Step::kDamaged;
      Picture whole = pictures_.picture_of(std::move(decoded));
      if (whole.empty()) return Step::kDamaged;
      picture = std::move(whole);
      return Step::kPicture;
    }
    if (got != AVERROR(EAGAIN)) return Step::kDamaged;
    if (wait_.is_over()) return Step::kSilent;
    const int read = av_read_frame(film_.container.get(), packet_.get());
    arrived_ = Clock::now();
    if (read == AVERROR(EAGAIN)) continue;
    if (read == AVERROR_INVALIDDATA) return Step::kDamaged;
    if (read < 0) return wait_.is_over() ? Step::kSilent : Step::kEnd;
    const bool ours = packet_->stream_index == film_.stream;
    const int sent = ours ? avcodec_send_packet(codec_.get(), packet_.get()) : 0;
    av_packet_unref(packet_.get());
    if (sent < 0) return Step::kDamaged;
  }
}

}  // namespace nightswing::tracker
