#include "plan/explain_plan.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cstdio>

#include "plan/draw_section.h"
#include "plan/read_plan.h"

namespace rimwright {
namespace {

using testing::HasSubstr;

Plan plan_with(const std::string& corner, const std::string& units = "mm") {
  const std::string text =
      "instrument: T\nunits: " + units +
      "\nbevel:\n  angle: {nominal: 124, tolerance: 1}\n  drop: {nominal: 12, tolerance: 1}\n"
      "  straightness: 0.2\n  waviness: {band: [10, 80], limit: 0.15}\n"
      "channels:\n  - {name: c, corner: " +
      corner +
      ", strips: [{name: outer, thickness: 1.8, height: 6.0}, {name: inner, thickness: 0.6, height: "
      "1.8}], glue: 0.05, proud: 0.2, tolerance: {width: 0.15, depth: 0.15}}\n";
  Outcome<Plan> plan = read_plan_text(text, "plan");
  EXPECT_TRUE(plan.has_value()) << (plan ? "" : plan.error().sentence());
  return plan ? std::move(*plan) : Plan{};
}

// A plan from each corner kind: what is written on the sheet reads back as the derived numbers.
class EachCorner : public testing::TestWithParam<const char*> {};

TEST_P(EachCorner, StepsReadBackFromTheSheet) {
  const Plan plan = plan_with(GetParam());
  const std::string sheet = explain_plan(plan);
  EXPECT_THAT(sheet, HasSubstr(GetParam()));
  for (std::size_t k = 0; k < plan.channels[0].steps.size(); ++k) {
    const std::string key = "\nstep " + std::to_string(k + 1) + "  width ";
    const std::size_t at = sheet.find(key);
    ASSERT_NE(at, std::string::npos);
    double width_mm = 0.0, depth_mm = 0.0, below = 0.0, above = 0.0;
    ASSERT_EQ(std::sscanf(sheet.c_str() + at + key.size(), "%lf mm (%lf / %lf mm)  depth %lf mm", &width_mm, &below,
                          &above, &depth_mm),
              4);
    EXPECT_NEAR(width_mm, plan.channels[0].steps[k].width_mm, 0.005);  // two decimals are shown
    EXPECT_NEAR(depth_mm, plan.channels[0].steps[k].depth_mm, 0.005);
    EXPECT_NEAR(above, 0.15, 0.005);
  }
}

TEST_P(EachCorner, TheDrawingShowsEachStripAtItsSize) {
  const Plan plan = plan_with(GetParam());
  const std::string drawing = draw_section_text(plan, plan.channels[0]);
  // Each cell is 0.3 x 0.6 mm; a rectangle is caught to within a cell on every side.
  for (std::size_t i = 0; i < 2; ++i) {
    const Strip& strip = plan.channels[0].strips[i];
    const bool upright = plan.channels[0].corner != ChannelCorner::side_bevel;
    const double across_mm = upright ? strip.thickness_mm : strip.height_mm;
    const double down_mm = upright ? strip.height_mm : strip.thickness_mm;
    const auto cells =
        static_cast<double>(std::count(drawing.begin(), drawing.end(), static_cast<char>('a' + static_cast<char>(i))));
    EXPECT_GE(cells, (across_mm / 0.3 - 1.0) * (down_mm / 0.6 - 1.0));
    EXPECT_LE(cells, (across_mm / 0.3 + 1.0) * (down_mm / 0.6 + 1.0));
  }
  EXPECT_GT(std::count(drawing.begin(), drawing.end(), '#'), 20);
}

INSTANTIATE_TEST_SUITE_P(Corners, EachCorner, testing::Values("top-side", "top-bevel", "side-bevel"),
                         [](const auto& corner) {
                           std::string name = corner.param;
                           std::replace(name.begin(), name.end(), '-', '_');
                           return name;
                         });

// Both outer faces of a top-side ledge: the wall of the inner strip is left of the outer strip in every row.
TEST(ExplainPlan, TheOutermostStripIsDrawnOutermost) {
  const Plan plan = plan_with("top-side");
  const std::string drawing = draw_section_text(plan, plan.channels[0]);
  const std::string first_row = drawing.substr(0, drawing.find('\n'));
  ASSERT_NE(first_row.find('a'), std::string::npos);
  ASSERT_NE(first_row.find('b'), std::string::npos);
  EXPECT_LT(first_row.rfind('b'), first_row.find('a'));
}

TEST(ExplainPlan, InchPlansShowInchesToo) {
  const std::string text =
      "instrument: T\nunits: inch\nchannels:\n  - {name: c, corner: top-side, strips: [{name: s, thickness: 0.07, "
      "height: "
      "0.25}], glue: 0.002, proud: 0.01, tolerance: {width: 0.006, depth: 0.006}}\n";
  const Outcome<Plan> plan = read_plan_text(text, "plan");
  ASSERT_TRUE(plan.has_value());
  EXPECT_THAT(explain_plan(*plan), HasSubstr("1.83 mm (0.0720 in)"));
}

TEST(ExplainPlan, CautionsAndChecksAreThere) {
  const std::string sheet = explain_plan(plan_with("top-side"));
  EXPECT_THAT(sheet, HasSubstr("follow local codes and licensed practice"));
  EXPECT_THAT(sheet, HasSubstr("not checked: depth against the top's thickness"));
  EXPECT_THAT(sheet, HasSubstr("! line 9:"));
}

TEST(ExplainPlan, TheDrawingIsOneWholeSvg) {
  const std::string svg = draw_sections_svg(plan_with("top-bevel"));
  EXPECT_THAT(svg, HasSubstr("<svg"));
  EXPECT_THAT(svg, HasSubstr("</svg>"));
  EXPECT_EQ(svg.find("<script"), std::string::npos);
}

}  // namespace
}  // namespace rimwright
