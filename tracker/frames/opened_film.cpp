#include "tracker/frames/opened_film.h"

#include <new>

extern "C" {
#include <libavformat/avformat.h>
#include <libavutil/dict.h>
#include <libavutil/log.h>
}

namespace nightswing::tracker {

void CloseFilm::operator()(AVFormatContext* container) const {
  avformat_close_input(&container);
}

std::optional<OpenedFilm> open_film(const std::string& location, const AVIOInterruptCB* waits) {
  av_log_set_level(AV_LOG_QUIET);
  AVFormatContext* opened = avformat_alloc_context();
  if (opened == nullptr) throw std::bad_alloc();
  AVDictionary* options = nullptr;
  if (waits != nullptr) {
    opened->interrupt_callback = *waits;
    av_dict_set(&options, "rtsp_flags", "prefer_tcp", 0);  // nothing is lost on the way
  }
  const int fault = avformat_open_input(&opened, location.c_str(), nullptr, &options);
  av_dict_free(&options);
  if (fault != 0) return std::nullopt;  // and it is freed
  OpenedFilm film;
  film.container.reset(opened);
  if (avformat_find_stream_info(opened, nullptr) < 0) return std::nullopt;
  film.stream = av_find_best_stream(opened, AVMEDIA_TYPE_VIDEO, -1, -1, nullptr, 0);
  if (film.stream < 0) return std::nullopt;
  return film;
}

}  // namespace nightswing::tracker
