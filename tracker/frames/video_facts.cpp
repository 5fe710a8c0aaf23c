#include "tracker/frames/video_facts.h"

#include <cstdint>

#include "tracker/frames/libav_owners.h"

extern "C" {
#include <libavformat/avformat.h>
#include <libavutil/display.h>
}

namespace nightswing::tracker {
namespace {

std::optional<UtcTime> creation_time(const AVFormatContext& container, const AVStream& stream) {
  for (const AVDictionary* metadata : {container.metadata, stream.metadata}) {
    const AVDictionaryEntry* entry = av_dict_get(metadata, "creation_time", nullptr, 0);
    if (entry == nullptr) continue;
    const auto time = parse_iso_time(entry->value);
    // Recorders without a clock write 1904 or 1970; no laser pointer is that old.
    if (time && *time > UtcTime{std::chrono::sys_days{std::chrono::year{1990} / 1 / 1}})
      return time;
  }
  return std::nullopt;
}

double rotation_deg(const AVStream& stream) {
  const std::uint8_t* matrix = av_stream_get_side_data(&stream, AV_PKT_DATA_DISPLAYMATRIX, nullptr);
  if (matrix == nullptr) return 0.0;
  // libavutil gives the counterclockwise turn; the tag means the other way round.
  return -av_display_rotation_get(reinterpret_cast<const std::int32_t*>(matrix));
}

}  // namespace

VideoFacts video_facts(const OpenedFilm& film) {
  VideoFacts facts;
  const AVFormatContext& container = *film.container;
  const AVStream& stream = *container.streams[film.stream];
  facts.created = creation_time(container, stream);
  if (stream.duration > 0) {
    facts.duration_s = static_cast<double>(stream.duration) * av_q2d(stream.time_base);
  } else if (container.duration > 0) {
    facts.duration_s = static_cast<double>(container.duration) / AV_TIME_BASE;
  }
  facts.rotation_deg = rotation_deg(stream);
  return facts;
}

long count_pictures(const std::filesystem::path& path) {
  const auto video = open_film(path);
  if (!video) return 0;
  const OwnedPacket packet = new_packet();
  long pictures = 0;
  while (av_read_frame(video->container.get(), packet.get()) >= 0) {
    if (packet->stream_index == video->stream) ++pictures;
    av_packet_unref(packet.get());
  }
  return pictures;
}

}  // namespace nightswing::tracker
