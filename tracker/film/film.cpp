#include "tracker/film/film.h"

#include <algorithm>
#include <cmath>
#include <memory>

#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>

#include "analysis/input_error.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/film/film_painter.h"
#include "tracker/film/film_writer.h"
#include "tracker/frame_pump.h"
#include "tracker/picture_brightness.h"
#include "tracker/progress.h"

namespace nightswing::tracker {
namespace {

constexpr int kFramesPerSecond = 30;
constexpr double kCard_s = 3.0;
constexpr double kMostOfFilm = 0.15;  // that one card may take
constexpr double kCaption_s = 5.0;

/// Gives the picture of the wall that belongs to each moment, in order.
class WallPictures {
 public:
  virtual ~WallPictures() = default;
  virtual const cv::Mat& at(const FilmMoment& moment) = 0;
};

/// From the video: the latest frame that is not later than the moment.
class FilmedWall final : public WallPictures {
 public:
  FilmedWall(const std::filesystem::path& video, const RunInfo& info)
      : source_(video, {.frame_every_s = frame_every_s(info)}), pump_(source_) {
    if (source_.width_px() != info.frame_width_px || source_.height_px() != info.frame_height_px) {
      throw InputError(fmt::format(
          "{} has {} x {} pixels, but the frames of the run had {} x {}: it is another film; name "
          "the right one with --video, or let the wall be drawn with --drawn",
          video.string(),
          source_.width_px(),
          source_.height_px(),
          info.frame_width_px,
          info.frame_height_px));
    }
    ended_ = !pump_.next(next_);
    if (ended_) throw InputError(fmt::format("{} holds no frame", video.string()));
  }

  const cv::Mat& at(const FilmMoment& moment) override {
    constexpr double kSame_s = 1e-6;
    while (!ended_ && (shown_.picture.empty() || next_.t_s <= moment.t_s + kSame_s)) {
      std::swap(shown_, next_);
      ended_ = !pump_.next(next_);
    }
    return shown_.picture;
  }

 private:
  VideoSource source_;
  FramePump pump_;
  Frame shown_;
  Frame next_;
  bool ended_ = false;
};

/// Without the video: a plain wall with the spot drawn where it was measured.
class DrawnWall final : public WallPictures {
 public:
  explicit DrawnWall(const RunInfo& info) : size_(info.frame_width_px, info.frame_height_px) {}

  const cv::Mat& at(const FilmMoment& moment) override {
    picture_.create(size_, CV_8UC3);
    picture_.setTo(cv::Scalar(52, 48, 46));
    if (moment.spot) draw(*moment.spot);
    return picture_;
  }

 private:
  void draw(const SpotPosition& spot) {
    const double sigma = std::max(1.0, spot.width_px);
    const int reach = static_cast<int>(4.0 * sigma) + 1;
    const cv::Rect around =
        cv::Rect(cvRound(spot.x_px) - reach, cvRound(spot.y_px) - reach, 2 * reach, 2 * reach) &
        cv::Rect({0, 0}, size_);
    for (int y = around.y; y < around.y + around.height; ++y) {
      for (int x = around.x; x < around.x + around.width; ++x) {
        const double r2 = std::pow(x - spot.x_px, 2) + std::pow(y - spot.y_px, 2);
        const double light = std::exp(-0.5 * r2 / (sigma * sigma));
        auto& pixel = picture_.at<cv::Vec3b>(y, x);
        pixel[2] = cv::saturate_cast<unsigned char>(pixel[2] + 205.0 * light);
        pixel[1] = cv::saturate_cast<unsigned char>(pixel[1] + 60.0 * light * light);
      }
    }
  }

  cv::Size size_;
  cv::Mat picture_;
};

struct Wall {
  std::unique_ptr<WallPictures> pictures;
  std::string words;
  double gain = 1.0;
};

Wall wall_for(const FilmRequest& request, const RunInfo& info) {
  const std::filesystem::path video =
      request.video.empty() ? std::filesystem::path(info.source) : request.video;
  const bool there = std::filesystem::is_regular_file(video);
  if (!request.video.empty() && !there) {
    throw InputError(fmt::format("{} does not exist", video.string()));
  }
  if (request.drawn || !there) {
    return {
        .pictures = std::make_unique<DrawnWall>(info),
        .words = request.drawn
                     ? "drawn from the track"
                     : fmt::format(
                           "drawn from the track, because {} is not there (name it with --video)",
                           video.string())};
  }
  const cv::Mat first = cv::imread(request.run.first_frame().string(),
                                   cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
  return {.pictures = std::make_unique<FilmedWall>(video, info),
          .words = "from " + video.string(),
          .gain = first.empty() ? 1.0 : gain_to_light_gray(first)};
}

void add_captions(const FilmRequest& request, FilmContents& contents) {
  for (const std::string& text : request.captions) {
    const std::size_t equal = text.find('=');
    if (equal == std::string::npos) {
      throw InputError(
          fmt::format("'{}' is no caption; write a moment and a text, as in "
                      "2h5m='sources moved'",
                      text));
    }
    contents.captions.push_back(
        {moment_s(text.substr(0, equal), contents.info.start), text.substr(equal + 1)});
  }
  std::ranges::stable_sort(contents.captions, {}, &FilmCaption::t_s);
}

/// The caption that stands at the moment: the last one that began, for its time.
std::string caption_at(const FilmContents& contents, double t_s, double lasts_s) {
  std::string text;
  for (const FilmCaption& caption : contents.captions) {
    if (caption.t_s <= t_s && t_s < caption.t_s + lasts_s) text = caption.text;
  }
  return text;
}

std::vector<std::string> title_lines(const FilmContents& contents, double seconds) {
  const double night_s = contents.moments.back().t_s - contents.moments.front().t_s;
  std::vector<std::string> lines{
      fmt::format("{} in {:.0f} seconds", duration_text(night_s), seconds)};
  if (contents.info.start) lines.push_back(iso_text(*contents.info.start).substr(0, 10));
  return lines;
}

}  // namespace

FilmSummary make_film(const FilmRequest& request) {
  FilmContents contents = film_contents(request.run);
  add_captions(request, contents);
  if (!request.title.empty()) contents.title = request.title;
  Wall wall = wall_for(request, contents.info);
  const FilmLayout layout =
      film_layout({contents.info.frame_width_px, contents.info.frame_height_px}, request.size);
  FilmPainter painter(contents, layout, wall.gain);
  FilmWriter writer(request.output,
                    {.width_px = layout.width_px,
                     .height_px = layout.height_px,
                     .frames_per_second = kFramesPerSecond,
                     .title = contents.title});

  const long total = std::max(1L, std::lround(request.seconds * kFramesPerSecond));
  const long card =
      std::lround(std::min(kCard_s, kMostOfFilm * request.seconds) * kFramesPerSecond);
  const long body = total - card - (contents.g_text.empty() ? 0 : card);
  Progress progress("film frame", total, request.quiet);
  long written = 0;
  const auto write = [&](const cv::Mat& frame, long times) {
    for (long k = 0; k < times; ++k) {
      writer.write(frame);
      progress.step(++written);
    }
  };
  write(painter.card(contents.title, title_lines(contents, request.seconds)), card);
  const double from_s = contents.moments.front().t_s;
  const double night_s = contents.moments.back().t_s - from_s;
  const double caption_s = kCaption_s * kFramesPerSecond * night_s / static_cast<double>(body);
  std::size_t index = 0;
  for (long k = 0; k < body; ++k) {
    const double share = body > 1 ? static_cast<double>(k) / static_cast<double>(body - 1) : 1.0;
    const double t_s = from_s + share * night_s;
    while (index + 1 < contents.moments.size() && contents.moments[index + 1].t_s <= t_s) ++index;
    painter.set_caption(caption_at(contents, t_s, caption_s));
    write(painter.paint(wall.pictures->at(contents.moments[index]), index), 1);
  }
  if (!contents.g_text.empty())
    write(painter.card("G = " + contents.g_text, {contents.title}), card);
  writer.finish();
  return {.frames = written,
          .width_px = layout.width_px,
          .height_px = layout.height_px,
          .picture = wall.words};
}

}  // namespace nightswing::tracker
