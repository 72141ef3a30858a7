#include "simulate/write_scan.h"

#include <bit>
#include <cstdio>
#include <cstring>
#include <limits>
#include <nlohmann/json.hpp>

#include "core/write_whole.h"

namespace rimwright {

namespace {

using Json = nlohmann::ordered_json;

constexpr const char* corner_names[] = {"top-side", "top-bevel", "side-bevel"};
constexpr const char* face_names[] = {"side", "top", "bevel", "floor", "wall", "fillet"};
constexpr const char* defect_names[] = {"angle-drift",       "wave",          "side-wave",    "lower-edge-wander",
                                        "upper-edge-wander", "crown",         "hump",         "hollow",
                                        "tear-out",          "channel-depth", "channel-width"};

template <class T>
void append(std::string& bytes, T value) {
  static_assert(std::endian::native == std::endian::little);
  char raw[sizeof(T)];
  std::memcpy(raw, &value, sizeof(T));
  bytes.append(raw, sizeof(T));
}

Json at_of(const Vector3& p) { return Json::array({p.x(), p.y(), p.z()}); }

std::string quoted(const std::string& name) {
  std::string text = "\"";
  for (const char c : name) {
    if (c == '"' || c == '\\') text += '\\';
    text += c;
  }
  return text + '"';
}

std::string number(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.10g", value);
  return text;
}

Json bevel_json(const Truth& truth) {
  Json stations = Json::array();
  for (const TrueStation& s : truth.stations) {
    if (!s.bevel_present) continue;
    stations.push_back({{"station_mm", s.station_mm},
                        {"at", at_of(s.at_scan_mm)},
                        {"angle_deg", s.angle_deg},
                        {"drop_mm", s.drop_mm},
                        {"top_reach_mm", s.top_reach_mm},
                        {"straightness_mm", s.straightness_mm},
                        {"departure_mm", s.departure_mm},
                        {"hidden", s.hidden}});
  }
  if (stations.empty()) return nullptr;
  const TrueFairness& f = truth.fairness;
  return {{"stations", stations},
          {"band_mm", f.band_mm},
          {"waviness_mm", f.waviness_mm},
          {"waviness_with_run_outs_mm", f.waviness_whole_mm},
          {"lower_edge_fairness_mm", f.lower_edge_mm},
          {"upper_edge_fairness_mm", f.upper_edge_mm}};
}

Json block_json(const Truth& truth, const PlanSketch& plan) {
  if (!plan.block_top_side_keep_mm) return nullptr;
  const auto& [top, side, keep] = *plan.block_top_side_keep_mm;
  Json stations = Json::array();
  for (const TrueStation& s : truth.stations) {
    if (!s.bevel_present) continue;
    stations.push_back({{"station_mm", s.station_mm},
                        {"at", at_of(s.at_scan_mm)},
                        {"top_left_mm", top - s.top_reach_mm},
                        {"side_left_mm", side - s.drop_mm}});
  }
  return {{"stations", stations}};
}

Json channels_json(const Truth& truth, const BodySpec& body) {
  Json channels = Json::array();
  for (std::size_t c = 0; c < body.channels.size(); ++c) {
    const ChannelSpec& spec = body.channels[c];
    Json planned = Json::array(), stations = Json::array();
    for (const StepSpec& step : spec.steps) {
      planned.push_back({{"width_mm", step.width_mm}, {"depth_mm", step.depth_mm}});
    }
    for (const TrueStation& s : truth.stations) {
      Json steps = Json::array();
      bool any = false;
      for (const TrueStep& step : s.channels[c]) {
        any = any || step.present;
        steps.push_back({{"present", step.present},
                         {"width_mm", step.present ? Json(step.width_mm) : Json()},
                         {"depth_mm", step.present ? Json(step.depth_mm) : Json()},
                         {"from_end_mm", step.from_end_mm}});
      }
      if (any)
        stations.push_back(
            {{"station_mm", s.station_mm}, {"at", at_of(s.at_scan_mm)}, {"hidden", s.hidden}, {"steps", steps}});
    }
    channels.push_back({{"name", spec.name},
                        {"corner", corner_names[static_cast<int>(spec.corner)]},
                        {"planned", planned},
                        {"corner_radius_mm", spec.corner_radius_mm},
                        {"stations", stations}});
  }
  return channels;
}

Json defects_json(const BodySpec& body) {
  Json defects = Json::array();
  for (const DefectSpec& d : body.defects) {
    Json entry = {{"kind", defect_names[static_cast<int>(d.kind)]}, {"size", d.size}};
    const bool local = d.kind == DefectKind::hump || d.kind == DefectKind::hollow || d.kind == DefectKind::tear_out;
    if (local) {
      entry["at_mm"] = d.at_mm;
      entry["from_mm"] = d.at_mm - 0.5 * d.length_mm;
      entry["to_mm"] = d.at_mm + 0.5 * d.length_mm;
      entry["width_mm"] = d.width_mm;
      entry["across"] = d.across;
      entry["face"] = face_names[static_cast<int>(d.face)];
    } else {
      entry["from_mm"] = d.from_mm;
      entry["to_mm"] = d.to_mm;
    }
    if (d.wavelength_mm > 0.0) entry["wavelength_mm"] = d.wavelength_mm;
    if (d.kind == DefectKind::channel_depth || d.kind == DefectKind::channel_width) {
      entry["channel"] = body.channels[static_cast<std::size_t>(d.channel)].name;
      entry["step"] = d.step + 1;
    }
    defects.push_back(entry);
  }
  return defects;
}

}  // namespace

std::string ply_of(const Cloud& cloud) {
  const std::size_t n = cloud.size();
  const bool normals = cloud.normals.size() == n && n > 0, colours = cloud.colours.size() == n && n > 0;
  std::string bytes = "ply\nformat binary_little_endian 1.0\ncomment simulated, invented body\nelement vertex " +
                      std::to_string(n) + "\nproperty float x\nproperty float y\nproperty float z\n";
  if (normals) bytes += "property float nx\nproperty float ny\nproperty float nz\n";
  if (colours) bytes += "property uchar red\nproperty uchar green\nproperty uchar blue\n";
  bytes += "end_header\n";
  bytes.reserve(bytes.size() + n * (12u + (normals ? 12u : 0u) + (colours ? 3u : 0u)));
  for (std::size_t i = 0; i < n; ++i) {
    const Vector3 p = cloud.point_mm(i) / cloud.scale.factor;
    for (int axis = 0; axis < 3; ++axis) append(bytes, static_cast<float>(p[axis]));
    if (normals) {
      for (const std::int8_t v : cloud.normals[i].times_127) append(bytes, static_cast<float>(v) / 127.0f);
    }
    if (colours) {
      for (const std::uint8_t v : cloud.colours[i]) append(bytes, v);
    }
  }
  return bytes;
}

std::string truth_json(const Body& body, const BodyFile& file, const SimulatedScan& scan, std::uint64_t seed) {
  const BodySpec& spec = body.spec();
  const ScannerSpec& s = file.scanner;
  Json pose = Json::array();
  for (int row = 0; row < 4; ++row) {
    Json line = Json::array();
    for (int column = 0; column < 4; ++column) line.push_back(scan.truth.T_scan_body.matrix()(row, column));
    pose.push_back(line);
  }
  const double dome = spec.top.dome_radius_mm;
  const Json truth = {{"format", "rimwright-truth/1"},
                      {"body", spec.name},
                      {"units", "mm"},
                      {"seed", seed},
                      {"left_handed", spec.left_handed},
                      {"scan",
                       {{"points", scan.cloud.size()},
                        {"scale", s.mm_per_unit},
                        {"noise_mm", s.normal_noise_mm},
                        {"sideways_noise_mm", s.sideways_noise_mm},
                        {"correlated_noise_mm", s.correlated_noise_mm},
                        {"correlation_length_mm", s.correlation_length_mm},
                        {"warp_mm", s.warp_mm},
                        {"density_per_mm2", s.density_per_mm2},
                        {"outlier_share", s.outlier_share},
                        {"rim_length_mm", s.to_mm > s.from_mm ? s.to_mm - s.from_mm : body.rim_length_mm()},
                        {"rim_closed", body.closed() && !(s.to_mm > s.from_mm)},
                        {"T_scan_body", pose}}},
                      {"dome_radius_mm", dome > 0.0 ? Json(dome) : Json()},
                      {"lean_deg", spec.side.lean_deg},
                      {"bevel", bevel_json(scan.truth)},
                      {"block", block_json(scan.truth, file.plan)},
                      {"channels", channels_json(scan.truth, spec)},
                      {"defects", defects_json(spec)}};
  return truth.dump(1) + "\n";
}

std::string plan_yaml(const BodySpec& body, const PlanSketch& sketch) {
  std::string text = "instrument: " + quoted(body.name) + "\nunits: mm\n";
  const std::string band = "{band: [" + number(sketch.band_mm[0]) + ", " + number(sketch.band_mm[1]) + "], limit: ";
  if (body.bevel && sketch.bevel) {
    text += "bevel:\n  angle: {nominal: " + number(body.bevel->angle_deg) +
            ", tolerance: " + number(sketch.angle_tolerance_deg) +
            "}\n  drop: {nominal: " + number(body.bevel->drop_mm) + ", tolerance: " + number(sketch.drop_tolerance_mm) +
            "}\n  straightness: " + number(sketch.straightness_mm) + "\n  waviness: " + band +
            number(sketch.waviness_limit_mm) + "}\n  edge_fairness: " + band + number(sketch.edge_fairness_limit_mm) +
            "}\n";
  }
  if (sketch.block_top_side_keep_mm) {
    const auto& [top, side, keep] = *sketch.block_top_side_keep_mm;
    text += "block: {top: " + number(top) + ", side: " + number(side) + ", keep: " + number(keep) + "}\n";
  }
  if (!body.channels.empty()) text += "channels:\n";
  for (const ChannelSpec& channel : body.channels) {
    text += "  - name: " + quoted(channel.name) + "\n    corner: " + corner_names[static_cast<int>(channel.corner)] +
            "\n    strips:\n";
    double outer = 0.0;
    for (std::size_t k = 0; k < channel.steps.size(); ++k) {
      const StepSpec& step = channel.steps[k];
      text += "      - {name: strip " + std::to_string(k + 1) +
              ", thickness: " + number(step.width_mm - outer - sketch.glue_mm) +
              ", height: " + number(step.depth_mm - sketch.glue_mm + sketch.proud_mm) + "}\n";
      outer = step.width_mm;
    }
    text += "    glue: " + number(sketch.glue_mm) + "\n    proud: " + number(sketch.proud_mm) +
            "\n    tolerance: {width: " + number(sketch.width_tolerance_mm) +
            ", depth: " + number(sketch.depth_tolerance_mm) + "}\n";
  }
  return text;
}

Outcome<bool> write_scan(const std::filesystem::path& folder, const Body& body, const BodyFile& file,
                         const SimulatedScan& scan, std::uint64_t seed) {
  std::error_code code;
  std::filesystem::create_directories(folder, code);
  if (!std::filesystem::is_directory(folder, code)) {
    return refuse(RefusalReason::output_not_writable, folder.string() + " cannot be made", "name a folder to write to");
  }
  const std::pair<const char*, std::string> files[] = {{"plan.yaml", plan_yaml(body.spec(), file.plan)},
                                                       {"truth.json", truth_json(body, file, scan, seed)},
                                                       {"scan.ply", ply_of(scan.cloud)}};
  for (const auto& [name, bytes] : files) {
    if (auto written = write_whole((folder / name).string(), bytes); !written) return tl::unexpected(written.error());
  }
  return true;
}

}  // namespace rimwright
