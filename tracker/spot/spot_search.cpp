#include "tracker/spot/spot_search.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <opencv2/imgproc.hpp>

#include "calibration/map/median.h"

namespace nightswing::tracker {
namespace {

constexpr int kReduction = 4;           // px per cell
constexpr int kMarkSize_cells = 9;      // dark details up to this size are filled
constexpr int kLargestSpot_cells = 31;  // lights up to this size are candidates
constexpr int kApart_cells = 5;         // candidates are at least this far apart
constexpr double kDeviations = 5.0;     // a candidate stands out by that much
constexpr double kLeastExcess = 1.0;    // counts of a cell
constexpr std::size_t kMostCandidates = 6;

cv::Mat square(int size) {
  return cv::getStructuringElement(cv::MORPH_RECT, cv::Size(size, size));
}

/// What the wall would look like without small lights, judged from this frame alone.
cv::Mat surroundings_of(const cv::Mat& cells) {
  cv::Mat filled;
  cv::Mat flattened;
  cv::morphologyEx(cells, filled, cv::MORPH_CLOSE, square(kMarkSize_cells));
  cv::morphologyEx(filled, flattened, cv::MORPH_OPEN, square(kLargestSpot_cells));
  return flattened;
}

/// 255 in the cells whose four corners have been learned.
cv::Mat known_cells(const WallLight& wall, cv::Size cells) {
  cv::Mat known(cells, CV_8UC1);
  for (int row = 0; row < cells.height; ++row) {
    const auto* upper = wall.looks().ptr<std::uint8_t>(row * kReduction);
    const auto* lower = wall.looks().ptr<std::uint8_t>(row * kReduction + kReduction - 1);
    auto* out = known.ptr<std::uint8_t>(row);
    for (int column = 0; column < cells.width; ++column) {
      const int left = column * kReduction;
      const int right = left + kReduction - 1;
      const bool all = upper[left] > 0 && upper[right] > 0 && lower[left] > 0 && lower[right] > 0;
      out[column] = all ? 255 : 0;
    }
  }
  return known;
}

/// Light of each cell above the wall.
cv::Mat excess_light(const cv::Mat& cells, const cv::Rect& whole_cells, const WallLight& wall) {
  cv::Mat background = surroundings_of(cells);
  if (!wall.mean().empty()) {
    cv::Mat learned;
    cv::resize(wall.mean()(whole_cells), learned, cells.size(), 0, 0, cv::INTER_AREA);
    learned.copyTo(background, known_cells(wall, cells.size()));
  }
  return cells - background;
}

/// Standard deviation of the excess, not moved by lights and marks: from the quartiles.
double scatter_by_quartiles(const cv::Mat& excess) {
  std::vector<float> values;
  values.reserve(excess.total());
  for (int row = 0; row < excess.rows; ++row) {
    const auto* line = excess.ptr<float>(row);
    values.insert(values.end(), line, line + excess.cols);
  }
  const auto lower = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 4);
  const auto upper = values.begin() + static_cast<std::ptrdiff_t>(3 * values.size() / 4);
  std::nth_element(values.begin(), lower, values.end());
  const double first_quartile = static_cast<double>(*lower);
  std::nth_element(values.begin(), upper, values.end());
  return (static_cast<double>(*upper) - first_quartile) / 1.349;  // normal distribution
}

/// 1 for light without colour up to 2 for light of a single plane: a laser's.
double colour_factor(const Picture& frame, double x_px, double y_px) {
  if (!frame.has_colour()) return 1.0;
  const cv::Rect all = frame.area();
  const cv::Point centre(static_cast<int>(x_px), static_cast<int>(y_px));
  const cv::Rect inner = cv::Rect(centre.x - 6, centre.y - 6, 13, 13) & all;
  const cv::Rect outer = cv::Rect(centre.x - 20, centre.y - 20, 41, 41) & all;
  const cv::Scalar inside = cv::mean(frame.bgr(inner));
  const cv::Scalar around = cv::mean(frame.bgr(outer));
  const auto [least, most] =
      std::minmax({inside[0] - around[0], inside[1] - around[1], inside[2] - around[2]});
  return most > 1.0 ? 1.0 + std::clamp((most - std::max(least, 0.0)) / most, 0.0, 1.0) : 1.0;
}

}  // namespace

FrameSearch search_frame(const Picture& frame, const WallLight& wall, const cv::Rect& left_out) {
  FrameSearch search;
  const cv::Size size = frame.size() / kReduction;
  if (size.width < 2 || size.height < 2) return search;
  const cv::Rect whole_cells(0, 0, size.width * kReduction, size.height * kReduction);
  cv::Mat small;
  cv::resize(frame.gray(whole_cells), small, size, 0, 0, cv::INTER_AREA);
  cv::Mat cells;
  small.convertTo(cells, CV_32F);
  search.mean_luma = cv::mean(cells)[0];

  cv::Mat excess = excess_light(cells, whole_cells, wall);
  const cv::Rect left_out_cells(left_out.x / kReduction,
                                left_out.y / kReduction,
                                left_out.width / kReduction + 1,
                                left_out.height / kReduction + 1);
  if (!left_out.empty()) excess(left_out_cells & cv::Rect({0, 0}, size)).setTo(0.0F);
  // The best place is always a candidate: in a small picture the spot itself makes the scatter.
  const double least = std::max(kLeastExcess, kDeviations * scatter_by_quartiles(excess));
  while (search.candidates.size() < kMostCandidates) {
    double value = 0;
    cv::Point cell;
    cv::minMaxLoc(excess, nullptr, &value, nullptr, &cell);
    if (value < least && !search.candidates.empty()) break;
    const double x_px = kReduction * (cell.x + 0.5) - 0.5;
    const double y_px = kReduction * (cell.y + 0.5) - 0.5;
    search.candidates.push_back({x_px, y_px, value * colour_factor(frame, x_px, y_px)});
    cv::circle(excess, cell, kApart_cells, cv::Scalar(0.0), cv::FILLED);
  }
  std::ranges::stable_sort(search.candidates, std::ranges::greater{}, &SpotCandidate::score);
  return search;
}

double rough_width_px(const SpotPatch& patch, double x_px, double y_px) {
  const cv::Mat counts(static_cast<int>(patch.rows()),
                       static_cast<int>(patch.columns()),
                       CV_64FC1,
                       const_cast<double*>(patch.counts.data()));  // cv::Mat has no const view
  cv::Mat smooth;
  counts.convertTo(smooth, CV_32F);
  cv::blur(smooth, smooth, cv::Size(3, 3));
  const auto background = static_cast<double>(
      calibration::upper_median_of(std::vector<float>(smooth.begin<float>(), smooth.end<float>())));

  // The candidate is known to one cell of the reduced frame.
  const cv::Point guess(static_cast<int>(std::lround(x_px)) - patch.left_px,
                        static_cast<int>(std::lround(y_px)) - patch.top_px);
  const cv::Rect near =
      cv::Rect(guess.x - kReduction, guess.y - kReduction, 2 * kReduction + 1, 2 * kReduction + 1) &
      cv::Rect({0, 0}, smooth.size());
  if (near.empty()) return 0.0;
  double peak = 0;
  cv::Point at;
  cv::minMaxLoc(smooth(near), nullptr, &peak, nullptr, &at);
  if (peak <= background) return 0.0;
  cv::Mat above = smooth >= 0.5 * (peak + background);
  const int area = cv::floodFill(above, at + near.tl(), cv::Scalar(128));
  // The half-peak contour of a Gaussian has the radius sigma sqrt(2 ln 2).
  return std::sqrt(area / (2.0 * std::numbers::pi * std::numbers::ln2));
}

}  // namespace nightswing::tracker
