// Decision rules and bounds of counts against published examples.
#include <gtest/gtest.h>

#include <array>
#include <cmath>

#include "judge/compare.h"
#include "truth/tally.h"

namespace rimwright {
namespace {

// ISO 14253-1 (rule from memory): conformity is proven where the result lies within the specification by at least U,
// nonconformity where it lies outside by at least U; between, neither. Specification 10 +- 0.1, U = 0.02.
TEST(DecisionRule, Iso14253ReadBothWays) {
  for (const auto& [value, verdict] : std::array<std::pair<double, Verdict>, 9>{{{10.0, Verdict::pass},
                                                                                 {10.079, Verdict::pass},
                                                                                 {10.081, Verdict::undecided},
                                                                                 {10.119, Verdict::undecided},
                                                                                 {10.121, Verdict::fail},
                                                                                 {9.921, Verdict::pass},
                                                                                 {9.919, Verdict::undecided},
                                                                                 {9.881, Verdict::undecided},
                                                                                 {9.879, Verdict::fail}}})
    EXPECT_EQ(verdict_of(value, 0.02, 9.9, 10.1), verdict) << value;
}

double standard_normal_below(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

// JCGM 106:2012 (9.3, from memory): the probability of conformity at one limit is Phi((limit - value) / u). A pass
// guarded by U = 1.96 u means at least 97.5 %, a fail at most 2.5 %: what our verdicts promise at one limit.
TEST(DecisionRule, Jcgm106ConformityProbability) {
  const double u = 0.01, limit = 10.1;
  for (double value = 10.0; value < 10.2; value += 0.0005) {
    const double conforms = standard_normal_below((limit - value) / u);
    const Verdict verdict = verdict_of(value, 1.96 * u, -std::numeric_limits<double>::infinity(), limit);
    if (verdict == Verdict::pass) {
      EXPECT_GE(conforms, 0.9749) << value;
    } else if (verdict == Verdict::fail) {
      EXPECT_LE(conforms, 0.0251) << value;
    }
  }
  // 0.9192 = Phi(1.40), 0.9890 = Phi(2.29): two published probabilities, the second of which alone is a pass.
  EXPECT_NEAR(standard_normal_below(1.40), 0.9192, 5e-5);
  EXPECT_NEAR(standard_normal_below(2.29), 0.9890, 5e-5);
  const double infinity = std::numeric_limits<double>::infinity();
  EXPECT_EQ(verdict_of(limit - 1.40 * u, 1.96 * u, -infinity, limit), Verdict::undecided);
  EXPECT_EQ(verdict_of(limit - 2.29 * u, 1.96 * u, -infinity, limit), Verdict::pass);
}

// Clopper, Pearson, Biometrika 26 (1934); values recomputed with an independent library.
TEST(ClopperPearson, PublishedValues) {
  const Bounds none = clopper_pearson_95(0, 100), five = clopper_pearson_95(5, 100), all = clopper_pearson_95(100, 100);
  EXPECT_EQ(none.lower, 0.0);
  EXPECT_NEAR(none.upper, 0.0362, 5e-5);
  EXPECT_NEAR(five.lower, 0.0164, 5e-5);
  EXPECT_NEAR(five.upper, 0.1128, 5e-5);
  EXPECT_NEAR(all.lower, 1 - 0.0362, 5e-5);
  EXPECT_EQ(all.upper, 1.0);
  EXPECT_EQ(clopper_pearson_95(0, 0).upper, 1.0);  // nothing tried, nothing known
}

}  // namespace
}  // namespace rimwright
