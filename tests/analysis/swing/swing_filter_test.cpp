#include "analysis/swing/swing_filter.h"

#include <cmath>
#include <numbers>
#include <vector>

#include <doctest/doctest.h>
#include <Eigen/Dense>

#include "analysis/swing/swing_track.h"
#include "tests/support/driven_swing.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

const std::vector<Segment> kTwo{{Side::kPlus, 0.0, 1500.0}, {Side::kMinus, 1510.0, 3000.0}};

/// Uneven readings with gaps, torque and slow noise.
std::vector<PlacedSample> readings() {
  auto track = make_driven({.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 1505.0}},
                            .end_s = 3000.0,
                            .every_s = 11.0,
                            .torque_mm = 0.4,
                            .slow_mm = 0.2,
                            .gap_share = 0.1,
                            .seed = 3});
  for (std::size_t i = 0; i < track.samples.size(); ++i) {
    track.samples[i].t_s += 0.3 * static_cast<double>(i % 4);
    track.samples[i].u_mm *= i % 3 == 0 ? 1.5 : 1.0;
  }
  return placed_samples(track.samples, kTwo);
}

constexpr FilterLayout kLayout{.slow_noise = true, .away = false};

SwingParameters some_parameters() {
  return {.omega_per_s = 2.0 * std::numbers::pi / 590.0,
          .damping_per_s = 4e-4,
          .growth = 1.7,
          .slow_ratio = 0.5,
          .slow_memory = 150.0,
          .away_omega_per_s = 0.0};
}

/// The same model without any filter: the covariance matrix of all readings, the torque noise's
/// part by brute-force integration over the impulse response, and generalised least squares by
/// dense algebra.
struct Dense {
  Eigen::VectorXd beta;
  Eigen::MatrixXd covariance;
  double restricted;
  double variance;
  Eigen::VectorXd innovations;  // about the design times beta
};

Dense dense_fit(const FilterTrack& track, const SwingParameters& p) {
  const auto n = std::ssize(track.points);
  const double w = p.omega_per_s;
  const double g = p.damping_per_s;
  // Impulses of unit spectral density make <u^2> = 1/(4 g w0^2); D = 2 g v T.
  const double period_s = 2.0 * std::numbers::pi / w;
  const double density = p.growth / (2.0 * g * period_s) * 4.0 * g * (w * w + g * g);
  constexpr double kStep_s = 0.25;
  const auto cells = static_cast<Eigen::Index>(3100.0 / kStep_s);
  Eigen::MatrixXd response = Eigen::MatrixXd::Zero(n, cells);
  Eigen::MatrixXd design =
      Eigen::MatrixXd::Zero(n, track.design.cols() + 2 * Eigen::Index{track.segments});
  design.leftCols(track.design.cols()) = track.design;
  double start_s = 0.0;
  Eigen::Index segment = -1;
  Eigen::VectorXd data(n);
  Eigen::MatrixXd v = Eigen::MatrixXd::Zero(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const FilterPoint& point = track.points[static_cast<std::size_t>(i)];
    data(i) = point.x_mm;
    v(i, i) += point.variance_ratio;
    if (point.starts_segment) {
      start_s = point.t_s;
      ++segment;
    }
    const double since_s = point.t_s - start_s;
    const auto first = static_cast<Eigen::Index>(start_s / kStep_s);
    const double e = std::exp(-g * since_s);
    const double sine = std::sin(w * since_s);
    design(i, track.design.cols() + 2 * segment) = e * (std::cos(w * since_s) + g / w * sine);
    design(i, track.design.cols() + 2 * segment + 1) = e * sine / w * track.omega_per_s;
    // All readings share the cells; an impulse acts in the middle of its cell.
    for (Eigen::Index k = first; k < cells; ++k) {
      const double at_s = (static_cast<double>(k) + 0.5) * kStep_s;
      const double ago_s = point.t_s - at_s;
      if (ago_s <= 0.0) break;
      if (at_s < start_s) continue;
      response(i, k) =
          std::exp(-g * ago_s) * std::sin(w * ago_s) / w * std::sqrt(density * kStep_s);
    }
  }
  v += response * response.transpose();
  double travelled = 0.0;
  std::vector<double> at;
  for (const FilterPoint& point : track.points) at.push_back(travelled += point.slow_step);
  for (Eigen::Index i = 0; i < n; ++i) {
    for (Eigen::Index j = 0; j < n; ++j) {
      v(i, j) +=
          p.slow_ratio *
          std::exp(-std::abs(at[static_cast<std::size_t>(i)] - at[static_cast<std::size_t>(j)]) /
                   p.slow_memory);
    }
  }
  const Eigen::LLT<Eigen::MatrixXd> factor(v);
  const Eigen::MatrixXd white_design = factor.matrixL().solve(design);
  const Eigen::VectorXd white_data = factor.matrixL().solve(data);
  const Eigen::MatrixXd normal = white_design.transpose() * white_design;
  Dense dense;
  dense.beta = normal.ldlt().solve(white_design.transpose() * white_data);
  const double freedom = static_cast<double>(n - design.cols());
  dense.variance = (white_data - white_design * dense.beta).squaredNorm() / freedom;
  dense.covariance = dense.variance * normal.inverse();
  const Eigen::MatrixXd triangle = factor.matrixL();
  // The triangle takes off each reading what those before it say, and divides by what is left.
  dense.innovations = triangle.diagonal().cwiseProduct(white_data - white_design * dense.beta);
  dense.restricted =
      -0.5 * (freedom * std::log(dense.variance) + 2.0 * triangle.diagonal().array().log().sum() +
              std::log(normal.determinant()));
  return dense;
}

}  // namespace

TEST_SUITE("swing_filter") {
  TEST_CASE("the filter agrees with dense algebra on the whole covariance matrix") {
    const auto placed = readings();
    const FilterTrack track = filter_track(
        placed, kTwo, {.order = 1, .relaxation_s = {}}, 2.0 * std::numbers::pi / 600.0);
    REQUIRE(track.segments == 2);
    SwingParameters p = some_parameters();
    double offset = 0.0;
    for (int variant = 0; variant < 3; ++variant) {
      CAPTURE(variant);
      p.growth = variant == 0 ? 1.7 : 0.02;
      p.slow_ratio = variant == 2 ? 2.0 : 0.5;
      p.omega_per_s *= variant == 1 ? 1.003 : 1.0;
      const auto x = parameter_vector(track, kLayout, p);
      const FilterFit fit = filter_fit(track, kLayout, x);
      REQUIRE(fit.usable);
      const Dense dense = dense_fit(track, p);
      // The twin's integral has cells of 0.25 s, misaligned with the readings by up to one: errors
      // of the torque noise's part of about 1e-3 of a step's noise.
      for (Eigen::Index k = 0; k < 3; ++k) {
        CHECK(fit.beta(k) == within_abs(dense.beta(k), 2e-4));
        CHECK(std::sqrt(fit.covariance(k, k)) ==
              within_rel(std::sqrt(dense.covariance(k, k)), 1e-3));
      }
      CHECK(fit.white_variance_mm2 == within_rel(dense.variance, 1e-3));
      const auto innovations = innovations_mm(track, kLayout, x, dense.beta);
      REQUIRE(std::ssize(innovations) == dense.innovations.size());
      for (Eigen::Index i = 0; i < dense.innovations.size(); ++i) {
        CHECK(innovations[static_cast<std::size_t>(i)] == within_abs(dense.innovations(i), 2e-3));
      }
      // The constant of the two likelihoods is the same here: no diffuse start is involved.
      if (variant == 0) offset = fit.restricted_log_likelihood - dense.restricted;
      CHECK(std::abs(offset) < 0.02);
      CHECK(fit.restricted_log_likelihood - dense.restricted == within_abs(offset, 0.02));
    }
  }

  TEST_CASE("the derivatives agree with differences, with slow noise and without, near or away") {
    for (const FilterLayout layout : {FilterLayout{},
                                      FilterLayout{.slow_noise = true},
                                      FilterLayout{.away = true},
                                      FilterLayout{.slow_noise = true, .away = true}}) {
      CAPTURE(layout.slow_noise);
      CAPTURE(layout.away);
      std::vector<Segment> segments = kTwo;
      if (layout.away) segments.back().side = Side::kAway;
      const FilterTrack track = filter_track(readings(),
                                             segments,
                                             {.order = 2, .relaxation_s = 700.0},
                                             2.0 * std::numbers::pi / 600.0);
      SwingParameters parameters = some_parameters();
      parameters.away_omega_per_s = 2.0 * std::numbers::pi / 615.0;
      const auto x = parameter_vector(track, layout, parameters);
      const FilterGradient gradient = filter_gradient(track, layout, x);
      REQUIRE(gradient.usable);
      REQUIRE(gradient.gradient.size() == std::ssize(x));
      for (std::size_t k = 0; k < x.size(); ++k) {
        CAPTURE(k);
        constexpr double kStep = 1e-3;
        auto above = x;
        auto below = x;
        above[k] += kStep;
        below[k] -= kStep;
        const FilterFit up = filter_fit(track, layout, above);
        const FilterFit down = filter_fit(track, layout, below);
        const auto column = static_cast<Eigen::Index>(k);
        // Central differences over 1e-3: third derivatives of order one leave 1e-6, rounding 1e-9.
        const double slope =
            (up.restricted_log_likelihood - down.restricted_log_likelihood) / (2.0 * kStep);
        CHECK(gradient.gradient(column) ==
              within_abs(slope, 1e-4 * std::max(1.0, std::abs(slope))));
        const Eigen::VectorXd turn = (up.beta - down.beta) / (2.0 * kStep);
        CHECK((gradient.beta_by_x.col(column) - turn).cwiseAbs().maxCoeff() <
              1e-4 * std::max(1.0, turn.cwiseAbs().maxCoeff()));
      }
      const FilterGradient swing = swing_gradient(track, layout, x);
      REQUIRE(swing.usable);
      const std::vector<std::size_t> places = layout.swing_places();
      REQUIRE(swing.gradient.size() == std::ssize(places));
      for (Eigen::Index k = 0; k < swing.gradient.size(); ++k) {
        // The same sums in another order at most: rounding.
        const auto place = static_cast<Eigen::Index>(places[static_cast<std::size_t>(k)]);
        CHECK(swing.gradient(k) == within_rel(gradient.gradient(place), 1e-9));
        const Eigen::VectorXd same = gradient.beta_by_x.col(place);
        CHECK((swing.beta_by_x.col(k) - same).norm() < 1e-9 * same.norm());
      }
    }
  }

  TEST_CASE("the shift does not depend on how the rows are cut into steps") {
    // A reading of no weight in between changes nothing: two steps equal one of both lengths.
    auto placed = readings();
    const DriftModel drift{.order = 1, .relaxation_s = {}};
    const double omega = 2.0 * std::numbers::pi / 600.0;
    const FilterTrack track = filter_track(placed, kTwo, drift, omega);
    FilterTrack finer = track;
    finer.points.clear();
    finer.design.resize(2 * track.design.rows(), track.design.cols());
    for (std::size_t i = 0; i < track.points.size(); ++i) {
      const FilterPoint& point = track.points[i];
      if (i > 0 && !point.starts_segment) {
        FilterPoint between = point;
        between.t_s = 0.3 * point.t_s + 0.7 * track.points[i - 1].t_s;
        between.slow_step = 0.3 * point.slow_step;
        between.variance_ratio = 1e12;
        finer.design.row(std::ssize(finer.points)) = track.design.row(static_cast<Eigen::Index>(i));
        finer.points.push_back(between);
      }
      finer.design.row(std::ssize(finer.points)) = track.design.row(static_cast<Eigen::Index>(i));
      finer.points.push_back(point);
      if (i > 0 && !point.starts_segment) finer.points.back().slow_step *= 0.7;
    }
    const auto x = parameter_vector(track, kLayout, some_parameters());
    const FilterFit one = filter_fit(track, kLayout, x);
    const FilterFit two = filter_fit(finer, kLayout, x);
    REQUIRE(one.usable);
    REQUIRE(two.usable);
    for (Eigen::Index k = 0; k < 3; ++k) {
      CHECK(two.beta(k) == within_abs(one.beta(k), 1e-8));  // weights of 1e-12, rounding
    }
  }

  TEST_CASE("a kick and a false reading stand out where they happened") {
    auto placed = readings();
    const std::size_t wrong = placed.size() / 4;
    placed[wrong].sample.x_mm += 6.0;
    const std::size_t kicked = placed.size() * 3 / 4;
    const double omega = 2.0 * std::numbers::pi / 600.0;
    for (std::size_t i = kicked; i < placed.size(); ++i) {
      const double since_s = placed[i].sample.t_s - placed[kicked - 1].sample.t_s;
      placed[i].sample.x_mm += 8.0 * std::exp(-5e-4 * since_s) * std::sin(omega * since_s);
    }
    const FilterTrack track = filter_track(placed, kTwo, {.order = 1, .relaxation_s = {}}, omega);
    auto p = some_parameters();
    p.growth = 0.1;
    const auto shocks = find_shocks(track, kLayout, parameter_vector(track, kLayout, p));
    REQUIRE(shocks.size() == placed.size());
    std::size_t largest_outlier = 0;
    std::size_t largest_kick = 0;
    for (std::size_t i = 0; i < shocks.size(); ++i) {
      if (std::abs(shocks[i].outlier_z) > std::abs(shocks[largest_outlier].outlier_z)) {
        largest_outlier = i;
      }
      if (std::abs(shocks[i].kick_z) > std::abs(shocks[largest_kick].kick_z)) largest_kick = i;
    }
    CHECK(largest_outlier == wrong);
    CHECK(std::abs(static_cast<double>(largest_kick) - static_cast<double>(kicked)) <= 2.0);
    // 8 mm of swing are a speed of 8 w; torque noise of 0.4 mm blurs it by a tenth.
    CHECK(shocks[largest_kick].kick_mm_per_s == within_rel(8.0 * omega, 0.2));
  }

  TEST_CASE("parameters that make no sense are refused, not computed") {
    const auto placed = readings();
    const FilterTrack track = filter_track(placed, kTwo, {.order = 1, .relaxation_s = {}}, 0.01);
    auto x = parameter_vector(track, kLayout, some_parameters());
    x[0] *= 10.0;
    CHECK_FALSE(filter_fit(track, kLayout, x).usable);
    CHECK_FALSE(filter_gradient(track, kLayout, x).usable);
    CHECK(find_shocks(track, kLayout, x).empty());
    const Eigen::VectorXd beta = Eigen::VectorXd::Zero(7);  // two sides, drift, two starts
    CHECK(innovations_mm(track, kLayout, x, beta).empty());
    const auto good = parameter_vector(track, kLayout, some_parameters());
    CHECK_THROWS_AS(static_cast<void>(innovations_mm(track, kLayout, good, beta.head(6))),
                    std::invalid_argument);
    const std::vector<double> too_few{1.0, 2.0};
    CHECK_THROWS_AS(static_cast<void>(filter_fit(track, kLayout, too_few)), std::invalid_argument);
  }
}
