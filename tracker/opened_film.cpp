#include "tracker/opened_film.h"

extern "C" {
#include <libavformat/avformat.h>
#include <libavutil/log.h>
}

namespace nightswing::tracker {

void CloseFilm::operator()(AVFormatContext* container) const {
  avformat_close_input(&container);
}

std::optional<OpenedFilm> open_film(const std::filesystem::path& path) {
  av_log_set_level(AV_LOG_QUIET);
  AVFormatContext* opened = nullptr;
  if (avformat_open_input(&opened, path.c_str(), nullptr, nullptr) != 0) return std::nullopt;
  OpenedFilm film;
  film.container.reset(opened);
  if (avformat_find_stream_info(opened, nullptr) < 0) return std::nullopt;
  film.stream = av_find_best_stream(opened, AVMEDIA_TYPE_VIDEO, -1, -1, nullptr, 0);
  if (film.stream < 0) return std::nullopt;
  return film;
}

}  // namespace nightswing::tracker
