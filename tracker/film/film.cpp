#include "tracker/film/film.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <memory>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/film/film_painter.h"
#include "tracker/film/film_writer.h"
#include "tracker/frames/frame_pump.h"
#include "tracker/frames/frame_source.h"
#include "tracker/frames/picture_brightness.h"
#include "tracker/frames/picture_file.h"
#include "tracker/text/pace_text.h"
#include "tracker/text/progress.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

constexpr int kFramesPerSecond = 30;
constexpr double kCard_s = 3.0;
constexpr double kMostOfFilm = 0.15;  // that one card may take
constexpr double kCaption_s = 5.0;

/// The picture of the wall that belongs to a moment; asked for in order of time.
using WallPictures = std::function<cv::Mat(const FilmMoment&)>;

/// From the video: the latest frame that is not later than the moment.
class FilmedWall {
 public:
  FilmedWall(const std::filesystem::path& video, const RunInfo& info)
      : source_(open_source(
            video.string(),
            {.frame_every_s = frame_every_s(info.time_from), .whole_s = whole_s(info.time_from)})),
        pump_(*source_) {
    const SourceFacts& facts = source_->facts();
    if (facts.width_px != info.frame_width_px || facts.height_px != info.frame_height_px) {
      throw InputError(fmt::format(
          "{} has {} x {} pixels, but the frames of the run had {} x {}: it is another film; name "
          "the right one with --video, or let the wall be drawn with --drawn",
          video.string(),
          facts.width_px,
          facts.height_px,
          info.frame_width_px,
          info.frame_height_px));
    }
    ended_ = !pump_.next(next_);
    if (ended_) throw InputError(fmt::format("{} holds no frame", video.string()));
  }

  cv::Mat at(const FilmMoment& moment) {
    constexpr double kSame_s = 1e-6;
    bool is_new = false;
    while (!ended_ && (shown_.picture.empty() || next_.t_s <= moment.t_s + kSame_s)) {
      std::swap(shown_, next_);
      is_new = true;
      ended_ = !pump_.next(next_);
    }
    if (is_new) colours_ = shown_.picture.bgr();
    return colours_;
  }

 private:
  std::unique_ptr<FrameSource> source_;
  FramePump pump_;
  Frame shown_;
  Frame next_;
  cv::Mat colours_;  // of the frame that is shown
  bool ended_ = false;
};

/// Without the video: a plain wall with the spot drawn where it was measured.
class DrawnWall {
 public:
  explicit DrawnWall(const RunInfo& info) : size_(info.frame_width_px, info.frame_height_px) {}

  cv::Mat at(const FilmMoment& moment) {
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

template <typename Pictures>
WallPictures shared(std::shared_ptr<Pictures> pictures) {
  return [pictures](const FilmMoment& moment) { return pictures->at(moment); };
}

struct Wall {
  WallPictures picture_at{};
  std::string words{};
  double gain = 1.0;
};

Wall wall_for(const FilmRequest& request, const RunInfo& info) {
  const std::filesystem::path video =
      request.video.empty() ? std::filesystem::path(info.source) : request.video;
  std::error_code none;
  // A folder holds photographs; anything else, such as a camera, gives its pictures once.
  const bool there =
      std::filesystem::is_regular_file(video, none) || std::filesystem::is_directory(video, none);
  if (!request.video.empty() && !there) {
    throw InputError(fmt::format("{} does not exist", video.string()));
  }
  if (std::filesystem::equivalent(request.output, video, none) ||
      std::filesystem::equivalent(request.output, info.source, none)) {
    throw UsageError(fmt::format("-o {}: that is the film of the night itself; give another name",
                                 request.output.string()));
  }
  Wall wall;
  if (request.drawn || !there) {
    wall.picture_at = shared(std::make_shared<DrawnWall>(info));
    wall.words = "drawn from the track";
    if (!request.drawn) {
      wall.words += fmt::format(", because {} is not there (name it with --video)", video.string());
    }
    return wall;
  }
  const cv::Mat first = read_picture(request.run.first_frame());
  wall.picture_at = shared(std::make_shared<FilmedWall>(video, info));
  wall.words = "from " + video.string();
  if (!first.empty()) wall.gain = gain_to_light_gray(first);
  return wall;
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

std::vector<std::string> result_lines(const FilmContents& contents) {
  std::vector<std::string> lines{contents.title};
  if (contents.blinded) lines.push_back("blind: G carries a hidden factor");
  return lines;
}

/// How many frames of the film the parts get.
struct Parts {
  long card;  ///< each of the two
  long night;
};

Parts parts_of(const FilmRequest& request, bool with_result) {
  const long total = std::max(1L, std::lround(request.seconds * kFramesPerSecond));
  const long card =
      std::lround(std::min(kCard_s, kMostOfFilm * request.seconds) * kFramesPerSecond);
  return {.card = card, .night = total - card * (with_result ? 2 : 1)};
}

/// Calls `write` with each frame of the night.
void paint_night(const FilmContents& contents,
                 const Wall& wall,
                 long frames,
                 FilmPainter& painter,
                 const std::function<void(const cv::Mat&)>& write) {
  const auto& moments = contents.moments;
  const double night_s = moments.back().t_s - moments.front().t_s;
  const double caption_s = kCaption_s * kFramesPerSecond * night_s / static_cast<double>(frames);
  std::size_t index = 0;
  for (long k = 0; k < frames; ++k) {
    const double share =
        frames > 1 ? static_cast<double>(k) / static_cast<double>(frames - 1) : 1.0;
    const double t_s = moments.front().t_s + share * night_s;
    while (index + 1 < moments.size() && moments[index + 1].t_s <= t_s) ++index;
    painter.set_caption(caption_at(contents, t_s, caption_s));
    write(painter.paint(wall.picture_at(moments[index]), index));
  }
}

/// throws InputError for a caption that would never be seen.
void check_captions(const FilmContents& contents) {
  const double from_s = contents.moments.front().t_s;
  const double to_s = contents.moments.back().t_s;
  for (const FilmCaption& caption : contents.captions) {
    if (caption.t_s >= from_s && caption.t_s <= to_s) continue;
    throw InputError(fmt::format(
        "the caption '{}' at {:.0f} s lies outside the night, which goes from {:.0f} s to {:.0f} s "
        "({}); give it a moment within",
        caption.text,
        caption.t_s,
        from_s,
        to_s,
        duration_text(to_s - from_s)));
  }
}

}  // namespace

FilmSummary make_film(const FilmRequest& request) {
  FilmContents contents = film_contents(request.run);
  contents.captions = request.captions;
  check_captions(contents);
  std::ranges::stable_sort(contents.captions, {}, &FilmCaption::t_s);
  if (!request.title.empty()) contents.title = request.title;
  const Wall wall = wall_for(request, contents.info);
  const FilmLayout layout =
      film_layout({contents.info.frame_width_px, contents.info.frame_height_px}, request.size);
  FilmPainter painter(contents, layout, wall.gain);
  FilmWriter writer(request.output,
                    {.width_px = layout.width_px,
                     .height_px = layout.height_px,
                     .frames_per_second = kFramesPerSecond,
                     .title = contents.title});
  const bool with_result = !contents.g_text.empty();
  const Parts parts = parts_of(request, with_result);
  Progress progress("film frame", parts.night + parts.card * (with_result ? 2 : 1), request.quiet);
  long written = 0;
  const auto write = [&](const cv::Mat& frame) {
    writer.write(frame);
    progress.step(++written);
  };
  const auto write_card = [&](const cv::Mat& card) {
    for (long k = 0; k < parts.card; ++k) write(card);
  };
  write_card(painter.card(contents.title, title_lines(contents, request.seconds)));
  paint_night(contents, wall, parts.night, painter, write);
  if (with_result) write_card(painter.card("G = " + contents.g_text, result_lines(contents)));
  writer.finish();
  return {.frames = written,
          .width_px = layout.width_px,
          .height_px = layout.height_px,
          .picture = wall.words};
}

}  // namespace nightswing::tracker
