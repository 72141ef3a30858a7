#include "report/page_data.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "judge/compare.h"
#include "report/face_drawing.h"
#include "report/heat_colours.h"
#include "report/jobs.h"
#include "report/json_number.h"
#include "report/page_bench.h"

namespace rimwright {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t most_section_points = 250'000;
constexpr std::size_t most_body_points = 120'000;
constexpr double face_quantum_mm = 0.001;     // a thirtieth of the finest noise
constexpr double section_quantum_mm = 0.005;  // 16 bits then reach 163 mm either way
constexpr int nothing = -32768;

void put_int16(std::string& bytes, double value) {
  const double rounded = std::clamp(value, -32767.0, 32767.0) + std::copysign(0.5, value);
  const auto u = static_cast<unsigned>(std::isfinite(value) ? static_cast<int>(rounded) : nothing);
  const std::array<char, 2> low_first{static_cast<char>(u & 0xFFU), static_cast<char>(u >> 8 & 0xFFU)};
  bytes.append(low_first.data(), low_first.size());
}

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
  data.face_cells.reserve(2 * map.rows * (end - first));
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
  data.section_points.reserve(4 * (total / stride + measures.sections.size()));
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
  data.body_points.reserve(8 * kept.size());
  for (const HeatPoint* point : kept) {
    for (int axis = 0; axis < 3; ++axis)
      put_int16(data.body_points, (point->at_scan_mm[axis] - middle[axis]) / quantum);
    put_int16(data.body_points, point->deviation_mm / face_quantum_mm);
  }
  add_directions(measures, points);
  page["points"] = std::move(points);
}

}  // namespace

std::string base64(std::string_view bytes) {
  static constexpr char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text((bytes.size() + 2) / 3 * 4, '=');
  char* to = text.data();
  for (std::size_t i = 0; i < bytes.size(); i += 3, to += 4) {
    const auto at = [&](std::size_t k) {
      return i + k < bytes.size() ? static_cast<unsigned>(static_cast<unsigned char>(bytes[i + k])) : 0U;
    };
    const unsigned three = at(0) << 16 | at(1) << 8 | at(2);
    to[0] = digits[three >> 18 & 63U];
    to[1] = digits[three >> 12 & 63U];
    if (i + 1 < bytes.size()) to[2] = digits[three >> 6 & 63U];
    if (i + 2 < bytes.size()) to[3] = digits[three & 63U];
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
  add_bench_facts(inspection, context, page);
  page["picture"] = "data:image/png;base64," + base64(heatmap_png_bytes);
  data.page_json = page.dump(-1, ' ', false, Json::error_handler_t::replace);
  return data;
}

}  // namespace rimwright
