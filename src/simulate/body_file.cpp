#include "simulate/body_file.h"

#include "core/small_file.h"
#include "simulate/strict_yaml.h"

namespace rimwright {

namespace {

constexpr double far_mm = 20000.0;
constexpr std::size_t largest_file_bytes = 1u << 20;

OutlineSpec read_outline(const YAML::Node& node) {
  OutlineSpec outline;
  StrictMap map(node, "outline");
  map.read("closed", outline.closed);
  for (const YAML::Node& item : map.list("points", 400)) {
    const std::vector<double> xy = numbers_of(item, "an outline point", 2, -far_mm, far_mm);
    outline.points_mm.emplace_back(xy[0], xy[1]);
  }
  for (const YAML::Node& item : map.list("pieces", 200)) {
    StrictMap piece(item, "outline piece");
    OutlinePiece read;
    piece.read_required("length", read.length_mm, 0.1, far_mm);
    // radius: one number, or [start, end]; 0 = straight; negative = hollow (a waist).
    const YAML::Node radius = piece.required("radius");
    auto curvature = [](double r) { return r == 0.0 ? 0.0 : 1.0 / r; };
    if (radius.IsSequence()) {
      const std::vector<double> ends = numbers_of(radius, "radius", 2, -1e6, 1e6);
      read.start_curvature_per_mm = curvature(ends[0]);
      read.end_curvature_per_mm = curvature(ends[1]);
    } else {
      read.start_curvature_per_mm = read.end_curvature_per_mm = curvature(number_of(radius, "radius", -1e6, 1e6));
    }
    piece.finish();
    outline.pieces.push_back(read);
  }
  map.finish();
  return outline;
}

BevelSpec read_bevel(const YAML::Node& node) {
  BevelSpec bevel;
  StrictMap map(node, "bevel");
  map.read_required("angle", bevel.angle_deg, 91.0, 179.0);
  map.read_required("drop", bevel.drop_mm, 0.1, 200.0);
  map.read_required("from", bevel.from_mm, 0.0, far_mm);
  map.read_required("to", bevel.to_mm, 0.0, far_mm);
  const YAML::Node run_out = map.optional("run_out");
  if (run_out.IsDefined()) {
    StrictMap ends(run_out, "run_out");
    bevel.run_out = static_cast<RunOutShape>(ends.choice("shape", {"raised-cosine", "linear", "circular"}, 0));
    const YAML::Node length = ends.required("length");
    if (length.IsSequence()) {
      const std::vector<double> both = numbers_of(length, "length", 2, 0.0, far_mm);
      bevel.start_run_out_mm = both[0];
      bevel.end_run_out_mm = both[1];
    } else {
      bevel.start_run_out_mm = bevel.end_run_out_mm = number_of(length, "length", 0.0, far_mm);
    }
    ends.finish();
  }
  map.finish();
  return bevel;
}

ChannelSpec read_channel(const YAML::Node& node) {
  ChannelSpec channel;
  StrictMap map(node, "channel");
  map.read_required("name", channel.name);
  (void)map.required("corner");
  channel.corner = static_cast<BodyCorner>(map.choice("corner", {"top-side", "top-bevel", "side-bevel"}, 0));
  for (const YAML::Node& item : map.list("steps", 6)) {
    StrictMap step(item, "step");
    StepSpec read;
    step.read_required("width", read.width_mm, 0.1, 20.0);
    step.read_required("depth", read.depth_mm, 0.1, 20.0);
    step.finish();
    channel.steps.push_back(read);
  }
  map.read("corner_radius", channel.corner_radius_mm, 0.0, 3.0);
  map.read("end_radius", channel.end_radius_mm, 0.5, 100.0);
  for (const auto& [key, value] : {std::pair("from", &channel.from_mm), std::pair("to", &channel.to_mm)}) {
    if (!map.has(key)) continue;
    value->emplace();
    map.read(key, **value, 0.0, far_mm);
  }
  map.finish();
  return channel;
}

DefectSpec read_defect(const YAML::Node& node, const std::vector<ChannelSpec>& channels) {
  DefectSpec defect;
  StrictMap map(node, "defect");
  (void)map.required("kind");
  defect.kind =
      static_cast<DefectKind>(map.choice("kind",
                                         {"angle-drift", "wave", "side-wave", "lower-edge-wander", "upper-edge-wander",
                                          "crown", "hump", "hollow", "tear-out", "channel-depth", "channel-width"},
                                         0));
  map.read_required("size", defect.size, -20.0, 20.0);
  if (defect.kind == DefectKind::hump || defect.kind == DefectKind::hollow || defect.kind == DefectKind::tear_out) {
    map.read_required("at", defect.at_mm, 0.0, far_mm);
    map.read_required("length", defect.length_mm, 0.5, 1000.0);
    map.read_required("width", defect.width_mm, 0.5, 1000.0);
    map.read("across", defect.across, -100.0, 400.0);
    if (defect.kind == DefectKind::tear_out) {
      defect.face = static_cast<BodyFace>(map.choice("face", {"side", "top", "bevel"}, 2));
    }
  } else {
    map.read_required("from", defect.from_mm, 0.0, far_mm);
    map.read_required("to", defect.to_mm, 0.0, far_mm);
    if (defect.kind != DefectKind::angle_drift) map.read("ramp", defect.ramp_mm, 0.0, 1000.0);
  }
  if (defect.kind == DefectKind::wave || defect.kind == DefectKind::side_wave ||
      defect.kind == DefectKind::lower_edge_wander || defect.kind == DefectKind::upper_edge_wander) {
    map.read_required("wavelength", defect.wavelength_mm, 4.0, far_mm);
  }
  if (defect.kind == DefectKind::channel_depth || defect.kind == DefectKind::channel_width) {
    std::string name;
    map.read_required("channel", name);
    defect.channel = -1;
    for (std::size_t c = 0; c < channels.size(); ++c) {
      if (channels[c].name == name) defect.channel = static_cast<int>(c);
    }
    if (defect.channel < 0) refuse_at(map.required("channel"), "there is no channel '" + name + "'", "name one above");
    int step = 1;  // from the outside in, the first is the deepest
    map.read("step", step, 1, 6);
    defect.step = step - 1;
  }
  map.finish();
  return defect;
}

ScannerSpec read_scanner(const YAML::Node& node) {
  ScannerSpec spec;
  spec.random_pose = true;
  if (!node.IsDefined()) return spec;
  StrictMap map(node, "scan");
  map.read("density", spec.density_per_mm2, 0.001, 2000.0);
  map.read("far_density", spec.far_density_per_mm2, 0.0, 2000.0);
  map.read("dense_reach", spec.dense_reach_mm, 1.0, 1000.0);
  map.read("top_seen", spec.top_seen_mm, 1.0, 400.0);
  map.read("side_seen", spec.side_seen_mm, 1.0, 400.0);
  map.read("whole_top", spec.whole_top);
  map.read("from", spec.from_mm, 0.0, far_mm);
  map.read("to", spec.to_mm, 0.0, far_mm);
  map.read("normal_noise", spec.normal_noise_mm, 0.0, 20.0);
  map.read("sideways_noise", spec.sideways_noise_mm, 0.0, 20.0);
  map.read("correlated_noise", spec.correlated_noise_mm, 0.0, 20.0);
  map.read("correlation_length", spec.correlation_length_mm, 0.1, 1000.0);
  map.read("warp", spec.warp_mm, 0.0, 50.0);
  map.read("warp_length", spec.warp_length_mm, 10.0, 10000.0);
  map.read("outliers", spec.outlier_share, 0.0, 0.9);
  map.read("mixed", spec.mixed_share, 0.0, 0.9);
  map.read("holes", spec.holes, 0, 10000);
  map.read("hole_radius", spec.hole_radius_mm, 0.1, 200.0);
  map.read("table", spec.table);
  map.read("table_gap", spec.table_gap_mm, 0.0, 500.0);
  map.read("table_density", spec.table_density_per_mm2, 0.0, 50.0);
  for (const YAML::Node& item : map.list("clamps", 50)) {
    StrictMap clamp(item, "clamp");
    ClampSpec read;
    clamp.read_required("at", read.at_mm, 0.0, far_mm);
    clamp.read("along", read.along_mm, 1.0, 500.0);
    clamp.read("over_top", read.over_top_mm, 0.0, 400.0);
    clamp.read("down_side", read.down_side_mm, 0.0, 400.0);
    clamp.read("thickness", read.thickness_mm, 1.0, 200.0);
    clamp.finish();
    spec.clamps.push_back(read);
  }
  spec.random_pose = map.choice("pose", {"random", "body"}, 0) == 0;
  constexpr double units[] = {1.0, 10.0, 1000.0, 25.4};
  spec.mm_per_unit = units[map.choice("unit", {"mm", "cm", "m", "inch"}, 0)];
  map.read("normals", spec.normals);
  map.read("colours", spec.colours);
  map.finish();
  return spec;
}

PlanSketch read_plan(const YAML::Node& node) {
  PlanSketch plan;
  if (!node.IsDefined()) return plan;
  StrictMap map(node, "plan");
  map.read("bevel", plan.bevel);
  map.read("angle_tolerance", plan.angle_tolerance_deg, 0.01, 30.0);
  map.read("drop_tolerance", plan.drop_tolerance_mm, 0.01, 30.0);
  map.read("straightness", plan.straightness_mm, 0.01, 10.0);
  map.read("waviness_limit", plan.waviness_limit_mm, 0.01, 10.0);
  map.read("edge_fairness_limit", plan.edge_fairness_limit_mm, 0.01, 10.0);
  const YAML::Node band = map.optional("band");
  if (band.IsDefined()) {
    const std::vector<double> ends = numbers_of(band, "band", 2, 1.0, 2000.0);
    if (!(ends[0] < ends[1])) refuse_at(band, "band runs backwards", "give the shorter wavelength first");
    plan.band_mm = {ends[0], ends[1]};
  }
  const YAML::Node block = map.optional("block");
  if (block.IsDefined()) {
    StrictMap sizes(block, "block");
    std::array<double, 3> read{};
    sizes.read_required("top", read[0], 1.0, 400.0);
    sizes.read_required("side", read[1], 1.0, 400.0);
    sizes.read_required("keep", read[2], 0.0, 400.0);
    sizes.finish();
    plan.block_top_side_keep_mm = read;
  }
  map.read("glue", plan.glue_mm, 0.0, 1.0);
  map.read("proud", plan.proud_mm, 0.0, 2.0);
  map.read("width_tolerance", plan.width_tolerance_mm, 0.01, 5.0);
  map.read("depth_tolerance", plan.depth_tolerance_mm, 0.01, 5.0);
  map.finish();
  return plan;
}

BodyFile read_all(const YAML::Node& root) {
  BodyFile file;
  BodySpec& body = file.body;
  StrictMap map(root, "the body file");
  map.read_required("name", body.name);
  body.outline = read_outline(map.required("outline"));
  map.read("left_handed", body.left_handed);
  if (const YAML::Node node = map.optional("top"); node.IsDefined()) {
    StrictMap top(node, "top");
    top.read("dome_radius", body.top.dome_radius_mm, 0.0, 1e6);
    if (const YAML::Node centre = top.optional("dome_centre"); centre.IsDefined()) {
      const std::vector<double> xy = numbers_of(centre, "dome_centre", 2, -far_mm, far_mm);
      body.top.dome_centre_mm = {xy[0], xy[1]};
    }
    top.read("modelled_inward", body.top.modelled_inward_mm, 10.0, 400.0);
    top.finish();
  }
  if (const YAML::Node node = map.optional("side"); node.IsDefined()) {
    StrictMap side(node, "side");
    side.read("lean", body.side.lean_deg, -15.0, 15.0);
    side.read("height", body.side.height_mm, 10.0, 400.0);
    side.finish();
  }
  if (const YAML::Node node = map.optional("bevel"); node.IsDefined()) body.bevel = read_bevel(node);
  for (const YAML::Node& item : map.list("channels", 8)) body.channels.push_back(read_channel(item));
  for (const YAML::Node& item : map.list("defects", 200)) body.defects.push_back(read_defect(item, body.channels));
  file.scanner = read_scanner(map.optional("scan"));
  file.plan = read_plan(map.optional("plan"));
  file.scanner.band_mm = file.plan.band_mm;
  map.finish();
  return file;
}

}  // namespace

Outcome<BodyFile> parse_body_file(const std::string& text) {
  try {
    return read_all(YAML::Load(text));
  } catch (const YamlRefusal& refused) {
    return tl::unexpected(refused.refusal);
  } catch (const YAML::Exception& error) {
    std::string place;
    if (!error.mark.is_null()) {
      place =
          "line " + std::to_string(error.mark.line + 1) + ", column " + std::to_string(error.mark.column + 1) + ": ";
    }
    return refuse(RefusalReason::plan_not_valid, place + "this is not YAML (" + error.msg + ")", "mend the line");
  }
}

Outcome<BodyFile> read_body_file(const std::filesystem::path& path) {
  const std::string name = path.filename().string();
  const auto text = read_small_file(path, largest_file_bytes);
  if (!text) return tl::unexpected(text.error());
  auto file = parse_body_file(*text);
  if (!file) {
    Refusal refusal = file.error();
    refusal.what = name + ", " + refusal.what;
    return tl::unexpected(refusal);
  }
  return file;
}

}  // namespace rimwright
