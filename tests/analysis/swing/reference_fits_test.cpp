// Certified nonlinear fits: NIST/ITL Statistical Reference Datasets (StRD), the files in
// tests/data. The certified values stand in the head of each file; they are read from there.
#include <cmath>
#include <fstream>
#include <functional>
#include <numbers>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include <ceres/ceres.h>
#include <doctest/doctest.h>

#include "analysis/swing/fit_options.h"
#include "tests/support/near.h"

namespace {

using nightswing::test::within_rel;

struct Reference {
  std::vector<double> start;  // "Start 2"
  std::vector<double> certified;
  std::vector<double> deviation;  // certified standard deviations
  std::vector<double> x;
  std::vector<double> y;
};

Reference read_reference(const std::string& name) {
  std::ifstream file(std::string(NIGHTSWING_SOURCE_DIR) + "/tests/data/" + name);
  REQUIRE(file.good());
  Reference reference;
  std::string line;
  bool data = false;
  while (std::getline(file, line)) {
    std::istringstream words(line);
    std::string first;
    words >> first;
    if (first.size() == 2 && first[0] == 'b' && line.find('=') != std::string::npos) {
      std::string equals;
      double start1 = 0.0;
      double start2 = 0.0;
      double value = 0.0;
      double deviation = 0.0;
      if (words >> equals >> start1 >> start2 >> value >> deviation) {
        reference.start.push_back(start2);
        reference.certified.push_back(value);
        reference.deviation.push_back(deviation);
      }
    } else if (data && !first.empty()) {
      double x = 0.0;
      words >> x;
      reference.y.push_back(std::stod(first));
      reference.x.push_back(x);
    }
    if (first == "Data:" && line.find(" y ") != std::string::npos) data = true;
  }
  REQUIRE(reference.start.size() == reference.certified.size());
  return reference;
}

template <typename Model, int kParameters>
struct Residual {
  double x;
  double y;
  template <typename T>
  bool operator()(const T* b, T* residual) const {
    residual[0] = Model::value(b, T(x)) - y;
    return true;
  }
};

/// Fits with our set-up of Ceres and compares: 6 digits in the parameters, 4 in their deviations.
template <typename Model, int kParameters>
void check_reference(const std::string& name, std::size_t points) {
  const Reference reference = read_reference(name);
  REQUIRE(reference.x.size() == points);
  REQUIRE(reference.start.size() == kParameters);
  std::vector<double> b = reference.start;
  ceres::Problem problem;
  for (std::size_t i = 0; i < points; ++i) {
    using Functor = Residual<Model, kParameters>;
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<Functor, 1, kParameters>(
                                 new Functor{reference.x[i], reference.y[i]}),
                             nullptr,
                             b.data());
  }
  ceres::Solver::Summary summary;
  ceres::Solve(nightswing::analysis::fit_options(), &problem, &summary);
  REQUIRE(summary.IsSolutionUsable());

  ceres::Covariance covariance{ceres::Covariance::Options()};
  const std::vector<std::pair<const double*, const double*>> block{{b.data(), b.data()}};
  REQUIRE(covariance.Compute(block, &problem));
  std::vector<double> c(kParameters * kParameters);
  covariance.GetCovarianceBlock(b.data(), b.data(), c.data());
  const double variance = 2.0 * summary.final_cost / (static_cast<double>(points) - kParameters);
  for (std::size_t k = 0; k < kParameters; ++k) {
    CAPTURE(k);
    CHECK(b[k] == within_rel(reference.certified[k], 1e-6));
    CHECK(std::sqrt(variance * c[k * kParameters + k]) == within_rel(reference.deviation[k], 1e-4));
  }
}

struct Enso {
  template <typename T>
  static T value(const T* b, const T& x) {
    const double turn = 2.0 * std::numbers::pi;
    const auto wave = [&](const T& c, const T& s, const T& period) {
      return c * cos(turn * x / period) + s * sin(turn * x / period);
    };
    return b[0] + wave(b[1], b[2], T(12.0)) + wave(b[4], b[5], b[3]) + wave(b[7], b[8], b[6]);
  }
};

struct Gauss1 {
  template <typename T>
  static T value(const T* b, const T& x) {
    const auto peak = [&](const T& height, const T& centre, const T& width) {
      return height * exp(-(x - centre) * (x - centre) / (width * width));
    };
    return b[0] * exp(-b[1] * x) + peak(b[2], b[3], b[4]) + peak(b[5], b[6], b[7]);
  }
};

struct Misra1a {
  template <typename T>
  static T value(const T* b, const T& x) {
    return b[0] * (1.0 - exp(-b[1] * x));
  }
};

struct Thurber {
  template <typename T>
  static T value(const T* b, const T& x) {
    return (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])));
  }
};

}  // namespace

TEST_SUITE("fit_options") {
  TEST_CASE("a level with three waves of unknown period is fitted to the certified digits") {
    check_reference<Enso, 9>("ENSO.dat", 168);
  }
  TEST_CASE("a decay with two peaks is fitted to the certified digits") {
    check_reference<Gauss1, 8>("Gauss1.dat", 250);
  }
  TEST_CASE("an exponential saturation is fitted to the certified digits") {
    check_reference<Misra1a, 2>("Misra1a.dat", 14);
  }
  TEST_CASE("a rational function, a hard problem, is fitted to the certified digits") {
    check_reference<Thurber, 7>("Thurber.dat", 37);
  }
}
