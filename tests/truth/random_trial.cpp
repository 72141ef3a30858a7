#include "random_trial.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "simulate/random.h"

namespace rimwright {

namespace {

double log_uniform(Random& random, double from, double to) { return from * std::pow(to / from, random.uniform()); }
bool one_in(Random& random, double n) { return random.uniform() < 1.0 / n; }

OutlineSpec random_outline(Random& random) {
  OutlineSpec outline;
  double left = random.uniform(250.0, 350.0), curvature = random.uniform(1.0 / 400, 1.0 / 150);
  while (left > 60.0) {
    const double length = std::min(left, random.uniform(80.0, 160.0));
    // Convex as a rule; one piece in four leads into a waist.
    const double next = one_in(random, 4.0) ? -random.uniform(0.0, 1.0 / 250) : random.uniform(1.0 / 400, 1.0 / 150);
    outline.pieces.push_back({length, curvature, next});
    curvature = next;
    left -= length;
  }
  return outline;
}

double length_of(const OutlineSpec& outline) {
  double length = 0.0;
  for (const auto& piece : outline.pieces) length += piece.length_mm;
  return length;
}

void add_channels(Random& random, BodySpec& body) {
  const auto steps = [&](double widest, double deepest) {
    std::vector<StepSpec> list{{random.uniform(1.6, widest), random.uniform(0.6, 1.0) * deepest}};
    if (one_in(random, 2.0))
      list.push_back({list[0].width_mm + random.uniform(0.5, 1.2), list[0].depth_mm * random.uniform(0.3, 0.6)});
    return list;
  };
  const double radius = one_in(random, 2.0) ? 0.0 : random.uniform(0.1, 0.4);
  if (one_in(random, 2.0)) body.channels.push_back({"edge", BodyCorner::top_side, steps(2.5, 7.0), radius, 12.0});
  if (body.bevel && one_in(random, 2.0))
    body.channels.push_back(
        {"lower", BodyCorner::side_bevel, {{random.uniform(1.4, 2.2), random.uniform(1.2, 2.0)}}, radius, 12.0});
  if (body.bevel && one_in(random, 2.0))
    body.channels.push_back(
        {"upper", BodyCorner::top_bevel, {{random.uniform(1.8, 2.6), random.uniform(1.2, 2.0)}}, radius, 12.0});
}

void add_defects(Random& random, BodySpec& body, double length) {
  const auto count = random.below(4);
  const auto sign = [&] { return one_in(random, 2.0) ? -1.0 : 1.0; };
  for (std::uint64_t i = 0; i < count; ++i) {
    DefectSpec defect;
    defect.from_mm = random.uniform(0.1, 0.5) * length;
    defect.to_mm = defect.from_mm + random.uniform(40.0, 0.45 * length);
    defect.to_mm = std::min(defect.to_mm, 0.95 * length);
    defect.at_mm = random.uniform(0.35, 0.65) * length;
    defect.length_mm = random.uniform(25.0, 60.0);
    switch (random.below(8)) {
      case 0: defect.kind = DefectKind::angle_drift, defect.size = sign() * random.uniform(0.5, 2.5); break;
      case 1:
        defect.kind = DefectKind::wave, defect.size = random.uniform(0.1, 0.5);
        defect.wavelength_mm = random.uniform(20.0, 60.0);
        break;
      case 2: defect.kind = DefectKind::crown, defect.size = sign() * random.uniform(0.1, 0.5); break;
      case 3:
        defect.kind = one_in(random, 2.0) ? DefectKind::hump : DefectKind::hollow;
        defect.size = random.uniform(0.2, 0.6);
        defect.width_mm = random.uniform(8.0, 16.0);
        break;
      case 4:
        defect.kind = DefectKind::side_wave, defect.size = random.uniform(0.1, 0.4);
        defect.wavelength_mm = random.uniform(30.0, 80.0);
        break;
      case 5:
        defect.kind = one_in(random, 2.0) ? DefectKind::lower_edge_wander : DefectKind::upper_edge_wander;
        defect.size = random.uniform(0.2, 0.6);
        defect.wavelength_mm = random.uniform(25.0, 60.0);
        break;
      default:
        if (body.channels.empty()) continue;
        defect.kind = one_in(random, 2.0) ? DefectKind::channel_depth : DefectKind::channel_width;
        defect.size = sign() * random.uniform(0.1, 0.5);
        defect.channel = static_cast<int>(random.below(body.channels.size()));
    }
    if (!body.bevel && defect.kind != DefectKind::side_wave && defect.kind != DefectKind::channel_depth &&
        defect.kind != DefectKind::channel_width)
      continue;
    // A defect that cannot stand together with the rest is left out rather than the whole body.
    body.defects.push_back(defect);
    if (!Body::from(body)) body.defects.pop_back();
  }
}

// Off by up to 1.3 tolerances, so that verdicts of every kind have something to get wrong.
Plan random_plan(Random& random, const BodySpec& body) {
  Plan plan;
  plan.instrument = "campaign";
  const auto off = [&](double tolerance) { return tolerance * random.uniform(-1.3, 1.3); };
  if (body.bevel) {
    PlannedBevel bevel;
    const double angle = random.uniform(0.3, 1.0), drop = random.uniform(0.3, 1.0);
    bevel.angle_deg = {body.bevel->angle_deg + off(angle), {-angle, angle}};
    bevel.drop_mm = {body.bevel->drop_mm + off(drop), {-drop, drop}};
    bevel.straightness_mm = 0.20;
    bevel.waviness = BandLimit{{10.0, 80.0}, 0.15};
    bevel.edge_fairness = BandLimit{{10.0, 80.0}, 0.20};
    plan.bevel = bevel;
  }
  for (const auto& channel : body.channels) {
    PlannedChannel planned;
    planned.name = channel.name;
    planned.corner = channel.corner == BodyCorner::top_side    ? ChannelCorner::top_side
                     : channel.corner == BodyCorner::top_bevel ? ChannelCorner::top_bevel
                                                               : ChannelCorner::side_bevel;
    planned.width_tolerance_mm = planned.depth_tolerance_mm = {-0.15, 0.15};
    const double width = off(0.15), depth = off(0.15);
    for (const auto& step : channel.steps) planned.steps.push_back({step.width_mm + width, step.depth_mm + depth});
    plan.channels.push_back(planned);
  }
  return plan;
}

void choose_scanner(Random& random, Trial& trial) {
  ScannerSpec& scanner = trial.scanner;
  scanner.density_per_mm2 = log_uniform(random, 1.0, 60.0);
  scanner.far_density_per_mm2 = std::min(scanner.density_per_mm2, 6.0);
  // The two scanners that builders have: one of hundredths, one of tenths; and what lies between.
  scanner.normal_noise_mm = one_in(random, 3.0) ? log_uniform(random, 0.01, 1.5) : log_uniform(random, 0.01, 0.12);
  scanner.sideways_noise_mm = 0.3 * scanner.normal_noise_mm;
  if (one_in(random, 2.5)) {
    scanner.correlated_noise_mm = scanner.normal_noise_mm * random.uniform(0.15, 0.6);
    scanner.correlation_length_mm = random.uniform(1.0, 15.0);
  }
  if (one_in(random, 4.0)) scanner.warp_mm = random.uniform(0.02, 0.1);
  scanner.mixed_share = one_in(random, 3.0) ? 0.01 : 0.0;
  scanner.holes = one_in(random, 3.0) ? 1 + static_cast<int>(random.below(6)) : 0;
  scanner.table = one_in(random, 2.0);
  scanner.random_pose = true;
  if (one_in(random, 4.0)) {
    trial.scale_u = random.uniform(0.0005, 0.005);
    trial.scale_error = trial.scale_u * random.normal();
  }
  trial.states_sigma = one_in(random, 6.0);
  // No scan shows a slow warp by itself: a scanner with a certificate states it, another one does not.
  trial.states_warp = trial.scanner.warp_mm > 0.0 && one_in(random, 2.0);
}

void name_conditions(Trial& trial) {
  const ScannerSpec& s = trial.scanner;
  const auto add = [&](const char* name) { trial.conditions.emplace_back(name); };
  const double noise = s.normal_noise_mm;
  add(noise < 0.03  ? "noise below 0.03"
      : noise < 0.1 ? "noise 0.03 to 0.1"
      : noise < 0.4 ? "noise 0.1 to 0.4"
                    : "noise above 0.4");
  const double density = s.density_per_mm2;
  add(density < 4.0 ? "density below 4" : density < 16.0 ? "density 4 to 16" : "density above 16");
  add(s.correlated_noise_mm == 0.0     ? "white noise"
      : s.correlation_length_mm <= 5.0 ? "correlated to 5 mm"
                                       : "correlated beyond 5 mm");
  if (s.warp_mm > 0.0) add(trial.states_warp ? "warp stated" : "warp unstated");
  if (trial.scale_u > 0.0) add("scale unsure");
  if (s.holes > 0) add("holes");
  if (s.mixed_share > 0.0) add("mixed points");
  if (trial.states_sigma) add("sigma stated");
  add(trial.body.top.dome_radius_mm > 0.0 ? "domed" : "flat");
  if (std::abs(trial.body.side.lean_deg) > 0.5) add("leaning side");
  if (trial.body.left_handed) add("left-handed");
  add(trial.body.defects.empty() ? "sound" : "with defects");
}

const char* name_of(DefectKind kind) {
  switch (kind) {
    case DefectKind::angle_drift: return "angle drift";
    case DefectKind::wave: return "wave";
    case DefectKind::side_wave: return "side wave";
    case DefectKind::lower_edge_wander: return "lower edge wander";
    case DefectKind::upper_edge_wander: return "upper edge wander";
    case DefectKind::crown: return "crown";
    case DefectKind::hump: return "hump";
    case DefectKind::hollow: return "hollow";
    case DefectKind::tear_out: return "tear-out";
    case DefectKind::channel_depth: return "channel depth";
    case DefectKind::channel_width: return "channel width";
  }
  return "";
}

}  // namespace

Trial random_trial(std::uint64_t seed) {
  Random random(seed, 17);
  Trial trial;
  trial.seed = seed;
  BodySpec& body = trial.body;
  body.outline = random_outline(random);
  body.left_handed = one_in(random, 4.0);
  const double length = length_of(body.outline);
  if (one_in(random, 1.5)) {
    body.top.dome_radius_mm = random.uniform(4500.0, 9000.0);
    body.top.dome_centre_mm = {random.uniform(-150.0, 150.0), random.uniform(0.0, 250.0)};
  }
  if (one_in(random, 1.5)) body.side.lean_deg = random.uniform(-1.5, 2.0);
  if (!one_in(random, 8.0)) {
    BevelSpec bevel;
    bevel.angle_deg = random.uniform(114.0, 134.0);
    bevel.drop_mm = random.uniform(8.0, 18.0);
    bevel.from_mm = random.uniform(10.0, 40.0);
    bevel.to_mm = length - random.uniform(10.0, 40.0);
    bevel.start_run_out_mm = random.uniform(35.0, 70.0);
    bevel.end_run_out_mm = random.uniform(35.0, 70.0);
    bevel.run_out = one_in(random, 4.0) ? RunOutShape::circular : RunOutShape::raised_cosine;
    body.bevel = bevel;
  }
  add_channels(random, body);
  if (!body.bevel && body.channels.empty())
    body.channels.push_back({"edge", BodyCorner::top_side, {{1.9, 6.0}}, 0.0, 12.0});
  add_defects(random, body, length);
  trial.plan = random_plan(random, body);
  choose_scanner(random, trial);
  name_conditions(trial);
  return trial;
}

std::string describe(const Trial& trial) {
  std::string text;
  char piece[160];
  const auto add = [&](auto... arguments) {
    std::snprintf(piece, sizeof piece, arguments...);
    text += piece;
  };
  const ScannerSpec& s = trial.scanner;
  add("%.1f points/mm2, noise %.3f", s.density_per_mm2, s.normal_noise_mm);
  if (s.correlated_noise_mm > 0.0) add(", correlated %.3f over %.1f", s.correlated_noise_mm, s.correlation_length_mm);
  if (s.warp_mm > 0.0) add(", warp %.3f%s", s.warp_mm, trial.states_warp ? " stated" : "");
  if (trial.scale_u > 0.0) add(", scale off %.5f of %.5f", trial.scale_error, trial.scale_u);
  if (s.holes > 0) add(", %d holes", s.holes);
  if (s.mixed_share > 0.0) add("%s", ", mixed points");
  if (trial.states_sigma) add("%s", ", sigma stated");
  if (const auto& bevel = trial.body.bevel) add("; bevel %.1f deg, drop %.1f", bevel->angle_deg, bevel->drop_mm);
  add("; dome %.0f, lean %.2f, %zu channels", trial.body.top.dome_radius_mm, trial.body.side.lean_deg,
      trial.body.channels.size());
  for (const auto& d : trial.body.defects) {
    const bool patch = d.kind == DefectKind::hump || d.kind == DefectKind::hollow;
    add("; %s %.2f from %.0f to %.0f", name_of(d.kind), d.size, patch ? d.at_mm - 0.5 * d.length_mm : d.from_mm,
        patch ? d.at_mm + 0.5 * d.length_mm : d.to_mm);
  }
  return text;
}

Outcome<SimulatedScan> scan_of(const Trial& trial, const Body& body, Workers& workers) {
  auto scan = scan_cloud(body, trial.scanner, trial.seed, &workers);
  if (!scan) return scan;
  Cloud& cloud = scan->cloud;
  cloud.scale.relative_standard_u = trial.scale_u;
  if (trial.states_warp) {
    cloud.capture_error.warp_mm = trial.scanner.warp_mm;
    cloud.capture_error.warp_length_mm = trial.scanner.warp_length_mm;
  }
  const double factor = 1.0 + trial.scale_error;
  cloud.origin_mm *= factor;
  for (auto* axis : {&cloud.x, &cloud.y, &cloud.z})
    for (float& value : *axis) value = static_cast<float>(value * factor);
  for (auto& station : scan->truth.stations) station.at_scan_mm *= factor;
  if (trial.states_sigma) cloud.sigma_mm.assign(cloud.size(), static_cast<float>(trial.scanner.normal_noise_mm));
  return scan;
}

}  // namespace rimwright
