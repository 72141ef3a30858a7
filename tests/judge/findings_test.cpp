#include "judge/findings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "judge/face_first.h"
namespace rimwright {
namespace {

using testing::HasSubstr;

Measured measured_of(double value, double u = 0.01, UncertaintySource source = UncertaintySource::point_noise) {
  Measured measured;
  measured.value = value;
  measured.u(source) = u;
  return measured;
}

Plan plan_with_bevel() {
  Plan plan;
  plan.instrument = "test body";
  plan.bevel = PlannedBevel{};
  plan.bevel->angle_deg = {124.0, {-1.0, 1.0}};
  plan.bevel->drop_mm = {16.0, {-1.0, 1.0}};
  plan.bevel->straightness_mm = 0.20;
  plan.bevel->waviness = BandLimit{{10.0, 80.0}, 0.15};
  PlannedBlock block;
  block.top_mm = 42.0;
  block.side_mm = 24.0;
  block.keep_mm = 3.0;
  plan.block = block;
  PlannedChannel channel;
  channel.name = "edge binding";
  channel.corner = ChannelCorner::top_bevel;
  channel.width_tolerance_mm = channel.depth_tolerance_mm = {-0.15, 0.15};
  channel.steps = {{1.85, 5.85, 0, 0}};
  plan.channels = {channel};
  return plan;
}

// 300 mm of rim, a station each millimetre, everything at nominal.
Measures sound() {
  Measures measures;
  measures.scan.rim_length_mm = 300.0;
  ChannelMeasures channel;
  for (int s = 0; s <= 300; ++s) {
    BevelStation bevel;
    bevel.station_mm = s;
    bevel.angle_deg = measured_of(124.0, 0.02);
    bevel.drop_mm = measured_of(16.0);
    bevel.straightness_mm = measured_of(0.05);
    measures.bevel.stations.push_back(bevel);
    BlockStation block;
    block.station_mm = s;
    block.top_left_mm = measured_of(18.0);
    block.side_left_mm = measured_of(8.0);
    measures.block.push_back(block);
    ChannelStation station;
    station.station_mm = s;
    station.steps = {{measured_of(1.85), measured_of(5.85)}};
    channel.stations.push_back(station);
  }
  measures.bevel.waviness_mm = measured_of(0.05);
  measures.channels = {channel};
  UnrolledMap& map = measures.map;
  map.columns = 301;
  map.rows = 58;
  map.deviation_mm.assign(map.columns * map.rows, 0.0F);
  return measures;
}

std::vector<Finding> findings_of(const Plan& plan, const Measures& measures) {
  return find_and_advise(plan, measures, compare(plan, measures));
}

TEST(Findings, ASoundBodyPasses) {
  const Plan plan = plan_with_bevel();
  const Measures measures = sound();
  const std::vector<JudgedSeries> judged = compare(plan, measures);
  EXPECT_TRUE(find_and_advise(plan, measures, judged).empty());
  EXPECT_EQ(overall_verdict({}, judged), Verdict::pass);
}

TEST(Findings, AHighFloorIsLoweredByWhatIsMissing) {
  Measures measures = sound();
  for (ChannelStation& station : measures.channels[0].stations) {
    if (station.station_mm > 20 && station.station_mm < 61) station.steps[0].depth_mm.value = 5.85 - 0.43;
  }
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].feature, "edge binding");
  EXPECT_EQ(findings[0].quantity, "step 1 depth");
  EXPECT_EQ(findings[0].verdict, Verdict::fail);
  EXPECT_EQ(findings[0].advice,
            "floor 0.43 mm high from 20 to 61 mm: lower the cutter 0.43 mm and re-run that stretch");
  EXPECT_NEAR(findings[0].worst.limit, 5.70, 1e-12);
}

TEST(Findings, SignsOfWidthAndDepthAreTheRightWayRound) {
  Measures measures = sound();
  measures.channels[0].stations[150].steps[0].width_mm.value = 1.85 - 0.4;
  measures.channels[0].stations[200].steps[0].width_mm.value = 1.85 + 0.4;
  measures.channels[0].stations[250].steps[0].depth_mm.value = 5.85 + 0.4;
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 3U);
  for (const Finding& finding : findings) {
    if (std::abs(finding.worst.station_mm - 150) < 1) {
      EXPECT_THAT(finding.advice, HasSubstr("0.40 mm farther in"));
    }
    if (std::abs(finding.worst.station_mm - 200) < 1) {
      EXPECT_THAT(finding.advice, HasSubstr("fill behind the strips"));
    }
    if (std::abs(finding.worst.station_mm - 250) < 1) {
      EXPECT_THAT(finding.advice, HasSubstr("0.40 mm too deep"));
    }
  }
}

TEST(Findings, ASteepFaceAsksForMoreTilt) {
  Measures measures = sound();
  for (BevelStation& station : measures.bevel.stations) {
    if (station.station_mm > 100 && station.station_mm < 140) station.angle_deg.value = 125.5;
  }
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  // Face width 16 / cos 56 deg = 28.61 mm; times sin 1.5 deg = 0.75 mm.
  EXPECT_THAT(findings[0].advice, HasSubstr("tilt the base 1.5 deg more"));
  EXPECT_THAT(findings[0].advice, HasSubstr("0.75 mm at the upper edge"));
}

TEST(Findings, AHumpIsTakenOffWhereTheMapShowsIt) {
  Measures measures = sound();
  for (BevelStation& station : measures.bevel.stations) {
    if (std::abs(station.station_mm - 210) < 8) station.straightness_mm.value = 0.45;
  }
  for (std::size_t row = 25; row < 33; ++row) {
    for (std::size_t column = 206; column <= 214; ++column) {
      measures.map.deviation_mm[row * measures.map.columns + column] = 0.45F;
    }
  }
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_THAT(findings[0].advice, HasSubstr("0.45 mm to take off around 20"));
  EXPECT_THAT(findings[0].advice, HasSubstr("mid-face"));
}

TEST(Findings, AWidthMeasuredFromACrookedFaceWaitsForTheFace) {
  Measures measures = sound();
  for (ChannelStation& station : measures.channels[0].stations) {
    if (std::abs(station.station_mm - 210) < 8) station.steps[0].width_mm.value = 1.85 + 0.5;
  }
  const Plan plan = plan_with_bevel();  // its channel lies at the bevel's upper edge
  ASSERT_EQ(findings_of(plan, measures).size(), 1U);
  EXPECT_EQ(findings_of(plan, measures)[0].verdict, Verdict::fail);
  for (BevelStation& station : measures.bevel.stations) {
    if (std::abs(station.station_mm - 210) < 9) station.straightness_mm.value = 0.45;
  }
  const std::vector<Finding> findings = findings_of(plan, measures);
  ASSERT_EQ(findings.size(), 2U);
  EXPECT_EQ(findings[1].quantity, "step 1 width");
  EXPECT_EQ(findings[1].verdict, Verdict::undecided);
  EXPECT_THAT(findings[1].advice, HasSubstr("put the face right first"));
}

TEST(Findings, AnAngleOnACrookedFaceWaitsForTheFaceUnlessItFails) {
  Measures measures = sound();
  for (BevelStation& station : measures.bevel.stations) {
    if (std::abs(station.station_mm - 210) >= 9) continue;
    station.straightness_mm.value = 0.45;
    station.angle_deg.u(UncertaintySource::face_form) = 0.9;
  }
  const Plan plan = plan_with_bevel();
  const std::vector<Finding> open = findings_of(plan, measures);
  ASSERT_EQ(open.size(), 2U);
  EXPECT_EQ(open[1].quantity, "angle");
  EXPECT_EQ(open[1].verdict, Verdict::undecided);
  EXPECT_THAT(open[1].advice, HasSubstr("put the face right first"));
  EXPECT_THAT(open[1].advice, HasSubstr("out of straight"));
  for (BevelStation& station : measures.bevel.stations) {
    if (std::abs(station.station_mm - 210) < 9) station.angle_deg.value += 9.0;
  }
  const std::vector<Finding> failed = findings_of(plan, measures);
  ASSERT_EQ(failed.size(), 2U);
  for (const Finding& finding : failed) EXPECT_EQ(finding.verdict, Verdict::fail);
}

TEST(Findings, WhatWaitsForTheFaceLiesOnIt) {
  const auto finding = [](const char* feature, const char* quantity, double from_mm, double to_mm, Verdict verdict) {
    Finding made;
    made.feature = feature;
    made.quantity = quantity;
    made.from_mm = from_mm;
    made.to_mm = to_mm;
    made.verdict = verdict;
    return made;
  };
  const Finding face = finding("bevel", "straightness", 200.0, 220.0, Verdict::fail);
  const auto open = Verdict::undecided;
  EXPECT_TRUE(waits_for_face(finding("bevel", "waviness", 100.0, 400.0, open), face));
  EXPECT_FALSE(waits_for_face(finding("bevel", "waviness", 221.0, 400.0, open), face));
  EXPECT_FALSE(waits_for_face(finding("bevel", "waviness", 100.0, 400.0, Verdict::fail), face));
  EXPECT_TRUE(waits_for_face(finding("bevel", "angle", 190.0, 210.0, open), face));   // half of it
  EXPECT_FALSE(waits_for_face(finding("bevel", "angle", 180.0, 210.0, open), face));  // a third
  EXPECT_FALSE(waits_for_face(finding("bevel", "drop", 200.0, 220.0, open), face));
  EXPECT_FALSE(waits_for_face(finding("bevel", "angle", 200.0, 220.0, open),
                              finding("bevel", "straightness", 200.0, 220.0, open)));
}

TEST(Findings, TooDeepNamesTheBlockLeft) {
  Measures measures = sound();
  for (BevelStation& station : measures.bevel.stations) {
    if (std::abs(station.station_mm - 250) < 8) station.straightness_mm.value = 0.5;
  }
  for (BlockStation& station : measures.block) {
    if (std::abs(station.station_mm - 250) < 8) station.side_left_mm.value = 3.9;
  }
  for (std::size_t row = 25; row < 33; ++row) {
    for (std::size_t column = 246; column <= 254; ++column) {
      measures.map.deviation_mm[row * measures.map.columns + column] = -0.5F;
    }
  }
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_THAT(findings[0].advice, HasSubstr("0.50 mm too deep around 24"));
  EXPECT_THAT(findings[0].advice, HasSubstr("fair the neighbours down to it, 3.90 mm of block left there"));
}

TEST(Findings, UndecidedSaysHowManyMorePoints) {
  Measures measures = sound();
  // 0.10 mm inside the limit with U95 0.1568: noise must fall by the square of 1.568 (about 2.5 times the points).
  for (ChannelStation& station : measures.channels[0].stations) station.steps[0].depth_mm = measured_of(5.80, 0.08);
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].verdict, Verdict::undecided);
  EXPECT_THAT(findings[0].advice, HasSubstr("2.5 times the points"));
}

TEST(Findings, UndecidedByScaleAsksForTheBar) {
  Measures measures = sound();
  for (ChannelStation& station : measures.channels[0].stations) {
    station.steps[0].depth_mm = measured_of(5.75, 0.05, UncertaintySource::scale);
  }
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_THAT(findings[0].advice, HasSubstr("--bar"));
}

TEST(Findings, APlannedChannelThatIsNotThereLeavesItUndecided) {
  Measures measures = sound();
  measures.channels[0].stations.clear();
  const Plan plan = plan_with_bevel();
  const std::vector<JudgedSeries> judged = compare(plan, measures);
  const std::vector<Finding> findings = find_and_advise(plan, measures, judged);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].verdict, Verdict::undecided);
  EXPECT_EQ(overall_verdict(findings, judged), Verdict::undecided);
}

TEST(Findings, ALedgeThatTheBevelLeavesNoPlaceForIsNotMissed) {
  Measures measures = sound();
  measures.channels[0].stations.clear();
  measures.scan.rim_length_mm = 310.0;  // the bevel's 300 mm are nearly all of it
  const Plan plan = plan_with_bevel();
  EXPECT_EQ(findings_of(plan, measures).size(), 1U) << "a ledge at another corner would be missed";
  Plan rim_ledge = plan;
  rim_ledge.channels[0].corner = ChannelCorner::top_side;
  EXPECT_TRUE(findings_of(rim_ledge, measures).empty());
}

TEST(Findings, TheThinEndOfARunOutIsNotHeldToTheAngle) {
  Measures measures = sound();
  measures.bevel.stations.back().drop_mm.value = 1.5;
  measures.bevel.stations.back().angle_deg.value = 120.0;
  EXPECT_TRUE(findings_of(plan_with_bevel(), measures).empty());
  measures.bevel.stations[150].angle_deg.value = 120.0;
  EXPECT_EQ(findings_of(plan_with_bevel(), measures).size(), 1U);
}

TEST(Findings, InchPlansAreAdvisedInInches) {
  Plan plan = plan_with_bevel();
  plan.units = LengthUnit::inch;
  Measures measures = sound();
  for (ChannelStation& station : measures.channels[0].stations) {
    if (station.station_mm > 20 && station.station_mm < 61) station.steps[0].depth_mm.value = 5.85 - 0.508;
  }
  const std::vector<Finding> findings = findings_of(plan, measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_THAT(findings[0].advice, HasSubstr("floor 0.020 in high from 0.8 to 2.4 in"));
}

}  // namespace
}  // namespace rimwright
