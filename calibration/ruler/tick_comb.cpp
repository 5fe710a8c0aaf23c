#include "calibration/ruler/tick_comb.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

#include <Eigen/Dense>
#include <opencv2/imgproc.hpp>

#include "calibration/map/median.h"
#include "calibration/map/robust_fit.h"

namespace nightswing::calibration {
namespace {

constexpr double kTwoPi = 2.0 * std::numbers::pi;
constexpr int kHalfRows = 3;  // a profile is the mean of 2 x 3 + 1 rows
constexpr int kWindow_px = 256;
constexpr int kTransform = 1024;
constexpr double kLeastPeriod_px = 2.15;  // just above the two pixels of the sampling theorem
constexpr double kLongestPeriod_px = 40.0;
constexpr double kSlow_px = 16.0;       // standard deviation of what counts as background
constexpr double kKnotHalfWidth = 4.0;  // divisions
constexpr double kWeak = 0.4;           // of the median amplitude of the knots so far
constexpr double kSlip = 0.25;          // divisions off the curve
constexpr double kHalfWeight = 0.05;    // of a knot, likewise
constexpr std::array<double, 5> kRows_px{0.0, -7.0, 7.0, -14.0, 14.0};

/// A row of gray values along the band, freed of background and brought to unit scatter.
struct Profile {
  int first_px = 0;  // s of the first value
  std::vector<double> values;
  double t_px = 0.0;

  [[nodiscard]] double last_px() const {
    return first_px + static_cast<double>(values.size()) - 1.0;
  }
  /// Linear between whole pixels, 0 outside.
  [[nodiscard]] double at(double s_px) const {
    const double place = s_px - first_px;
    if (place < 0.0 || place >= static_cast<double>(values.size()) - 1.0) return 0.0;
    const auto i = static_cast<std::size_t>(place);
    const double share = place - static_cast<double>(i);
    return (1.0 - share) * values[i] + share * values[i + 1];
  }
};

/// s from where to where the band's middle lies within the picture.
std::pair<int, int> visible_part(const cv::Mat& values, const StrokeBand& band) {
  const auto inside = [&](int s_px) {
    const cv::Point2d p = pixel_at(band, s_px, 0.0);
    return p.x > 2.0 && p.y > 2.0 && p.x < values.cols - 3.0 && p.y < values.rows - 3.0;
  };
  int first = cvRound(band.from_px);
  int last = cvRound(band.to_px);
  while (inside(first - 1)) --first;
  while (inside(last + 1)) ++last;
  return {first, last};
}

Profile profile_of(const cv::Mat& values,
                   const StrokeBand& band,
                   std::pair<int, int> part,
                   double t_px) {
  const int length = part.second - part.first + 1;
  const int rows = 2 * kHalfRows + 1;
  cv::Mat map_x(rows, length, CV_32F);
  cv::Mat map_y(rows, length, CV_32F);
  for (int r = 0; r < rows; ++r) {
    for (int i = 0; i < length; ++i) {
      const cv::Point2d p = pixel_at(band, part.first + i, t_px + r - kHalfRows);
      map_x.at<float>(r, i) = static_cast<float>(p.x);
      map_y.at<float>(r, i) = static_cast<float>(p.y);
    }
  }
  cv::Mat strip;
  cv::remap(values, strip, map_x, map_y, cv::INTER_CUBIC, cv::BORDER_REPLICATE);
  cv::Mat row;
  cv::reduce(strip, row, 0, cv::REDUCE_AVG);
  cv::Mat slow;
  cv::GaussianBlur(row, slow, {0, 0}, kSlow_px, 1.0);
  row -= slow;
  cv::Mat power;
  cv::GaussianBlur(row.mul(row), power, {0, 0}, 2.0 * kSlow_px, 1.0);
  const float usual = upper_median_of(std::vector<float>(power.begin<float>(), power.end<float>()));
  const double floor = 0.2 * static_cast<double>(usual) + 1e-9;
  Profile profile{.first_px = part.first, .values = {}, .t_px = t_px};
  for (int i = 0; i < length; ++i) {
    const double scatter = std::sqrt(static_cast<double>(power.at<float>(i)) + floor);
    profile.values.push_back(
        std::clamp(static_cast<double>(row.at<float>(i)) / scatter, -3.0, 3.0));
  }
  return profile;
}

/// A sinusoid found in one window: phase frequency * r / (1 + perspective * r) from its middle.
struct Lock {
  double middle_px = 0.0;
  double half_px = 0.0;
  double frequency_per_px = 0.0;
  double perspective_per_px = 0.0;
  double strength = 0.0;
  std::size_t profile = 0;
};

/// The strongest line of the spectrum of a window seen in one perspective.
Lock strongest_in(const Profile& profile, double middle_px, double half_px, double bend) {
  cv::Mat samples = cv::Mat::zeros(1, kTransform, CV_32F);
  const int count = static_cast<int>(2.0 * half_px);
  double power = 0.0;
  for (int i = 0; i < count; ++i) {
    // Even steps of the straightened place q = r / (1 + bend r / half).
    const double q = i - half_px;
    const double r = q / (1.0 - bend * q / half_px);
    const double taper = 0.5 + 0.5 * std::cos(std::numbers::pi * q / half_px);
    const double value = profile.at(middle_px + r);
    power += value * value * taper;
    samples.at<float>(i) = static_cast<float>(value * taper);
  }
  cv::Mat spectrum;
  cv::dft(samples, spectrum, cv::DFT_COMPLEX_OUTPUT);
  Lock best{.middle_px = middle_px, .half_px = half_px, .perspective_per_px = bend / half_px};
  const int from = cvCeil(kTransform / kLongestPeriod_px);
  const int to = cvFloor(kTransform / kLeastPeriod_px);
  for (int k = from; k <= to; ++k) {
    const auto line = spectrum.at<cv::Vec2f>(k);
    const double height = static_cast<double>(line.dot(line));
    if (height <= best.strength) continue;
    best.strength = height;
    best.frequency_per_px = static_cast<double>(k) / kTransform;
  }
  // A pure sinusoid of unit variance gives 1.
  best.strength /= std::max(1e-9, power * static_cast<double>(count) / 4.0);
  return best;
}

std::vector<Lock> locks_in(const std::vector<Profile>& profiles, const StrokeBand& band) {
  std::vector<Lock> locks;
  for (std::size_t p = 0; p < profiles.size(); ++p) {
    const double half_px = std::min(kWindow_px / 2.0, (band.to_px - band.from_px) / 2.0);
    const int steps = std::max(1, cvCeil((band.to_px - band.from_px - 2.0 * half_px) / half_px));
    for (int i = 0; i <= steps; ++i) {
      const double middle_px = band.from_px + half_px +
                               i * std::max(0.0, band.to_px - band.from_px - 2.0 * half_px) / steps;
      Lock best;
      for (int k = -12; k <= 12; ++k) {
        const Lock lock = strongest_in(profiles[p], middle_px, half_px, 0.02 * k);
        if (lock.strength > best.strength) best = lock;
      }
      best.profile = p;
      if (best.strength > 0.0) locks.push_back(best);
    }
  }
  std::ranges::sort(locks, std::greater{}, &Lock::strength);
  return locks;
}

/// The count at one place as the phase of the profile gives it.
struct Knot {
  double s_px;
  double count;
  double amplitude;
  double off;  // divisions from the curve
};

Knot knot_at(const Profile& profile, const TickComb& comb, double s_px) {
  const double here = count_at(comb, s_px);
  const double reach_px = kKnotHalfWidth / counts_per_px(comb, s_px);
  std::complex<double> sum = 0.0;
  double weights = 0.0;
  for (int s = cvCeil(s_px - reach_px); s <= cvFloor(s_px + reach_px); ++s) {
    const double x = count_at(comb, s);
    const double off = (x - here) / kKnotHalfWidth;
    if (std::abs(off) >= 1.0) continue;
    const double weight = 0.5 + 0.5 * std::cos(std::numbers::pi * off);
    weights += weight;
    sum += weight * profile.at(s) * std::polar(1.0, -kTwoPi * x);
  }
  const double off = std::arg(sum) / kTwoPi;
  return {s_px, here + off, 2.0 * std::abs(sum) / std::max(1e-9, weights), off};
}

/// Fits the curve of TickComb to knots; linear in its coefficients once multiplied by 1 + c z.
void fit_curve(const std::vector<Knot>& knots, bool with_lens, TickComb& comb) {
  const auto rows = static_cast<Eigen::Index>(knots.size());
  const Eigen::Index columns = with_lens ? 4 : 3;
  // The count in the middle of the knots is taken away and added again: c multiplies it.
  const double middle = std::round(knots[knots.size() / 2].count);
  Eigen::MatrixXd matrix(rows, columns);
  Eigen::VectorXd values(rows);
  for (Eigen::Index i = 0; i < rows; ++i) {
    const Knot& knot = knots[static_cast<std::size_t>(i)];
    const double z = (knot.s_px - comb.centre_px) / comb.half_span_px;
    const double count = knot.count - middle;
    matrix(i, 0) = z;
    matrix(i, 1) = 1.0;
    matrix(i, 2) = -z * count;
    if (with_lens) matrix(i, 3) = z * z * z;
    values[i] = count;
  }
  const Eigen::VectorXd fit =
      robust_solution(matrix, values, {.half_weight = kHalfWeight, .rounds = 4});
  comb.c = fit[2];
  comb.a = fit[0] + middle * comb.c;
  comb.b = fit[1] + middle;
  comb.e = with_lens ? fit[3] : 0.0;
}

/// Whether the curve has neither pole nor turn between the two places.
bool rises_throughout(const TickComb& comb, double from_px, double to_px) {
  for (int i = 0; i <= 32; ++i) {
    const double s_px = from_px + (to_px - from_px) * i / 32.0;
    const double z = (s_px - comb.centre_px) / comb.half_span_px;
    const double rate = counts_per_px(comb, s_px);
    if (1.0 + comb.c * z < 0.1 || rate < 1.0 / 200.0 || rate > 0.6) return false;
  }
  return true;
}

TickComb comb_of(const Lock& lock, std::pair<double, double> range) {
  TickComb comb;
  comb.centre_px = (range.first + range.second) / 2.0;
  comb.half_span_px = (range.second - range.first) / 2.0;
  comb.strength = lock.strength;
  comb.from_px = lock.middle_px - 0.9 * lock.half_px;
  comb.to_px = lock.middle_px + 0.9 * lock.half_px;
  std::vector<Knot> knots;
  for (int i = -10; i <= 10; ++i) {
    const double r = 0.09 * i * lock.half_px;
    knots.push_back({lock.middle_px + r,
                     lock.frequency_per_px * r / (1.0 + lock.perspective_per_px * r),
                     1.0,
                     0.0});
  }
  fit_curve(knots, false, comb);
  return comb;
}

std::vector<Knot> knots_between(const Profile& profile,
                                const TickComb& comb,
                                double from_px,
                                double to_px) {
  std::vector<Knot> knots;
  for (double s_px = from_px; s_px <= to_px;
       s_px += kKnotHalfWidth / 2.0 / counts_per_px(comb, s_px)) {
    knots.push_back(knot_at(profile, comb, s_px));
  }
  return knots;
}

double median_amplitude(const std::vector<Knot>& knots) {
  std::vector<double> all;
  for (const Knot& knot : knots) all.push_back(knot.amplitude);
  return all.empty() ? 0.0 : upper_median_of(std::move(all));
}

/// Sets the phase of a fresh comb by its window.
void set_phase(const Profile& profile, TickComb& comb) {
  std::complex<double> sum = 0.0;
  for (const Knot& knot : knots_between(profile, comb, comb.from_px, comb.to_px)) {
    sum += std::polar(knot.amplitude, kTwoPi * knot.off);
  }
  const double shift = std::arg(sum) / kTwoPi;
  comb.b += shift;
  comb.a += shift * comb.c;
}

/// Carries the count outwards as far as it keeps. False if it cannot even hold its window.
bool grow(const Profile& profile, TickComb& comb) {
  const double first_px = profile.first_px;
  const double last_px = profile.last_px();
  double from_px = comb.from_px;
  double to_px = comb.to_px;
  double usual = median_amplitude(knots_between(profile, comb, from_px, to_px));
  std::vector<Knot> kept;
  for (int round = 0; round < 40; ++round) {
    kept.clear();
    for (const Knot& knot : knots_between(profile, comb, from_px, to_px)) {
      if (knot.amplitude > kWeak * usual && std::abs(knot.off) < kSlip) kept.push_back(knot);
    }
    if (kept.size() < 8) return false;
    const double counted = kept.back().count - kept.front().count;
    fit_curve(kept, counted > 60.0, comb);
    if (!rises_throughout(comb, from_px, to_px)) return false;
    usual = median_amplitude(kept);
    if (from_px <= first_px && to_px >= last_px && round > 3) break;
    if (round < 2) continue;
    const double step_px = std::max(20.0, 0.12 * (to_px - from_px));
    const double next_from = std::max(first_px, from_px - step_px);
    const double next_to = std::min(last_px, to_px + step_px);
    // What is asked for beyond the strokes may have no sense: stop there.
    const bool both = rises_throughout(comb, next_from, next_to);
    if (!both && !rises_throughout(comb, next_from, to_px) &&
        !rises_throughout(comb, from_px, next_to)) {
      break;
    }
    if (both || rises_throughout(comb, next_from, to_px)) from_px = next_from;
    if (both || !rises_throughout(comb, next_from, to_px)) to_px = next_to;
  }
  // Three knots in a row are no chance.
  const auto scattered = [&kept](std::size_t from, std::size_t to) {
    return kept[to].count - kept[from].count > 1.3 * kKnotHalfWidth;
  };
  std::size_t first = 0;
  while (first + 3 < kept.size() && scattered(first, first + 2)) ++first;
  std::size_t last = kept.size() - 1;
  while (last > first + 2 && scattered(last - 2, last)) --last;
  comb.from_px = kept[first].s_px;
  comb.to_px = kept[last].s_px;
  return comb.to_px > comb.from_px;
}

}  // namespace

double count_at(const TickComb& comb, double s_px) {
  const double z = (s_px - comb.centre_px) / comb.half_span_px;
  return (comb.a * z + comb.b + comb.e * z * z * z) / (1.0 + comb.c * z);
}

double counts_per_px(const TickComb& comb, double s_px) {
  const double z = (s_px - comb.centre_px) / comb.half_span_px;
  const double depth = 1.0 + comb.c * z;
  return (comb.a + 3.0 * comb.e * z * z - comb.c * count_at(comb, s_px)) /
         (depth * comb.half_span_px);
}

std::vector<TickComb> find_combs(const cv::Mat& values, const StrokeBand& band) {
  const std::pair<int, int> part = visible_part(values, band);
  if (part.second - part.first < 60) return {};
  std::vector<Profile> profiles;
  for (const double t_px : kRows_px) profiles.push_back(profile_of(values, band, part, t_px));
  std::vector<TickComb> combs;
  std::vector<double> tried;
  int attempts = 0;
  for (const Lock& lock : locks_in(profiles, band)) {
    if (combs.size() == 3 || attempts == 8) break;
    const bool known = std::ranges::any_of(combs, [&](const TickComb& comb) {
      const double rate = counts_per_px(comb, lock.middle_px);
      return std::abs(std::log(rate / lock.frequency_per_px)) < 0.1 &&
             lock.middle_px > comb.from_px && lock.middle_px < comb.to_px;
    });
    if (known) continue;
    ++attempts;
    TickComb comb =
        comb_of(lock, {static_cast<double>(part.first), static_cast<double>(part.second)});
    comb.t_px = profiles[lock.profile].t_px;
    if (!rises_throughout(comb, comb.from_px, comb.to_px)) continue;
    set_phase(profiles[lock.profile], comb);
    if (grow(profiles[lock.profile], comb)) combs.push_back(comb);
  }
  return combs;
}

}  // namespace nightswing::calibration
