#include "plan/read_plan.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "plan/strict_yaml.h"

namespace rimwright {
namespace {

using testing::HasSubstr;

const std::string bevel_only = R"(instrument: Test
units: mm
bevel:
  angle: {nominal: 124, tolerance: 1.0}
  drop: {nominal: 16, tolerance: [-0.5, 1.0]}
  straightness: 0.20
  waviness: {band: [10, 80], limit: 0.15}
)";

const std::string channel_part = R"(channels:
  - name: edge binding
    corner: top-side
    strips:
      - {name: plum binding, thickness: 1.8, height: 6.0}
      - {name: pear line, thickness: 0.6, height: 1.8}
    glue: 0.05
    proud: 0.2
    tolerance: {width: 0.15, depth: [-0.1, 0.15]}
)";

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return at == std::string::npos ? text : text.replace(at, from.size(), to);
}

TEST(ReadPlan, TheSamplePlanIsReadWhole) {
  const Outcome<Plan> plan = read_plan(RIMWRIGHT_SAMPLES "/plans/mandola.yaml");
  ASSERT_TRUE(plan.has_value()) << plan.error().sentence();
  ASSERT_TRUE(plan->bevel.has_value());
  EXPECT_DOUBLE_EQ(plan->bevel->angle_deg.nominal, 124.0);
  ASSERT_EQ(plan->channels.size(), 3u);
  EXPECT_EQ(plan->channels[0].corner, ChannelCorner::top_side);
  EXPECT_EQ(plan->channels[1].corner, ChannelCorner::top_bevel);
  EXPECT_EQ(plan->channels[2].corner, ChannelCorner::side_bevel);
  EXPECT_EQ(plan->channels[0].steps.size(), 2u);
  EXPECT_EQ(plan->channels[1].steps.size(), 1u);
  EXPECT_TRUE(plan->channels[2].strips[0].later);
  EXPECT_DOUBLE_EQ(plan->channels[1].width_tolerance_mm.lower, -0.10);
  EXPECT_DOUBLE_EQ(plan->channels[1].width_tolerance_mm.upper, 0.15);
  EXPECT_EQ(plan->router.cutters_mm.size(), 3u);
  EXPECT_EQ(plan->channels[0].line, 14);
}

// 1 inch = 25.4 mm exactly (International yard and pound agreement, 1959). Angles keep their degrees.
TEST(ReadPlan, InchesBecomeMillimetresEverywhereButAngles) {
  const Outcome<Plan> plan = read_plan_text(R"(instrument: Test
units: inch
bevel:
  angle: {nominal: 124, tolerance: 1.0}
  drop: {nominal: 0.5, tolerance: 0.04}
  straightness: 0.01
  waviness: {band: [0.5, 3], limit: 0.005}
block: {top: 2, side: 1, keep: 0.1}
channels:
  - {name: b, corner: top-side, strips: [{name: s, thickness: 0.07, height: 0.25}], glue: 0.002, proud: 0.01,
     tolerance: {width: 0.006, depth: [-0.004, 0.006]}}
)",
                                            "plan");
  ASSERT_TRUE(plan.has_value()) << plan.error().sentence();
  EXPECT_DOUBLE_EQ(plan->bevel->angle_deg.nominal, 124.0);
  EXPECT_DOUBLE_EQ(plan->bevel->angle_deg.tolerance.upper, 1.0);
  EXPECT_DOUBLE_EQ(plan->bevel->drop_mm.nominal, 12.7);
  EXPECT_NEAR(plan->bevel->drop_mm.tolerance.lower, -1.016, 1e-12);
  EXPECT_NEAR(*plan->bevel->straightness_mm, 0.254, 1e-12);
  EXPECT_NEAR(plan->bevel->waviness->band.longest_mm, 76.2, 1e-12);
  EXPECT_NEAR(plan->bevel->waviness->limit_mm, 0.127, 1e-12);
  EXPECT_NEAR(plan->block->top_mm, 50.8, 1e-12);
  EXPECT_NEAR(plan->channels[0].steps[0].width_mm, 0.072 * 25.4, 1e-12);
  EXPECT_NEAR(plan->channels[0].steps[0].depth_mm, 0.242 * 25.4, 1e-12);
  EXPECT_NEAR(plan->channels[0].depth_tolerance_mm.lower, -0.1016, 1e-12);
}

TEST(ReadPlan, EitherPartAloneIsAPlan) {
  EXPECT_TRUE(read_plan_text(bevel_only, "p").has_value());
  EXPECT_TRUE(read_plan_text("instrument: T\nunits: mm\n" + channel_part, "p").has_value());
  EXPECT_TRUE(read_plan_text(bevel_only + channel_part, "p").has_value());
}

struct Refused {
  const char* name;
  std::string text;
  std::string place;  // "line L, column C"
  std::string says;
};

class RefusedPlans : public testing::TestWithParam<Refused> {};

TEST_P(RefusedPlans, NamesPlaceAndReason) {
  const Outcome<Plan> plan = read_plan_text(GetParam().text, "plan.yaml");
  ASSERT_FALSE(plan.has_value());
  const std::string sentence = plan.error().sentence();
  EXPECT_EQ(plan.error().reason, RefusalReason::plan_not_valid) << sentence;
  EXPECT_THAT(sentence, HasSubstr("plan.yaml"));
  EXPECT_THAT(sentence, HasSubstr(GetParam().place));
  EXPECT_THAT(sentence, HasSubstr(GetParam().says));
  EXPECT_FALSE(plan.error().what_to_do.empty());
}

const std::string both = bevel_only + channel_part;

INSTANTIATE_TEST_SUITE_P(
    Plans, RefusedPlans,
    testing::Values(
        Refused{"unknown_top_key", both + "chanels: []\n", "line 17, column 1", "'channels'"},
        Refused{"misspelt_key", replaced(both, "thickness: 0.6", "thicknes: 0.6"), "line 13, column 27", "'thickness'"},
        Refused{"swapped_letters", replaced(both, "straightness", "straigthness"), "line 6, column 3",
                "'straightness'"},
        Refused{"missing_units", replaced(both, "units: mm\n", ""), "line 1, column 1", "'units'"},
        Refused{"missing_height", replaced(both, ", height: 1.8", ""), "line 13, column 9", "'height'"},
        Refused{"missing_waviness", replaced(both, "  waviness: {band: [10, 80], limit: 0.15}\n", ""),
                "line 4, column 3", "'waviness'"},
        Refused{"number_is_text", replaced(both, "nominal: 124", "nominal: steep"), "line 4, column 20", "number"},
        Refused{"number_is_quoted", replaced(both, "nominal: 124", "nominal: \"124\""), "line 4, column 20", "number"},
        Refused{"decimal_comma", replaced(both, "glue: 0.05", "glue: 0,05"), "line 14, column 11", "decimal point"},
        Refused{"number_with_unit", replaced(both, "glue: 0.05", "glue: 0.05 mm"), "line 14, column 11", "number"},
        Refused{"not_a_number", replaced(both, "glue: 0.05", "glue: nan"), "line 14, column 11", "number"},
        Refused{"infinite", replaced(both, "glue: 0.05", "glue: inf"), "line 14, column 11", "number"},
        Refused{"list_for_a_number", replaced(both, "glue: 0.05", "glue: [0.05]"), "line 14, column 11", "number"},
        Refused{"map_for_a_list", replaced(both, "band: [10, 80]", "band: {a: 1}"), "line 7, column 20", "list"},
        Refused{"tolerance_of_three", replaced(both, "[-0.5, 1.0]", "[-0.5, 0, 1.0]"), "line 5, column 34", "[lower"},
        Refused{"tolerance_negative", replaced(both, "width: 0.15", "width: -0.15"), "line 16, column 24", "no room"},
        Refused{"tolerance_zero", replaced(both, "width: 0.15", "width: 0"), "line 16, column 24", "no room"},
        Refused{"tolerance_reversed", replaced(both, "[-0.5, 1.0]", "[1.0, -0.5]"), "line 5, column 34", "no room"},
        Refused{"angle_square", replaced(both, "nominal: 124", "nominal: 90"), "line 4, column 10", "above 90"},
        Refused{"angle_flat", replaced(both, "nominal: 124", "nominal: 180"), "line 4, column 10", "below 180"},
        Refused{"drop_negative", replaced(both, "nominal: 16", "nominal: -16"), "line 5, column 9", "above 0"},
        Refused{"angle_may_be_square", replaced(both, "nominal: 124", "nominal: 91"), "line 4, column 10", "above 90"},
        Refused{"angle_may_be_flat", replaced(both, "nominal: 124", "nominal: 179"), "line 4, column 10", "below 180"},
        Refused{"drop_may_be_nothing", replaced(both, "[-0.5, 1.0]", "[-16, 1.0]"), "line 5, column 9", "above 0"},
        Refused{"drop_may_be_huge", replaced(both, "[-0.5, 1.0]", "[-0.5, 134.5]"), "line 5, column 9", "150 mm"},
        Refused{"band_empty", replaced(both, "[10, 80]", "[80, 80]"), "line 7, column 20", "upside down"},
        Refused{"keeps_all_of_the_side", bevel_only + "block: {top: 42, side: 24, keep: 24}\n", "line 8, column 34",
                "is only 24 mm"},
        Refused{"keeps_all_of_the_top", bevel_only + "block: {top: 20, side: 24, keep: 20}\n", "line 8, column 34",
                "is only 20 mm"},
        Refused{"proud_is_all",
                replaced(replaced(replaced(both, "glue: 0.05", "glue: 0.25"), "proud: 0.2", "proud: 2.0"),
                         "height: 1.8", "height: 1.75"),
                "line 15, column 12", "whole height"},
        Refused{"thickness_zero", replaced(both, "thickness: 0.6", "thickness: 0"), "line 13, column 38", "above 0"},
        Refused{"height_huge", replaced(both, "height: 6.0", "height: 61"), "line 12, column 54", "at most 60 mm"},
        Refused{"glue_thick", replaced(both, "glue: 0.05", "glue: 5.1"), "line 14, column 11", "at most 5 mm"},
        Refused{"band_reversed", replaced(both, "[10, 80]", "[80, 10]"), "line 7, column 20", "upside down"},
        Refused{"proud_swallows", replaced(both, "proud: 0.2", "proud: 2"), "line 15, column 12", "whole height"},
        Refused{"taller_inside", replaced(both, "height: 1.8", "height: 7"), "line 13, column 9", "taller"},
        Refused{"stack_too_wide", replaced(both, "thickness: 1.8", "thickness: 49.5"), "line 12, column 7",
                "wider than"},
        Refused{"corner_unknown", replaced(both, "top-side", "top-sid"), "line 10, column 13", "'top-side'"},
        Refused{"units_unknown", replaced(both, "units: mm", "units: cm"), "line 2, column 8", "mm, inch"},
        Refused{"corner_without_bevel", "instrument: T\nunits: mm\n" + replaced(channel_part, "top-side", "top-bevel"),
                "line 5, column 13", "the plan has none"},
        Refused{"names_twice", both + channel_part.substr(channel_part.find('\n') + 1), "line 17, column 11", "named"},
        Refused{"key_twice", both + "units: mm\n", "line 17, column 1", "twice"},
        Refused{"nothing_planned", "instrument: T\nunits: mm\n", "line 1, column 1", "neither"},
        Refused{"no_strips",
                replaced(both,
                         channel_part.substr(channel_part.find("    strips"),
                                             channel_part.find("    glue") - channel_part.find("    strips")),
                         "    strips: []\n"),
                "line 11, column 13", "0 strips"},
        Refused{"later_is_text", replaced(both, "height: 1.8", "height: 1.8, later: yes"), "line 13, column 63",
                "true or false"},
        Refused{"instrument_is_a_list", replaced(both, "instrument: Test", "instrument: [a]"), "line 1, column 13",
                "short text"},
        Refused{"anchor", replaced(both, "units: mm", "units: &u mm"), "line 2", "anchor"},
        Refused{"alias_bomb", "a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n", "line 1", "anchor"},
        Refused{"tag", replaced(both, "units: mm", "units: !!str mm"), "line 2", "tag"},
        Refused{"second_document", both + "---\ninstrument: U\n", "line 18", "second document"},
        Refused{"deep", std::string("instrument: ") + std::string(4000, '['), "line 1", "deep"},
        Refused{"tab", replaced(both, "  drop", "\tdrop"), "line 5", "YAML"},
        Refused{"unclosed", replaced(both, "[10, 80]", "[10, 80"), "line 7", "YAML"},
        Refused{"a_list", "- 1\n- 2\n", "line 1, column 1", "group of keys"},
        Refused{"a_word", "hello\n", "line 1, column 1", "group of keys"}),
    [](const auto& refused) { return std::string(refused.param.name); });

TEST(ReadPlan, FilesThatAreNotPlansAreRefusedByName) {
  EXPECT_EQ(read_plan("no/such/plan.yaml").error().reason, RefusalReason::file_not_found);
  EXPECT_EQ(read_plan(RIMWRIGHT_SAMPLES).error().reason, RefusalReason::file_not_readable);
  EXPECT_THAT(read_plan_text("", "p").error().sentence(), HasSubstr("empty"));
  EXPECT_THAT(read_plan_text("# only a comment\n", "p").error().sentence(), HasSubstr("empty"));
  EXPECT_THAT(read_plan_text(std::string("a\0b", 3), "p").error().sentence(), HasSubstr("not a text file"));
  EXPECT_EQ(read_plan_text(std::string(65536, ' '), "p").error().reason, RefusalReason::plan_not_valid);
  EXPECT_EQ(read_plan_text(std::string(65537, ' '), "p").error().reason, RefusalReason::file_over_limit);
}

// As YamlLimits states them, each met and passed by one.
TEST(ReadPlan, NodesAndDepthOfYaml) {
  const auto read = [](const std::string& yaml) {
    const auto tree = parse_strict_yaml(yaml, "p", RefusalReason::plan_not_valid);
    return tree ? std::string() : tree.error().what;
  };
  const auto list_of = [](int values) {
    std::string list = "[";
    for (int i = 0; i < values; ++i) list += "1,";
    return list + "]";
  };
  EXPECT_EQ(read(list_of(4999)), "");  // the list itself is the 5000th
  EXPECT_THAT(read(list_of(5000)), HasSubstr("more than 5000 values"));
  EXPECT_EQ(read(std::string(12, '[') + std::string(12, ']')), "");
  EXPECT_THAT(read(std::string(13, '[') + std::string(13, ']')), HasSubstr("nested more than 12 deep"));
}

// The file's words reach a terminal through refusals: no control characters may.
TEST(ReadPlan, RefusalsCarryNoControlCharacters) {
  const Outcome<Plan> plan = read_plan_text("\"bad\\e[31mkey\\n\": 1\n", "p");
  ASSERT_FALSE(plan.has_value());
  for (const char c : plan.error().sentence()) EXPECT_GE(static_cast<unsigned char>(c), 0x20);
}

}  // namespace
}  // namespace rimwright
