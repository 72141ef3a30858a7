#include "made_inspection.h"

#include <algorithm>
#include <cmath>
#include <random>

#include "judge/compare.h"
#include "judge/findings.h"

namespace rimwright {
namespace {

constexpr double pi = 3.14159265358979323846;
constexpr double radius_mm = 230.0;
constexpr double lean = 56.0 * pi / 180.0;
constexpr double full_drop_mm = 16.0;

Measured measured_of(double value, double u) {
  Measured measured;
  measured.value = value;
  measured.u(UncertaintySource::point_noise) = u * 0.7;
  measured.u(UncertaintySource::reference_faces) = u * 0.5;
  measured.u(UncertaintySource::face_form) = u * 0.4;
  measured.u(UncertaintySource::scale) = u * 0.3;
  measured.points_used = 400;
  return measured;
}

Plan made_plan(LengthUnit units) {
  Plan plan;
  plan.instrument = "Octave mandola (invented)";
  plan.units = units;
  plan.bevel = PlannedBevel{};
  plan.bevel->angle_deg = {124.0, {-1.0, 1.0}};
  plan.bevel->drop_mm = {full_drop_mm, {-1.0, 1.0}};
  plan.bevel->straightness_mm = 0.20;
  plan.bevel->waviness = BandLimit{{10.0, 80.0}, 0.15};
  plan.bevel->edge_fairness = BandLimit{{10.0, 80.0}, 0.20};
  PlannedBlock block;
  block.top_mm = 42.0;
  block.side_mm = 24.0;
  block.keep_mm = 3.0;
  plan.block = block;
  PlannedChannel edge;
  edge.name = "edge binding";
  edge.corner = ChannelCorner::top_side;
  edge.strips = {{"plum binding", 1.8, 6.0, false}, {"pear line", 0.6, 1.8, false}};
  edge.glue_mm = 0.05;
  edge.proud_mm = 0.2;
  edge.width_tolerance_mm = edge.depth_tolerance_mm = {-0.15, 0.15};
  edge.steps = {{1.85, 5.85, 0, 0}, {2.5, 1.65, 1, 1}};
  PlannedChannel upper = edge;
  upper.name = "upper purfling";
  upper.corner = ChannelCorner::top_bevel;
  upper.strips = {{"maple line", 1.5, 1.8, false}};
  upper.steps = {{1.55, 1.65, 0, 0}};
  plan.channels = {edge, upper};
  return plan;
}

struct Made {
  const MadeSettings& settings;
  std::mt19937_64 random{7300};
  std::normal_distribution<double> normal;
  double first_mm, last_mm, run_out_mm = 60.0;

  explicit Made(const MadeSettings& s) : settings(s), first_mm(50.0), last_mm(s.rim_mm - 50.0) {}

  double drop_at(double s) const {
    if (s <= first_mm || s >= last_mm) return 0.0;
    const double from_end = std::min(s - first_mm, last_mm - s);
    return full_drop_mm * (from_end < run_out_mm ? 0.5 - 0.5 * std::cos(pi * from_end / run_out_mm) : 1.0);
  }
  static double bump(double d, double half) { return std::abs(d) < half ? 0.5 + 0.5 * std::cos(pi * d / half) : 0.0; }
  double deviation_at(double s, double across) const {
    if (!settings.with_defects) return 0.02 * std::sin(s / 9.0);
    const double middle = drop_at(s) / std::cos(lean) / 2;
    return 0.45 * bump(s - 190.0, 9.0) * bump(across - middle, 7.0) -
           0.5 * bump(s - 262.0, 8.0) * bump(across - middle, 6.0) + 0.03 * std::sin(s / 9.0);
  }
  double edge_depth_at(double s) const { return settings.with_defects && s > 20 && s < 41 ? 5.85 - 0.43 : 5.85; }
  double noise(double sigma) { return sigma * normal(random); }
  Vector2 plan_of(double s, double out) const {
    const double a = (s - settings.rim_mm / 2) / radius_mm;
    return {(radius_mm + out) * std::sin(a), (radius_mm + out) * std::cos(a)};
  }
  Vector3 scan_of(double s, double out, double up) const {
    const Vector2 p = plan_of(s, out);
    return {p.x() + 100.0, -up + 40.0, p.y() - 20.0};
  }
};

// Points along a polyline, 0.35 mm apart, with noise square to it.
void add_points(Made& made, SectionPicture& section, const Vector2& from, const Vector2& to) {
  const Vector2 d = (to - from).normalized();
  const double length = (to - from).norm();
  for (double t = 0; t < length; t += 0.35) {
    const Vector2 p = from + d * t + Vector2(-d.y(), d.x()) * made.noise(made.settings.noise_mm);
    section.points_out_up_mm.emplace_back(p.cast<float>());
  }
}

void add_section(Made& made, Measures& measures, double s) {
  SectionPicture section;
  section.station_mm = s;
  const double drop = made.drop_at(s), reach = drop * std::tan(lean);
  std::vector<std::pair<FaceKind, Vector2>> corners;  // each face ends at the next corner
  if (drop > 1.0) {
    corners = {{FaceKind::side, {0, -30}},
               {FaceKind::bevel, {0, -drop}},
               {FaceKind::wall, {-reach, 0}},
               {FaceKind::floor, {-reach, -1.65}},
               {FaceKind::wall, {-reach - 1.55, -1.65}},
               {FaceKind::top, {-reach - 1.55, 0}}};
    // The purfling's ledge starts at the upper edge, which it has eaten.
    corners[2] = {FaceKind::floor, {-reach + 1.65 * std::tan(lean), -1.65}};
    corners.erase(corners.begin() + 3);
  } else {
    const double depth = made.edge_depth_at(s);
    corners = {{FaceKind::side, {0, -30}},        {FaceKind::floor, {0, -depth}},  {FaceKind::wall, {-1.85, -depth}},
               {FaceKind::floor, {-1.85, -1.65}}, {FaceKind::wall, {-2.5, -1.65}}, {FaceKind::top, {-2.5, 0}}};
  }
  for (std::size_t i = 0; i < corners.size(); ++i) {
    const Vector2 from = corners[i].second;
    const Vector2 to = i + 1 < corners.size() ? corners[i + 1].second : Vector2(-48.0, 0.0);
    add_points(made, section, from, to);
    section.faces.push_back({corners[i].first, from, to});
  }
  measures.sections.push_back(std::move(section));
}

void add_map(Made& made, Measures& measures) {
  UnrolledMap& map = measures.map;
  map.first_station_mm = made.first_mm;
  map.columns = static_cast<std::size_t>(made.last_mm - made.first_mm) + 1;
  map.rows = 60;
  map.deviation_mm.assign(map.columns * map.rows, std::numeric_limits<float>::quiet_NaN());
  map.deviation_u_mm = map.deviation_mm;
  for (std::size_t column = 0; column < map.columns; ++column) {
    const double s = map.first_station_mm + static_cast<double>(column);
    const double width = made.drop_at(s) / std::cos(lean), start = (full_drop_mm - made.drop_at(s)) / std::cos(lean);
    for (std::size_t row = 0; row < map.rows; ++row) {
      const double across = static_cast<double>(row) * map.across_step_mm - start;
      if (across < 0 || across > width) continue;
      const double deviation = made.deviation_at(s, across) + made.noise(0.01);
      map.deviation_mm[row * map.columns + column] = static_cast<float>(deviation);
      map.deviation_u_mm[row * map.columns + column] = 0.01F;
      for (int k = 0; k < 4; ++k) {
        const double down = made.drop_at(s) - (across + 0.12 * k) * std::cos(lean);
        const double in = (across + 0.12 * k) * std::sin(lean);
        measures.heat_points.push_back({made.scan_of(s + 0.2 * k, -in, -down).cast<float>(),
                                        static_cast<float>(deviation), static_cast<float>(s)});
      }
    }
  }
  for (double s = 0; s < made.settings.rim_mm; s += 0.8) {
    const double drop = made.drop_at(s), reach = drop * std::tan(lean);
    const float off = std::numeric_limits<float>::quiet_NaN();
    for (double d = drop; d < 30; d += 0.8)
      measures.heat_points.push_back({made.scan_of(s, 0, -d).cast<float>(), off, static_cast<float>(s)});
    for (double d = reach; d < 48; d += 0.8)
      measures.heat_points.push_back({made.scan_of(s, -d, 0).cast<float>(), off, static_cast<float>(s)});
  }
}

void add_stations(Made& made, Measures& measures) {
  ChannelMeasures edge, upper;
  upper.planned_channel = 1;
  const double u_depth = made.settings.undecided_depths ? 0.12 : 0.008;
  for (double s = 0.0; s <= made.settings.rim_mm; s += 1.0) {
    measures.rim_station_mm.push_back(s);
    measures.rim_plan_mm.push_back(made.plan_of(s, 0));
    measures.rim_scan_mm.push_back(made.scan_of(s, 0, 0));
    const Vector3 at = made.scan_of(s, 0, 0);
    const double drop = made.drop_at(s);
    if (drop > 1.0) {
      double high = 0, low = 0;
      for (double across = 0; across < drop / std::cos(lean); across += 0.5) {
        high = std::max(high, made.deviation_at(s, across));
        low = std::min(low, made.deviation_at(s, across));
      }
      BevelStation bevel;
      bevel.station_mm = s;
      bevel.at_scan_mm = at;
      const double growing = full_drop_mm / drop;
      bevel.angle_deg = measured_of(124.1 + 0.15 * std::sin(s / 40) + made.noise(0.02 * growing), 0.03 * growing);
      bevel.drop_mm = measured_of(drop + 0.05 + made.noise(0.01), 0.02);
      bevel.top_reach_mm = measured_of(drop * std::tan(lean) + made.noise(0.02), 0.03);
      bevel.straightness_mm = measured_of(std::max(0.03, high - low) + made.noise(0.004), 0.01);
      bevel.crown_mm = high + low;
      if (s > 300 && s < 306) {
        bevel.straightness_mm = Measured::not_measured(RefusalReason::not_seen, "a clamp hides the face", "move it");
      }
      measures.bevel.stations.push_back(bevel);
      BlockStation block;
      block.station_mm = s;
      block.at_scan_mm = at;
      block.top_left_mm = measured_of(42.0 - drop * std::tan(lean), 0.05);
      block.side_left_mm = measured_of(24.0 - drop, 0.04);
      measures.block.push_back(block);
      ChannelStation station;
      station.station_mm = s;
      station.at_scan_mm = at;
      station.steps = {{measured_of(1.55 + made.noise(0.006), 0.01), measured_of(1.66 + made.noise(0.005), 0.008)}};
      upper.stations.push_back(station);
    } else {
      ChannelStation station;
      station.station_mm = s;
      station.at_scan_mm = at;
      const double undecided = made.settings.undecided_depths ? 0.08 : 0.0;
      station.steps = {{measured_of(1.86 + made.noise(0.006), 0.01),
                        measured_of(made.edge_depth_at(s) + undecided + made.noise(0.005), u_depth)},
                       {measured_of(2.52 + made.noise(0.006), 0.01), measured_of(1.64 + made.noise(0.005), 0.008)}};
      edge.stations.push_back(station);
    }
    add_section(made, measures, s);
  }
  measures.channels = {edge, upper};
}

}  // namespace

Inspection made_inspection(const MadeSettings& settings) {
  Inspection inspection;
  inspection.plan = made_plan(settings.units);
  Measures& measures = inspection.measures;
  measures.bevel_planned = true;
  Made made(settings);
  add_stations(made, measures);
  add_map(made, measures);
  measures.bevel.waviness_mm = measured_of(settings.with_defects ? 0.11 : 0.06, 0.01);
  measures.bevel.lower_edge_fairness_mm = measured_of(0.08, 0.01);
  measures.bevel.upper_edge_fairness_mm =
      Measured::not_measured(RefusalReason::not_separable, "the purfling has eaten the upper edge", "");
  measures.scan.points = 1'482'311;
  measures.scan.points_near_rim = 604'220;
  measures.scan.noise_mm = settings.noise_mm;
  measures.scan.correlated_noise_mm = 0.006;
  measures.scan.correlation_length_mm = 2.4;
  measures.scan.spacing_mm = 0.2;
  measures.scan.rim_length_mm = settings.rim_mm;
  measures.scan.dome_radius_mm = std::numeric_limits<double>::infinity();
  measures.scan.seen_share = 0.99;
  if (settings.with_defects) {
    measures.gaps.push_back(
        {300, 306, "bevel", {RefusalReason::not_seen, "a clamp hides the face", "move it and scan again"}});
  }
  inspection.scale = {1.0, 0.0005, "units given as mm"};
  inspection.counts.points_in_file = 1'490'000;
  inspection.counts.far_outliers = 2'980;
  inspection.judged = compare(inspection.plan, measures);
  inspection.findings = find_and_advise(inspection.plan, measures, inspection.judged);
  inspection.verdict = overall_verdict(inspection.findings, inspection.judged);
  return inspection;
}

ReportContext made_context() {
  ReportContext context;
  context.version = "0.1.0";
  context.made_on = "2026-07-04";
  context.scan_name = "mandola-evening.ply";
  context.scan_sha256 = std::string(64, 'a');
  context.scan_bytes = 41'000'000;
  context.plan_name = "mandola.yaml";
  context.plan_sha256 = std::string(64, 'b');
  return context;
}

}  // namespace rimwright
