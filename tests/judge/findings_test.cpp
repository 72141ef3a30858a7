#include "judge/findings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <limits>

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

TEST(Findings, TheWholeFailsWhereOneThingDoes) {
  const Plan plan = plan_with_bevel();
  const std::vector<JudgedSeries> judged = compare(plan, sound());
  Finding failed, open;
  failed.verdict = Verdict::fail;
  open.verdict = Verdict::undecided;
  EXPECT_EQ(overall_verdict({open}, judged), Verdict::undecided);
  EXPECT_EQ(overall_verdict({open, failed}, judged), Verdict::fail);
  EXPECT_EQ(overall_verdict({failed, open}, judged), Verdict::fail);
  EXPECT_EQ(overall_verdict({}, {}), Verdict::undecided) << "nothing was judged";
  EXPECT_EQ(overall_verdict({}, {JudgedSeries{}}), Verdict::undecided) << "nothing was measured";
}

// Failures before what is open, and the worse first: by how far each lies beyond its limit, in widths of its tolerance.
TEST(Findings, TheWorstComesFirst) {
  Measures measures = sound();
  for (int s = 40; s < 60; ++s) measures.bevel.stations[s].angle_deg.value = 126.6;  // 0.8 of its 2 degrees
  for (int s = 120; s < 140; ++s) measures.channels[0].stations[s].steps[0].depth_mm.value = 5.1;  // 2.0 of its 0.3 mm
  for (int s = 200; s < 220; ++s) measures.channels[0].stations[s].steps[0].width_mm.value = 2.3;  // 1.0
  for (int s = 240; s < 260; ++s)
    measures.bevel.stations[s].drop_mm = measured_of(19.0, 1.2, UncertaintySource::face_form);  // open
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 4U);
  EXPECT_EQ(findings[0].quantity, "step 1 depth");
  EXPECT_EQ(findings[1].quantity, "step 1 width");
  EXPECT_EQ(findings[2].quantity, "angle");
  EXPECT_EQ(findings[3].quantity, "drop");
  EXPECT_EQ(findings[3].verdict, Verdict::undecided);
}

// The bevel leans by 56 degrees from the line of the side: a lower edge 1.5 mm too high wants 1.5 sin 56 = 1.24 mm off
// the face. The block beside the stretch is named, not that elsewhere.
TEST(Findings, AShallowBevelIsTakenDownAndADeepOneLeft) {
  Measures measures = sound();
  for (BevelStation& station : measures.bevel.stations) station.drop_mm.value = 14.5;
  std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].advice,
            "lower edge 1.50 mm too high from 0 to 300 mm: take 1.24 mm off the face, square to it, and re-check");

  measures = sound();
  for (int s = 140; s < 160; ++s) measures.bevel.stations[s].drop_mm.value = 17.5;
  measures.block[100].top_left_mm.value = 1.0;
  measures.block[150].top_left_mm.value = 4.5;
  measures.block[151].side_left_mm.value = 4.2;
  measures.block[100].side_left_mm.value = measures.block[100].top_left_mm.value = 3.5;  // 40 mm away
  findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].advice,
            "1.50 mm too deep from 140 to 159 mm: take no more there; fair the neighbours down to it, 4.20 mm of block "
            "left there");
}

TEST(Findings, AFlatFaceIsTiltedLess) {
  Measures measures = sound();
  for (int s = 100; s < 140; ++s) measures.bevel.stations[s].angle_deg.value = 122.5;
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_THAT(findings[0].advice, HasSubstr("tilt the base 1.5 deg less"));
  EXPECT_THAT(findings[0].advice, HasSubstr("0.75 mm at the lower edge"));
}

TEST(Findings, WoodTornOutOfTheBevelIsHeldAgainstItsStraightness) {
  Measures measures = sound();
  TornPlace torn;
  torn.from_mm = 100.0;
  torn.to_mm = 110.0;
  torn.depth_mm = measured_of(0.6);
  measures.torn = {torn};
  std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].quantity, "tear-out");
  EXPECT_EQ(findings[0].verdict, Verdict::fail);
  EXPECT_EQ(findings[0].worst.value, 0.6);
  EXPECT_EQ(findings[0].worst.limit, 0.2);
  EXPECT_THAT(findings[0].advice, HasSubstr("wood torn out 0.60 mm deep around 105 mm, mid-face"));
  measures.torn[0].depth_mm = measured_of(0.21);
  ASSERT_EQ(findings_of(plan_with_bevel(), measures).size(), 1U);
  EXPECT_EQ(findings_of(plan_with_bevel(), measures)[0].verdict, Verdict::undecided);
  measures.torn[0].depth_mm = measured_of(0.1);
  EXPECT_TRUE(findings_of(plan_with_bevel(), measures).empty());
  measures.torn[0].depth_mm = measured_of(0.6);
  measures.torn[0].face = FaceKind::top;
  EXPECT_TRUE(findings_of(plan_with_bevel(), measures).empty());
}

TEST(Findings, WhatWasNotSeenIsSaidUnlessItsShapeOrAFailureSaysIt) {
  const Plan plan = plan_with_bevel();
  const auto seen_with = [&](const std::string& feature, double from_mm, double to_mm, RefusalReason reason,
                             const std::function<void(Measures&)>& change) {
    Measures measures = sound();
    measures.gaps.push_back({from_mm, to_mm, feature, Refusal{reason, "it is hidden", "look from the side"}});
    change(measures);
    std::vector<std::string> said;
    for (const Finding& finding : findings_of(plan, measures))
      if (finding.quantity == "presence") said.push_back(finding.advice);
    return said;
  };
  const auto as_it_is = [](Measures&) {};
  EXPECT_THAT(seen_with("bevel", 100.0, 130.0, RefusalReason::not_seen, as_it_is),
              testing::ElementsAre("bevel not measured from 100 to 130 mm (it is hidden): look from the side"));
  EXPECT_THAT(seen_with("channel 1 step 1", 100.0, 130.0, RefusalReason::not_seen, as_it_is),
              testing::ElementsAre(HasSubstr("edge binding, step 1 not measured from 100 to 130 mm")));
  EXPECT_TRUE(seen_with("bevel", 100.0, 119.0, RefusalReason::not_seen, as_it_is).empty()) << "20 mm may stay unseen";
  EXPECT_TRUE(seen_with("bevel", 100.0, 130.0, RefusalReason::not_present, as_it_is).empty());

  // A run-out up to 60 mm: what cannot be told apart in it is its shape; in the full bevel it is not.
  const auto run_out = [](Measures& measures) {
    for (int s = 0; s < 60; ++s) measures.bevel.stations[s].drop_mm.value = 16.0 * s / 60.0;
  };
  EXPECT_TRUE(seen_with("bevel", 0.0, 30.0, RefusalReason::not_separable, run_out).empty());
  EXPECT_EQ(seen_with("bevel", 100.0, 130.0, RefusalReason::not_separable, run_out).size(), 1U);

  const auto failing_to = [](int to_mm) {
    return [to_mm](Measures& measures) {
      for (int s = 80; s < to_mm; ++s) measures.channels[0].stations[s].steps[0].depth_mm.value = 5.2;
    };
  };
  EXPECT_TRUE(seen_with("channel 1 step 1", 100.0, 130.0, RefusalReason::not_seen, failing_to(150)).empty());
  EXPECT_EQ(seen_with("channel 1 step 1", 100.0, 130.0, RefusalReason::not_seen, failing_to(120)).size(), 1U);
}

TEST(Findings, WavesArePlacedWhereTheFaceIsSeenInPart) {
  Measures measures = sound();
  measures.bevel.waviness_mm = measured_of(0.4);
  UnrolledMap& map = measures.map;
  for (std::size_t row = 0; row < map.rows; ++row)
    for (std::size_t column = 0; column < map.columns; ++column) {
      const double off = static_cast<double>(column) - 150.0;
      const double wave = std::abs(off) < 20.0 ? 0.2 * (1.0 + std::cos(M_PI * off / 20.0)) : 0.0;
      map.deviation_mm[row * map.columns + column] =
          row < map.rows / 2 ? static_cast<float>(wave) : std::numeric_limits<float>::quiet_NaN();
    }
  const std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].quantity, "waviness");
  EXPECT_GT(findings[0].from_mm, 80.0);  // two of its wavelengths on either side
  EXPECT_LT(findings[0].to_mm, 220.0);
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
    for (std::size_t column = 100; column <= 108; ++column) {  // higher, but not out of straight
      measures.map.deviation_mm[row * measures.map.columns + column] = 0.6F;
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
  Plan rim_ledge = plan;  // a ledge at the rim is measured from the side
  rim_ledge.channels[0].corner = ChannelCorner::top_side;
  for (const Finding& finding : findings_of(rim_ledge, measures)) EXPECT_EQ(finding.verdict, Verdict::fail);
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
  // With 0.03 that no points make smaller, noise must fall from 0.08 to sqrt((0.10 / 1.96)^2 - 0.03^2) = 0.0413.
  for (ChannelStation& station : measures.channels[0].stations)
    station.steps[0].depth_mm.u(UncertaintySource::reference_faces) = 0.03;
  EXPECT_THAT(findings_of(plan_with_bevel(), measures).at(0).advice, HasSubstr("3.8 times the points"));
}

TEST(Findings, UndecidedByNoiseThatPointsWillNotCure) {
  Measures measures = sound();
  // 0.05 mm inside the limit with U95 1.96 x 0.1 = 0.196: 15 times the points, which nobody takes; 3.9 times less
  // noise.
  for (ChannelStation& station : measures.channels[0].stations) station.steps[0].depth_mm = measured_of(5.75, 0.1);
  std::vector<Finding> findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_THAT(findings[0].advice, HasSubstr("noise 3.9 times smaller"));
  // A tenth of U95 from the limit: no scan splits that.
  for (ChannelStation& station : measures.channels[0].stations) station.steps[0].depth_mm = measured_of(5.701, 0.1);
  findings = findings_of(plan_with_bevel(), measures);
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_THAT(findings[0].advice, HasSubstr("it lies on the limit, which no scan will split"));
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
  measures.scan.rim_length_mm = 500.0;  // 200 mm without a bevel, where the ledge should be
  EXPECT_EQ(findings_of(rim_ledge, measures).size(), 1U);
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
