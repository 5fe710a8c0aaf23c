#include "analysis/quantities/uncertainty_budget.h"

#include <cmath>
#include <numbers>
#include <stdexcept>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::analysis;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

namespace {

double sum_of(const VectorXd& values) {
  return values.sum();
}

}  // namespace

TEST_SUITE("uncertainty_budget") {
  TEST_CASE("the end gauge of JCGM 100:2008, H.1") {
    // l = l_s + d - l_s (da theta + a_s dt); in nm and K. Table H.1: combined 32 nm (31.66 before
    // rounding), effective degrees of freedom 16 (16.75 before they are cut down).
    const double root3 = std::sqrt(3.0);
    const std::vector<BudgetInput> inputs{
        {"l_s", 50000623.0, 25.0, "nm", 18},
        {"d", 215.0, std::sqrt(5.8 * 5.8 + 3.9 * 3.9 + 6.7 * 6.7), "nm", 25.6},
        {"da", 0.0, 1e-6 / root3, "1/K", 50},
        {"theta", -0.1, 0.41, "K"},
        {"a_s", 11.5e-6, 2e-6 / root3, "1/K"},
        {"dt", 0.0, 0.05 / root3, "K", 2}};
    const auto length_nm = [](const VectorXd& v) {
      return v[0] + v[1] - v[0] * (v[2] * v[3] + v[4] * v[5]);
    };
    const UncertaintyBudget budget = propagate(inputs, length_nm);
    CHECK(budget.value == within_abs(50000838.0, 1e-6));
    CHECK(budget.u == within_abs(31.66, 0.005));  // as many digits as the reference
    CHECK(budget.effective_degrees_of_freedom == within_abs(16.75, 0.005));
    CHECK(std::abs(budget.rows[2].contribution) == within_abs(2.9, 0.05));   // table H.1
    CHECK(std::abs(budget.rows[5].contribution) == within_abs(16.6, 0.05));  // table H.1
    // First order: the temperature and the expansion coefficient do not count here (H.1.7).
    CHECK(budget.rows[3].share == within_abs(0.0, 1e-12));
    REQUIRE(budget.dominating.has_value());
    CHECK(budget.rows[*budget.dominating].input.name == "l_s");
  }

  TEST_CASE("resistance, reactance and impedance of JCGM 100:2008, H.2, with correlation") {
    // Tables H.2 to H.4 (from memory; reproduced from their own inputs): u(R) = 0.071 ohm,
    // u(X) = 0.295 ohm, u(Z) = 0.236 ohm.
    const std::vector<BudgetInput> inputs{{"V", 4.9990, 0.0032, "V"},
                                          {"I", 19.6610e-3, 0.0095e-3, "A"},
                                          {"phi", 1.04446, 0.00075, "rad"}};
    MatrixXd r(3, 3);
    r << 1, -0.36, 0.86, -0.36, 1, -0.65, 0.86, -0.65, 1;
    const auto resistance = [](const VectorXd& v) { return v[0] / v[1] * std::cos(v[2]); };
    const auto reactance = [](const VectorXd& v) { return v[0] / v[1] * std::sin(v[2]); };
    const auto impedance = [](const VectorXd& v) { return v[0] / v[1]; };
    CHECK(propagate(inputs, resistance, r).value == within_abs(127.732, 5e-4));
    // Inputs and results are printed with two digits: 2 %.
    CHECK(propagate(inputs, resistance, r).u == within_rel(0.071, 0.02));
    CHECK(propagate(inputs, reactance, r).u == within_rel(0.295, 0.02));
    CHECK(propagate(inputs, impedance, r).u == within_rel(0.236, 0.02));
  }

  TEST_CASE("fully correlated resistors in series add linearly, JCGM 100:2008, 5.2.2") {
    // Ten resistors of 1000 ohm, each u = 100 milliohm, compared with one standard: 1 ohm together.
    const std::vector<BudgetInput> inputs(10, {"R", 1000.0, 0.1, "ohm"});
    CHECK(propagate(inputs, sum_of, MatrixXd::Ones(10, 10)).u == within_rel(1.0, 1e-9));
    // Independent ones would give 0.32 ohm (same place).
    CHECK(propagate(inputs, sum_of).u == within_abs(0.32, 0.005));
  }

  TEST_CASE("the additive model of JCGM 101:2008, 9.2") {
    // Four inputs of unit standard deviation: u = 2.0, 95 % interval +-3.92 (table 2).
    const std::vector<BudgetInput> inputs(4, {"X", 0.0, 1.0, ""});
    const UncertaintyBudget budget = propagate(inputs, sum_of);
    CHECK(budget.u == within_rel(2.0, 1e-12));
    CHECK(1.96 * budget.u == within_abs(3.92, 0.005));
    CHECK(std::isinf(budget.effective_degrees_of_freedom));
  }

  TEST_CASE("the mass calibration of JCGM 101:2008, 9.3, to first order") {
    // 9.3.2.1 and table 5: dm = 1.2340 mg, u = 0.0539 mg to first order.
    const double root3 = std::sqrt(3.0);
    const std::vector<BudgetInput> inputs{{"m_R", 100000.0, 0.05, "mg"},
                                          {"dm_R", 1.234, 0.02, "mg"},
                                          {"a", 1.2, 0.1 / root3, "kg/m3"},
                                          {"rho_W", 8000.0, 1000 / root3, "kg/m3"},
                                          {"rho_R", 8000.0, 50 / root3, "kg/m3"}};
    const auto dm_mg = [](const VectorXd& v) {
      return (v[0] + v[1]) * (1 + (v[2] - 1.2) * (1 / v[3] - 1 / v[4])) - 1e5;
    };
    const UncertaintyBudget budget = propagate(inputs, dm_mg);
    CHECK(budget.value == within_abs(1.2340, 5e-5));
    CHECK(budget.u == within_abs(0.0539, 5e-5));
  }

  TEST_CASE("a worked balance: 1.09 percent, most of it from the separation") {
    // G = pi^2 L b^2 S/(2 M T^2 D) with 0.1, 0.5, 0.35, 0.1, 0.093 and 0.1 percent: 1.09 %, b alone
    // 1.00 % (sum of squares, computed by two independent routes).
    const std::vector<BudgetInput> inputs{{"L", 0.2, 0.2e-3, "m"},
                                          {"b", 0.06, 0.3e-3, "m"},
                                          {"S", 86.8, 0.3038, "mm"},
                                          {"M", 4.0, 4e-3, "kg"},
                                          {"T", 540.0, 0.5022, "s"},
                                          {"D", 4000.0, 4.0, "mm"}};
    const auto g = [](const VectorXd& v) {
      return std::numbers::pi * std::numbers::pi * v[0] * v[1] * v[1] * v[2] /
             (2 * v[3] * v[4] * v[4] * v[5]);
    };
    const UncertaintyBudget budget = propagate(inputs, g);
    CHECK(100 * budget.u / budget.value == within_abs(1.09, 0.005));
    REQUIRE(budget.dominating == 1);
    CHECK(100 * budget.rows[1].contribution / budget.value == within_abs(1.00, 0.005));
    double shares = 0;
    for (const BudgetRow& row : budget.rows) shares += row.share;
    CHECK(shares == within_rel(1.0, 1e-12));
  }

  TEST_CASE("sensitivities are the derivatives") {
    const std::vector<BudgetInput> inputs{{"x", 2.0, 1e-6, ""}, {"y", -0.5, 0.3, ""}};
    const auto f = [](const VectorXd& v) { return v[0] * v[0] * v[0] * std::exp(v[1]); };
    const UncertaintyBudget budget = propagate(inputs, f);
    // Central differences over 1e-4 of the value: error of the order 1e-8.
    CHECK(budget.rows[0].sensitivity == within_rel(12 * std::exp(-0.5), 2e-8));
    CHECK(budget.rows[1].sensitivity == within_rel(8 * std::exp(-0.5), 2e-8));
  }

  TEST_CASE("inputs without uncertainty are listed and have no share") {
    const std::vector<BudgetInput> inputs{
        {"x", 2.0, 0.1, ""}, {"y", 3.0, 0.0, ""}, {"z", 0.0, 0.0, ""}};
    const UncertaintyBudget budget = propagate(inputs, sum_of);
    CHECK(budget.without_uncertainty == std::vector<std::string>{"y", "z"});
    CHECK(budget.rows[1].share == 0.0);
    CHECK(budget.rows[1].sensitivity == within_rel(1.0, 1e-9));

    const UncertaintyBudget certain = propagate({{"y", 3.0, 0.0, ""}}, sum_of);
    CHECK(certain.u == 0.0);
    CHECK_FALSE(certain.dominating.has_value());
  }

  TEST_CASE("unusable inputs are a bug of the caller") {
    const auto call = [](const BudgetInput& input, const MatrixXd& r) {
      static_cast<void>(propagate({input}, sum_of, r));
    };
    CHECK_THROWS_AS(call({"x", 1.0, -0.1, ""}, {}), std::invalid_argument);
    CHECK_THROWS_AS(call({"x", NAN, 0.1, ""}, {}), std::invalid_argument);
    CHECK_THROWS_AS(call({"x", 1.0, 0.1, "", 0.0}, {}), std::invalid_argument);
    CHECK_THROWS_AS(call({"x", 1.0, 0.1, ""}, MatrixXd::Ones(2, 2)), std::invalid_argument);
    CHECK_THROWS_AS(call({"x", 1.0, 0.1, ""}, 2 * MatrixXd::Ones(1, 1)), std::invalid_argument);
  }

  TEST_CASE("the gain of a better input is what a new budget with half its u says") {
    std::vector<BudgetInput> inputs{{"a", 2.0, 0.1, ""}, {"b", 3.0, 0.2, ""}, {"c", 1.0, 0.05, ""}};
    Eigen::Matrix3d correlation = Eigen::Matrix3d::Identity();
    correlation(0, 1) = correlation(1, 0) = 0.6;
    const auto function = [](const Eigen::VectorXd& x) { return x[0] * x[1] - x[2]; };
    const auto budget = propagate(inputs, function, correlation);
    for (std::size_t i = 0; i < inputs.size(); ++i) {
      auto better = inputs;
      better[i].u *= 0.5;
      const double u = propagate(better, function, correlation).u;
      // the same derivatives over a shorter step: rounding only
      CHECK(budget.rows[i].gain == nightswing::test::within_abs(1.0 - u / budget.u, 1e-9));
    }
  }

  TEST_CASE("what helps most comes first, and what hardly helps is left out") {
    // Half of x takes 3/4 of 9 off u^2 = 26.01, hence 13.9 % off u; y 26.6 %, z 1.5 %, w 0.01 %.
    const std::vector<BudgetInput> inputs{
        {"x", 0.0, 3.0, ""}, {"y", 0.0, 4.0, ""}, {"z", 0.0, 1.0, ""}, {"w", 0.0, 0.1, ""}};
    const auto names = [&](std::size_t most) {
      std::string list;
      for (const BudgetRow& row : rows_by_gain(propagate(inputs, sum_of), most)) {
        list += row.input.name;
      }
      return list;
    };
    CHECK(names(4) == "yxz");
    CHECK(names(2) == "yx");
    CHECK(names(0).empty());
    CHECK(rows_by_gain(propagate({{"y", 3.0, 0.0, ""}}, sum_of), 4).empty());
  }
}
