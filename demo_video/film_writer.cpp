#include "demo_video/film_writer.h"

#include <fmt/format.h>

namespace nightswing::demo {
namespace {

std::string quoted(const std::string& text) {
  std::string out = "'";
  for (const char letter : text) {
    if (letter == '\'') {
      out += "'\\''";  // leave the quotes, one escaped quote, quotes again
    } else {
      out += letter;
    }
  }
  return out + "'";
}

std::string command(const std::string& path, const NightSettings& settings) {
  // The bits shall go to the moving spot: aq-mode and mbtree would spend them on the noise of the
  // still wall, psy on grain that looks good and carries no position. The colour planes are kept
  // finer because the spot is red.
  return fmt::format(
      "exec ffmpeg -nostdin -hide_banner -loglevel error -y -f rawvideo -pix_fmt bgr24 -s {}x{} "
      "-r {} -i pipe:0 -an -c:v libx264 -preset {} -crf {} -threads 2 -pix_fmt yuv420p "
      "-x264-params psy=0:aq-mode=0:mbtree=0:chroma-qp-offset=-8 -metadata creation_time={} "
      "-movflags +faststart {}",
      settings.camera.width_px,
      settings.camera.height_px,
      settings.film.nominal_frames_per_second,
      quoted(settings.film.preset),
      settings.film.crf,
      quoted(settings.start_utc),
      quoted(path.front() == '-' ? "./" + path : path));
}

}  // namespace

FilmWriter::FilmWriter(const std::string& path, const NightSettings& settings)
    : path_(path), pipe_(popen(command(path, settings).c_str(), "w")) {
  if (pipe_ == nullptr) throw SettingsError("ffmpeg could not be started; is it installed?");
}

FilmWriter::~FilmWriter() {
  if (pipe_ != nullptr) pclose(pipe_);
}

void FilmWriter::write(const cv::Mat& frame) {
  CV_Assert(frame.type() == CV_8UC3 && frame.isContinuous());
  const std::size_t bytes = frame.total() * frame.elemSize();
  if (std::fwrite(frame.data, 1, bytes, pipe_) != bytes) {
    throw SettingsError("ffmpeg stopped while writing " + path_ +
                        "; see its message above, and look at the free space on the disk");
  }
}

void FilmWriter::finish() {
  const int status = pclose(pipe_);
  pipe_ = nullptr;
  if (status != 0) {
    throw SettingsError("ffmpeg could not finish " + path_ +
                        "; see its message above, and look at the free space on the disk");
  }
}

}  // namespace nightswing::demo
