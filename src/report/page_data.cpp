#include "report/page_data.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "judge/compare.h"
#include "judge/cut_list.h"
#include "judge/dry_fit.h"
#include "judge/ready_to_glue.h"
#include "judge/sanding_block.h"
#include "judge/words.h"
#include "report/face_drawing.h"
#include "report/heat_colours.h"
#include "report/jobs.h"

namespace rimwright {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t most_section_points = 250'000;
constexpr std::size_t most_body_points = 120'000;
constexpr double face_quantum_mm = 0.001;     // a thirtieth of the finest noise
constexpr double section_quantum_mm = 0.005;  // 16 bits then reach 163 mm either way
constexpr int nothing = -32768;

void put_int16(std::string& bytes, double value) {
  const int q = std::isfinite(value) ? static_cast<int>(std::lround(std::clamp(value, -32767.0, 32767.0))) : nothing;
  const auto u = static_cast<unsigned>(q) & 0xFFFFU;
  bytes += static_cast<char>(u & 0xFFU);
  bytes += static_cast<char>(u >> 8);
}

Json number(double value) {
  if (!std::isfinite(value)) return nullptr;
  return std::round(value * 1e4) / 1e4;
}
Json number(const Measured& measured) { return number(measured.value); }
Json pair(const Vector2& p) { return Json::array({number(p.x()), number(p.y())}); }

const char* name_of_face(FaceKind kind) {
  switch (kind) {
    case FaceKind::side: return "side";
    case FaceKind::top: return "top";
    case FaceKind::bevel: return "bevel";
    case FaceKind::floor: return "floor";
    case FaceKind::wall: return "wall";
  }
  return "side";
}

void add_map(const Inspection& inspection, Json& page, PageData& data) {
  const UnrolledMap& map = inspection.measures.map;
  const HeatScale scale = heat_scale_for(inspection);
  page["heat"] = {{"limit_mm", scale.limit_mm}, {"range_mm", scale.range_mm}, {"name", scale.limit_name}};
  // Only the columns on which the face was seen.
  const FaceExtent extent = face_extent(map);
  const auto column_at = [&](double station_mm) {
    const double column = std::round((station_mm - map.first_station_mm) / map.station_step_mm);
    return static_cast<std::size_t>(std::clamp(column, 0.0, static_cast<double>(map.columns)));
  };
  const std::size_t first = extent.is_empty() ? 0 : column_at(extent.from_mm);
  const std::size_t end = extent.is_empty() ? 0 : column_at(extent.to_mm);
  page["map"] = {{"first_station_mm", number(map.first_station_mm + static_cast<double>(first) * map.station_step_mm)},
                 {"station_step_mm", map.station_step_mm},
                 {"across_step_mm", map.across_step_mm},
                 {"columns", end - first},
                 {"rows", end > first ? map.rows : 0},
                 {"quantum_mm", face_quantum_mm}};
  if (end <= first) return;
  for (std::size_t row = 0; row < map.rows; ++row) {
    for (std::size_t column = first; column < end; ++column) {
      put_int16(data.face_cells, map.deviation_mm[row * map.columns + column] / face_quantum_mm);
    }
  }
}

void add_sections(const Measures& measures, Json& page, PageData& data) {
  std::size_t total = 0;
  for (const SectionPicture& section : measures.sections) total += section.points_out_up_mm.size();
  const std::size_t stride = std::max<std::size_t>(1, (total + most_section_points - 1) / most_section_points);
  Vector2 low(-10, -10), high(2, 2);
  std::size_t first = 0;
  page["sections"] = Json::array();
  for (const SectionPicture& section : measures.sections) {
    Json faces = Json::array();
    for (const SectionFace& face : section.faces) {
      faces.push_back(
          {{"kind", name_of_face(face.kind)}, {"from", pair(face.from_out_up_mm)}, {"to", pair(face.to_out_up_mm)}});
      for (const Vector2& end : {face.from_out_up_mm, face.to_out_up_mm}) {
        if (!end.allFinite()) continue;
        low = low.cwiseMin(end);
        high = high.cwiseMax(end);
      }
    }
    std::size_t count = 0;
    for (std::size_t i = 0; i < section.points_out_up_mm.size(); i += stride) {
      put_int16(data.section_points, section.points_out_up_mm[i].x() / section_quantum_mm);
      put_int16(data.section_points, section.points_out_up_mm[i].y() / section_quantum_mm);
      ++count;
    }
    page["sections"].push_back(
        {{"station_mm", number(section.station_mm)}, {"first", first}, {"count", count}, {"faces", std::move(faces)}});
    first += count;
  }
  constexpr double reach_mm = 90.0;  // a section is never drawn wider
  page["section_window_mm"] = {std::max(low.x(), -reach_mm) - 2, std::min(high.x(), reach_mm) + 3,
                               std::max(low.y(), -reach_mm) - 2, std::min(high.y(), reach_mm) + 3};
  page["section_quantum_mm"] = section_quantum_mm;
}

// Away from the top, and a direction to look from, in scan axes: from the rim's own plan, where it bends enough.
void add_directions(const Measures& measures, Json& points) {
  Vector3 up(0, 0, 1), view(0.3, -1, 0.8);
  const std::size_t count = std::min(measures.rim_scan_mm.size(), measures.rim_plan_mm.size());
  if (count >= 3) {
    Vector3 mean_scan = Vector3::Zero();
    Vector2 mean_plan = Vector2::Zero();
    for (std::size_t i = 0; i < count; ++i) {
      mean_scan += measures.rim_scan_mm[i];
      mean_plan += measures.rim_plan_mm[i];
    }
    mean_scan /= static_cast<double>(count);
    mean_plan /= static_cast<double>(count);
    Eigen::Matrix<double, 3, 2> cross = Eigen::Matrix<double, 3, 2>::Zero();
    Eigen::Matrix2d spread = Eigen::Matrix2d::Zero();
    for (std::size_t i = 0; i < count; ++i) {
      const Vector2 p = measures.rim_plan_mm[i] - mean_plan;
      cross += (measures.rim_scan_mm[i] - mean_scan) * p.transpose();
      spread += p * p.transpose();
    }
    if (spread.determinant() > 1e-6 * spread.trace() * spread.trace()) {
      const Eigen::Matrix<double, 3, 2> axes = cross * spread.inverse();
      up = Vector3(axes.col(0)).cross(Vector3(axes.col(1))).normalized();
      Vector3 outward =
          measures.rim_scan_mm[count / 2] - (measures.rim_scan_mm.front() + measures.rim_scan_mm[count - 1]) / 2;
      outward -= up * up.dot(outward);
      if (outward.norm() < 1e-6) outward = Vector3(axes.col(0));
      view = outward.normalized() + 0.9 * up;
    }
  }
  points["up"] = {number(up.x()), number(up.y()), number(up.z())};
  points["view"] = {number(view.x()), number(view.y()), number(view.z())};
}

void add_points(const Measures& measures, Json& page, PageData& data) {
  // Two thirds for the bevel face, the rest for what lies round it.
  const auto on_face =
      static_cast<std::size_t>(std::count_if(measures.heat_points.begin(), measures.heat_points.end(),
                                             [](const HeatPoint& p) { return std::isfinite(p.deviation_mm); }));
  const std::size_t off_face = measures.heat_points.size() - on_face;
  const std::size_t face_stride = on_face / (most_body_points * 2 / 3) + 1;
  const std::size_t other_stride = off_face / (most_body_points / 3) + 1;
  std::vector<const HeatPoint*> kept;
  std::size_t seen_on = 0, seen_off = 0;
  Eigen::Vector3d low = Eigen::Vector3d::Constant(1e300), high = -low;
  for (const HeatPoint& point : measures.heat_points) {
    if (!point.at_scan_mm.allFinite()) continue;
    const bool keep = std::isfinite(point.deviation_mm) ? seen_on++ % face_stride == 0 : seen_off++ % other_stride == 0;
    if (!keep) continue;
    kept.push_back(&point);
    low = low.cwiseMin(point.at_scan_mm.cast<double>());
    high = high.cwiseMax(point.at_scan_mm.cast<double>());
  }
  Json points;
  points["count"] = kept.size();
  const Eigen::Vector3d middle = kept.empty() ? Eigen::Vector3d::Zero().eval() : ((low + high) / 2).eval();
  const double quantum = kept.empty() ? 1.0 : std::max(1e-6, (high - low).maxCoeff() / 65000.0);
  points["quantum_mm"] = quantum;
  points["deviation_quantum_mm"] = face_quantum_mm;
  for (const HeatPoint* point : kept) {
    for (int axis = 0; axis < 3; ++axis)
      put_int16(data.body_points, (point->at_scan_mm[axis] - middle[axis]) / quantum);
    put_int16(data.body_points, point->deviation_mm / face_quantum_mm);
  }
  add_directions(measures, points);
  page["points"] = std::move(points);
}

void add_plan(const Inspection& inspection, Json& page) {
  const Plan& plan = inspection.plan;
  page["channels"] = Json::array();
  page["fits"] = Json::array();
  DryFitSettings settings;
  settings.units = plan.units;
  for (std::size_t i = 0; i < plan.channels.size(); ++i) {
    const PlannedChannel& channel = plan.channels[i];
    Json entry;
    entry["name"] = channel.name;
    entry["corner"] = std::string(name_of(channel.corner));
    entry["glue_mm"] = channel.glue_mm;
    entry["proud_mm"] = channel.proud_mm;
    entry["strips"] = Json::array();
    for (const Strip& strip : channel.strips) {
      entry["strips"].push_back({{"name", strip.name},
                                 {"thickness_mm", strip.thickness_mm},
                                 {"height_mm", strip.height_mm},
                                 {"later", strip.later}});
    }
    entry["steps"] = Json::array();
    for (const PlannedStep& step : channel.steps) {
      entry["steps"].push_back({{"first_strip", step.first_strip}, {"last_strip", step.last_strip}});
    }
    page["channels"].push_back(std::move(entry));

    for (const ChannelMeasures& measured : inspection.measures.channels) {
      if (measured.planned_channel != i) continue;
      const DryFit fit = dry_fit(channel, measured, settings);
      Json one;
      one["channel"] = i;
      one["summary"] = fit.summary;
      one["mends"] = Json::array();
      for (const Mend& mend : fit.mends) {
        one["mends"].push_back(stretch_words(mend.from_mm, mend.to_mm, plan.units) + ": " + mend.sentence);
      }
      one["stations"] = Json::array();
      for (const StationFit& station : fit.stations) {
        Json steps = Json::array();
        for (const StepFit& step : station.steps) {
          steps.push_back({{"proud_mm", number(step.proud_mm)},
                           {"gap_under_mm", number(step.gap_under_mm)},
                           {"gap_behind_mm", number(step.gap_behind_mm)}});
        }
        one["stations"].push_back({{"station_mm", number(station.station_mm)}, {"steps", std::move(steps)}});
      }
      page["fits"].push_back(std::move(one));
    }
  }
}

// Where each feature runs along the rim, for the drawing in plan.
void add_extents(const Measures& measures, const Plan& plan, Json& page) {
  page["extents"] = Json::array();
  const auto add = [&](const std::string& name, const auto& stations) {
    constexpr double break_mm = 8.0;
    for (std::size_t i = 0; i < stations.size();) {
      std::size_t end = i;
      while (end + 1 < stations.size() && stations[end + 1].station_mm - stations[end].station_mm < break_mm) ++end;
      page["extents"].push_back(
          {{"name", name}, {"from_mm", number(stations[i].station_mm)}, {"to_mm", number(stations[end].station_mm)}});
      i = end + 1;
    }
  };
  add("bevel", measures.bevel.stations);
  for (const ChannelMeasures& channel : measures.channels) {
    if (channel.planned_channel < plan.channels.size())
      add(plan.channels[channel.planned_channel].name, channel.stations);
  }
}

void add_fullest(const Inspection& inspection, Json& page) {
  page["fullest_mm"] = {1.0, 0.0};
  if (!inspection.plan.bevel) return;
  const FullestStretch fullest =
      find_fullest(inspection.measures.bevel.stations, inspection.plan.bevel->drop_mm.upper_limit());
  if (fullest.is_known()) page["fullest_mm"] = {number(fullest.from_mm), number(fullest.to_mm)};
}

// For the builder's own block and a few common lengths beside it.
void add_sanding(const Inspection& inspection, const ReportContext& context, Json& page) {
  std::vector<double> lengths_mm{context.sanding_block_mm};
  for (const double length_mm : {60.0, 100.0, 150.0, 250.0}) {
    if (std::abs(length_mm - context.sanding_block_mm) > 1.0) lengths_mm.push_back(length_mm);
  }
  std::sort(lengths_mm.begin(), lengths_mm.end());
  page["sanding"] = Json::array();
  for (const double length_mm : lengths_mm) {
    SandingSettings settings;
    settings.block_length_mm = length_mm;
    const SandingBlock sanded = sand_with_block(inspection.plan, inspection.measures, settings);
    if (sanded.stations.size() < 2) return;
    Json stations = Json::array();
    for (const SandedStation& station : sanded.stations) {
      stations.push_back({number(station.station_mm), number(station.deepest_mark_mm), number(station.to_take_off_mm)});
    }
    page["sanding"].push_back({{"block_length_mm", sanded.block_length_mm},
                               {"own", std::abs(length_mm - context.sanding_block_mm) < 1e-9},
                               {"stations", std::move(stations)},
                               {"sentences", sanded.sentences}});
  }
}

// The checklist before glue and the strips to cut.
void add_gluing(const Inspection& inspection, Json& page) {
  DryFitSettings settings;
  settings.units = inspection.plan.units;
  std::vector<DryFit> fits;
  for (std::size_t i = 0; i < inspection.plan.channels.size(); ++i) {
    ChannelMeasures none;
    none.planned_channel = i;
    const ChannelMeasures* measured = &none;
    for (const ChannelMeasures& channel : inspection.measures.channels) {
      if (channel.planned_channel == i) measured = &channel;
    }
    fits.push_back(dry_fit(inspection.plan.channels[i], *measured, settings));
  }
  const GlueCheck check = ready_to_glue(inspection, fits);
  page["glue"] = {{"ready", std::string(name_of(check.ready))}, {"items", Json::array()}};
  for (const GlueCheckItem& item : check.items) {
    page["glue"]["items"].push_back(
        {{"kind", std::string(name_of(item.kind))}, {"feature", item.feature}, {"text", item.text}});
  }
  const CutList list = cut_list(inspection.plan, inspection.measures, inspection.scale);
  page["cut"] = {{"pieces", Json::array()}, {"notes", list.notes}};
  for (const CutPiece& piece : list.pieces) {
    if (piece.planned_channel >= inspection.plan.channels.size()) continue;
    const PlannedChannel& channel = inspection.plan.channels[piece.planned_channel];
    if (piece.strip >= channel.strips.size()) continue;
    page["cut"]["pieces"].push_back({{"channel", channel.name},
                                     {"strip", channel.strips[piece.strip].name},
                                     {"from_mm", number(piece.from_mm)},
                                     {"to_mm", number(piece.to_mm)},
                                     {"cut_mm", number(piece.cut_mm)},
                                     {"note", piece.note}});
  }
}

}  // namespace

std::string base64(std::string_view bytes) {
  static constexpr char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  text.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const auto at = [&](std::size_t k) {
      return i + k < bytes.size() ? static_cast<unsigned>(static_cast<unsigned char>(bytes[i + k])) : 0U;
    };
    const unsigned three = at(0) << 16 | at(1) << 8 | at(2);
    text += digits[three >> 18 & 63U];
    text += digits[three >> 12 & 63U];
    text += i + 1 < bytes.size() ? digits[three >> 6 & 63U] : '=';
    text += i + 2 < bytes.size() ? digits[three & 63U] : '=';
  }
  return text;
}

PageData page_data(const Inspection& inspection, const ReportContext& context, std::string_view heatmap_png_bytes) {
  PageData data;
  Json page;
  page["made_on"] = context.made_on;
  page["scan_name"] = context.scan_name;
  page["for_client"] = context.for_client;
  page["units"] = inspection.plan.units == LengthUnit::inch ? "inch" : "mm";
  page["jobs"] = Json::array();
  for (const Job& job : jobs_of(inspection.findings)) {
    page["jobs"].push_back(
        {{"number", job.number}, {"verdict", std::string(name_of(job.verdict))}, {"findings", job.findings}});
  }
  add_fullest(inspection, page);
  add_extents(inspection.measures, inspection.plan, page);
  add_map(inspection, page, data);
  add_sections(inspection.measures, page, data);
  page["rim"] = Json::array();
  const Measures& measures = inspection.measures;
  const std::size_t rim = std::min(measures.rim_plan_mm.size(), measures.rim_station_mm.size());
  for (std::size_t i = 0; i < rim; ++i) {
    page["rim"].push_back(
        {number(measures.rim_plan_mm[i].x()), number(measures.rim_plan_mm[i].y()), number(measures.rim_station_mm[i])});
  }
  add_points(measures, page, data);
  add_plan(inspection, page);
  add_sanding(inspection, context, page);
  add_gluing(inspection, page);
  page["picture"] = "data:image/png;base64," + base64(heatmap_png_bytes);
  data.page_json = page.dump(-1, ' ', false, Json::error_handler_t::replace);
  return data;
}

}  // namespace rimwright
