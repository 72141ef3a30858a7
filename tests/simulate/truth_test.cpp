#include "simulate/truth.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "bodies.h"

namespace rimwright {
namespace {

constexpr double pi = std::numbers::pi;

// ISO 16610-21: transmission of the Gaussian filter for a sine; 50 % at the cutoff.
double transmission(double cutoff_mm, double wavelength_mm) {
  return std::exp(-std::numbers::ln2 * (cutoff_mm / wavelength_mm) * (cutoff_mm / wavelength_mm));
}

DefectSpec wave_defect(DefectKind kind, double size, double wavelength, double from, double to) {
  DefectSpec defect;
  defect.kind = kind;
  defect.size = size;
  defect.wavelength_mm = wavelength;
  defect.from_mm = from;
  defect.to_mm = to;
  return defect;
}

TEST(Truth, GaussianBandTransmitsSinesAsTheStandardSays) {
  // ISO 16610-21: 0.9576 at 4 cutoffs, 0.8409 at 2, 0.5 at 1, 0.0625 at half the cutoff.
  const double published[][2] = {{4.0, 0.9576}, {2.0, 0.8409}, {1.0, 0.5}, {0.5, 0.0625}};
  for (const auto& [ratio, expected] : published) {
    const double cutoff = 20.0, step = 0.25;
    std::vector<double> sine;
    for (int i = 0; i < 4000; ++i) sine.push_back(std::sin(2.0 * pi * step * i / (ratio * cutoff)));
    const std::vector<double> smooth = gaussian_band(sine, step, cutoff, 0.0);
    double most = 0.0;
    for (int i = 1500; i < 2500; ++i) most = std::max(most, smooth[static_cast<std::size_t>(i)]);
    // Four published figures; the largest sample lies within (pi step / wavelength)^2 / 2 of the crest.
    EXPECT_NEAR(most, expected, 6e-5 + expected * 0.5 * std::pow(pi * step / (ratio * cutoff), 2));
  }
}

TEST(Truth, WavinessOfASineIsItsTransmittedPeakToValley) {
  for (const double wavelength : {20.0, 34.0, 60.0}) {
    BodySpec spec = test::plain_bevelled(560.0);
    spec.defects = {wave_defect(DefectKind::wave, 0.44, wavelength, 40.0, 520.0)};
    const Truth truth = truth_of(test::made(spec), Transform::Identity());
    const double expected = 0.44 * (transmission(10.0, wavelength) - transmission(80.0, wavelength));
    // Ends of the stretch lie 60 mm outside the full part, where the longer filter's tail is below 1 %.
    EXPECT_NEAR(truth.fairness.waviness_mm, expected, 0.01 * expected) << wavelength;
    EXPECT_GE(truth.fairness.waviness_whole_mm, truth.fairness.waviness_mm - 1e-12);
    // The wave itself, station by station.
    double low = 0.0, high = 0.0;
    for (const TrueStation& s : truth.stations) {
      low = std::min(low, s.departure_mm);
      high = std::max(high, s.departure_mm);
    }
    EXPECT_NEAR(high - low, 0.44, 0.44 * 2.0 * std::pow(pi * 0.5 / wavelength, 2));
  }
}

TEST(Truth, EdgeFairnessFollowsTheEdgeThatWanders) {
  BodySpec spec = test::plain_bevelled(560.0);
  const double wavelength = 30.0;
  const double expected = 0.4 * (transmission(10.0, wavelength) - transmission(80.0, wavelength));
  spec.defects = {wave_defect(DefectKind::lower_edge_wander, 0.4, wavelength, 40.0, 520.0)};
  Truth truth = truth_of(test::made(spec), Transform::Identity());
  EXPECT_NEAR(truth.fairness.lower_edge_mm, expected, 0.01 * expected);
  EXPECT_NEAR(truth.fairness.upper_edge_mm, 0.0, 1e-9);
  spec.defects[0].kind = DefectKind::upper_edge_wander;
  truth = truth_of(test::made(spec), Transform::Identity());
  EXPECT_NEAR(truth.fairness.upper_edge_mm, expected, 0.01 * expected);
  EXPECT_NEAR(truth.fairness.lower_edge_mm, 0.0, 1e-9);
}

TEST(Truth, SoundBodyIsSoundEverywhere) {
  BodySpec spec = test::rich();
  spec.defects.clear();
  const Truth truth = truth_of(test::made(spec), Transform::Identity());
  EXPECT_NEAR(truth.fairness.waviness_whole_mm, 0.0, 1e-9);
  for (const TrueStation& s : truth.stations) {
    if (!s.bevel_present) continue;
    EXPECT_NEAR(s.angle_deg, 124.0, 1e-7);
    EXPECT_NEAR(s.straightness_mm, 0.0, 1e-9);
  }
}

TEST(Truth, CrownIsItsSagittaAndLeavesAngleAndDropAlone) {
  for (const double sagitta : {0.3, -0.25}) {
    BodySpec spec = test::plain_bevelled();
    DefectSpec crown;
    crown.kind = DefectKind::crown;
    crown.size = sagitta;
    crown.from_mm = 120.0;
    crown.to_mm = 280.0;
    spec.defects = {crown};
    const Truth truth = truth_of(test::made(spec), Transform::Identity());
    const TrueStation& s = truth.stations[200];
    // A parabola's residuals about its least-squares line span its sagitta. The line is fitted to points even along
    // the diagonal, not along the face: weights tilt by 4 sagitta / width = 4 %, which adds its square.
    EXPECT_NEAR(s.straightness_mm, std::abs(sagitta), 0.003 * std::abs(sagitta));
    EXPECT_NEAR(s.angle_deg, 124.0, 1e-9);
    EXPECT_NEAR(s.drop_mm, 16.0, 1e-9);
    EXPECT_NEAR(s.departure_mm, 2.0 / 3.0 * sagitta, 0.002 * std::abs(sagitta));  // mean of a parabola
    EXPECT_NEAR(truth.stations[60].straightness_mm, 0.0, 1e-9);
  }
}

TEST(Truth, AngleDriftReachesItsSizeInTheMiddle) {
  BodySpec spec = test::plain_bevelled();
  DefectSpec drift;
  drift.kind = DefectKind::angle_drift;
  drift.size = 1.7;
  drift.from_mm = 150.0;
  drift.to_mm = 250.0;
  spec.defects = {drift};
  const Truth truth = truth_of(test::made(spec), Transform::Identity());
  EXPECT_NEAR(truth.stations[200].angle_deg, 125.7, 1e-9);
  EXPECT_NEAR(truth.stations[175].angle_deg, 124.85, 1e-9);  // raised cosine: half at a quarter
  EXPECT_NEAR(truth.stations[140].angle_deg, 124.0, 1e-9);
  EXPECT_NEAR(truth.stations[200].drop_mm, 16.0, 1e-9);
}

// Widths and depths by brute force from points of the floor and wall, on a leaning side and a domed top.
TEST(Truth, ChannelsAreCutAsTheirDefinitionsSay) {
  BodySpec spec = test::rich();
  spec.defects.clear();
  const Body body = test::made(spec);
  const Truth truth = truth_of(body, Transform::Identity());
  int looked_at = 0;
  for (const double station : {60.0, 250.0, 300.0, 400.0, 700.0, 900.0}) {
    const Section section = body.section(station);
    for (const SectionPiece& piece : section.pieces()) {
      if (piece.label.face != BodyFace::floor && piece.label.face != BodyFace::wall) continue;
      const auto c = static_cast<std::size_t>(piece.label.channel), k = static_cast<std::size_t>(piece.label.step);
      const ChannelSpec& channel = spec.channels[c];
      const bool from_side = channel.corner == BodyCorner::side_bevel;
      const Vector2 origin = channel.corner == BodyCorner::top_side    ? section.corner
                             : channel.corner == BodyCorner::top_bevel ? section.upper_edge
                                                                       : section.lower_edge;
      const Vector2 p = section.out_up(0.5 * (piece.u_from + piece.u_to), piece.curve);
      double depth = 0.0, width = 0.0;
      if (from_side) {
        const Vector2 square{section.down.y(), -section.down.x()};
        depth = (p - origin).dot(square);
        width = (p - origin).dot(section.down);
      } else {
        // Depth from the sphere of the top; width to where the wall, carried up, meets the sphere.
        const Vector3 centre(0.0, 0.0, -4500.0);
        depth = 4500.0 - (section.to_body(p) - centre).norm();
        Vector2 q = section.out_up(piece.u_from, piece.curve);
        const Vector2 up_wall = (section.out_up(piece.u_to, piece.curve) - q).normalized();
        for (int i = 0; i < 20; ++i) q += up_wall * (4500.0 - (section.to_body(q) - centre).norm());
        width = (q - origin).norm();
      }
      const TrueStep& step = truth.stations[static_cast<std::size_t>(station)].channels[c][k];
      EXPECT_TRUE(step.present);
      // The ledge rides on the chord of the dome over its width: w^2 / 8 R = 0.0003 mm. The section does not hold the
      // sphere's centre: where that lies up to 120 mm beside it, depth in the section and depth square to the sphere
      // differ by (120 / 4500)^2 / 2 of 5.85 mm: 0.0021 mm.
      if (piece.label.face == BodyFace::floor) {
        EXPECT_NEAR(depth, channel.steps[k].depth_mm, from_side ? 1e-9 : 0.0025);
        EXPECT_NEAR(step.depth_mm, channel.steps[k].depth_mm, 1e-12);
      } else {
        EXPECT_NEAR(width, channel.steps[k].width_mm, from_side ? 1e-9 : 0.0005);
        EXPECT_NEAR(step.width_mm, channel.steps[k].width_mm, 1e-12);
      }
      ++looked_at;
    }
  }
  EXPECT_GE(looked_at, 20);
}

TEST(Truth, ChannelDefectsAndDistancesToEnds) {
  BodySpec spec = test::plain_bevelled(400.0);
  spec.bevel->from_mm = 150.0;
  spec.bevel->to_mm = 390.0;
  spec.channels = {test::two_step_channel(BodyCorner::top_side)};
  spec.channels[0].from_mm = 10.0;
  spec.channels[0].to_mm = 390.0;
  DefectSpec shallow;
  shallow.kind = DefectKind::channel_depth;
  shallow.size = -0.43;
  shallow.from_mm = 20.0;
  shallow.to_mm = 61.0;
  spec.defects = {shallow};
  const Truth truth = truth_of(test::made(spec), Transform::Identity());
  auto step = [&](std::size_t station, std::size_t k) { return truth.stations[station].channels[0][k]; };
  EXPECT_NEAR(step(40, 0).depth_mm, 5.42, 1e-9);
  EXPECT_NEAR(step(80, 0).depth_mm, 5.85, 1e-9);
  EXPECT_NEAR(step(40, 1).depth_mm, 1.65, 1e-9);
  // Distances count from the last whole place of the half-millimetre grid.
  EXPECT_NEAR(step(40, 0).from_end_mm, 30.0, 0.51);
  EXPECT_NEAR(step(20, 1).from_end_mm, 10.0, 0.51);
  // Past its end the cutter's circle of 6 mm leaves the wood at 1.85 mm after sqrt(36 - 4.15^2) = 4.33 mm.
  EXPECT_TRUE(step(6, 0).present);
  EXPECT_FALSE(step(5, 0).present);
  EXPECT_NEAR(step(7, 0).width_mm, 1.85 - 6.0 + std::sqrt(36.0 - 9.0), 1e-9);
  // On the bevel's fullest part nothing of it is left.
  EXPECT_FALSE(step(280, 0).present);
  EXPECT_FALSE(step(280, 1).present);
  EXPECT_EQ(step(280, 0).from_end_mm, 0.0);
}

TEST(Truth, IsFoundByPlaceInAnyPose) {
  const Body body = test::made(test::rich());
  const Transform T = Transform(Eigen::Translation3d(10, 20, 30) * Eigen::AngleAxisd(1.0, Vector3::UnitY()));
  const Truth truth = truth_of(body, T);
  const Section section = body.section(273.4);
  double away = 0.0;
  const TrueStation here = truth_at(truth, T * (body.point(section, section.corner) + Vector3(0, 0, 0.3)), &away);
  EXPECT_NEAR(here.station_mm, 273.4, 0.02);  // chords of 1 mm
  EXPECT_NEAR(away, 0.3, 0.02);
  EXPECT_NEAR(here.angle_deg, degrees_from_radians(section.angle_rad), 0.005);
  EXPECT_NEAR(here.drop_mm, section.drop_mm, 0.01);
}

}  // namespace
}  // namespace rimwright
