#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <cairo.h>
#include <opencv2/core.hpp>

#include "tracker/film/film_contents.h"
#include "tracker/film/film_layout.h"
#include "tracker/report/axes.h"

namespace nightswing::tracker {

/// Paints the frames of a film, in order of time. The plot below grows with them.
class FilmPainter {
 public:
  /// contents must outlive the painter. gain  brightness of the film over that of the source.
  FilmPainter(const FilmContents& contents, const FilmLayout& layout, double gain);

  /// The frame at moment `index` of the contents, with the picture of the wall (8-bit BGR, of the
  /// source's size). Valid until the next call.
  [[nodiscard]] const cv::Mat& paint(const cv::Mat& picture, std::size_t index);

  /// The same with a caption across the picture; empty for none.
  void set_caption(std::string text) { caption_ = std::move(text); }

  /// A card: a heading and lines below it.
  [[nodiscard]] const cv::Mat& card(const std::string& heading,
                                    const std::vector<std::string>& lines);

 private:
  void paint_ground();
  void paint_picture(const cv::Mat& picture);
  void paint_plot(std::size_t index);
  void paint_scale(Canvas& canvas, double t_s);
  void paint_equilibria(Canvas& canvas, double t_s);
  void paint_trail(Canvas& canvas, std::size_t index);
  void paint_marker(Canvas& canvas, const FilmMoment& moment);
  void paint_panel(Canvas& canvas, const FilmMoment& moment);
  void paint_balance(Canvas& canvas, const std::string& side);
  void paint_caption(Canvas& canvas);
  void label(Canvas& canvas, PaperPoint at, const std::string& text, const Colour& colour);
  /// Diameter of the ring round the spot.
  [[nodiscard]] double ring_px(const SpotPosition& spot) const;
  [[nodiscard]] std::string side_at(double t_s) const;
  /// A point beside the path in the frame at t, so many pixels of the film below it.
  [[nodiscard]] PaperPoint beside(double t_s, double x_mm, double below) const;

  const FilmContents& contents_;
  FilmLayout layout_;
  double gain_;
  Axes axes_;  ///< of the plot
  /// Whether the spot rests farther right in the picture while the sources stand at plus; not known
  /// before both sides have been analysed.
  std::optional<bool> rests_right_at_plus_;
  std::string caption_;
  cv::Mat ground_;  ///< what never changes, and the plot so far
  cv::Mat frame_;
  cv::Mat resized_;
  std::size_t plotted_ = 0;
};

}  // namespace nightswing::tracker
