#include "tracker/film/film_writer.h"

#include <stdexcept>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {
namespace {

VideoFormat video_format(const FilmFormat& film) {
  VideoFormat format{.container = "mp4",
                     .width_px = film.width_px,
                     .height_px = film.height_px,
                     .units_per_second = film.frames_per_second,
                     // a place to jump to every two seconds
                     .frames_between_keys = 2 * film.frames_per_second,
                     .quality = film.quality,
                     .container_options = {{"movflags", "+faststart"}}};
  if (!film.title.empty()) format.metadata["title"] = film.title;
  return format;
}

}  // namespace

FilmWriter::FilmWriter(std::filesystem::path path, const FilmFormat& format)
    : path_(std::move(path)),
      part_(path_.string() + ".part"),
      encoder_(std::make_unique<VideoEncoder>(part_, video_format(format))) {}

FilmWriter::~FilmWriter() {
  encoder_.reset();
  std::error_code ignored;
  if (!finished_) std::filesystem::remove(part_, ignored);
}

void FilmWriter::write(const cv::Mat& picture) {
  if (picture.type() != CV_8UC4) throw std::invalid_argument("FilmWriter: a frame of another kind");
  encoder_->write(picture, next_++);
}

void FilmWriter::finish() {
  encoder_->finish();
  encoder_.reset();
  std::error_code failed;
  std::filesystem::rename(part_, path_, failed);
  if (failed) {
    throw InputError(
        fmt::format("the film {} cannot be written: {}", path_.string(), failed.message()));
  }
  finished_ = true;
}

}  // namespace nightswing::tracker
