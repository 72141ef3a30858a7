// STL, text and binary. A file whose size is 84 + 50 n for the n it states is binary, even where it begins with
// 'solid'. Corners at one place become one point. Facet normals and attribute bytes are passed over.
#include <array>
#include <bit>
#include <cstring>
#include <string>
#include <string_view>

#include "capture/file/mesh_reader.h"
#include "capture/file/numbers.h"

namespace rimwright {

namespace {

constexpr std::uint64_t binary_head_bytes = 84;
constexpr std::uint64_t binary_facet_bytes = 50;

// Gives corners at one place one index. Open addressing; the table doubles when it is half full.
class Welder {
 public:
  explicit Welder(std::vector<Vector3>& points) : points_(points), table_(1024, 0) {}

  std::uint32_t index_of(const std::array<float, 3>& at) {
    if (2 * points_.size() >= table_.size()) grow();
    const Vector3 point(at[0], at[1], at[2]);
    if (!point.allFinite()) {  // equals nothing, itself neither
      points_.push_back(point);
      return static_cast<std::uint32_t>(points_.size() - 1);
    }
    for (std::size_t slot = slot_of(point);; slot = (slot + 1) & (table_.size() - 1)) {
      if (table_[slot] == 0) {
        points_.push_back(point);
        table_[slot] = static_cast<std::uint32_t>(points_.size());
      }
      if (points_[table_[slot] - 1] == point) return table_[slot] - 1;
    }
  }

 private:
  [[nodiscard]] std::size_t slot_of(const Vector3& point) const {
    std::uint64_t h = 0;
    for (int axis = 0; axis < 3; ++axis) {
      h = (h ^ std::bit_cast<std::uint64_t>(point[axis] + 0.0)) * 0x9e3779b97f4a7c15ULL;
      h ^= h >> 32U;
    }
    return static_cast<std::size_t>(h) & (table_.size() - 1);
  }
  void grow() {
    table_.assign(2 * table_.size(), 0);
    for (std::size_t i = 0; i < points_.size(); ++i) {
      if (!points_[i].allFinite()) continue;
      std::size_t slot = slot_of(points_[i]);
      while (table_[slot] != 0) slot = (slot + 1) & (table_.size() - 1);
      table_[slot] = static_cast<std::uint32_t>(i + 1);
    }
  }

  std::vector<Vector3>& points_;
  std::vector<std::uint32_t> table_;  // index + 1; 0 = free
};

tl::unexpected<Refusal> too_many_points(const FileBytes& file, const ReadCloudSettings& settings) {
  return file.over_limit("it holds more than " + std::to_string(settings.most_points) + " points",
                         "thin the mesh before exporting it");
}

Outcome<ScanFile> read_binary(const FileBytes& file, std::uint32_t facets, const ReadCloudSettings& settings) {
  MeshPoints mesh;
  Welder welder(mesh.points);
  ByteStream stream(file, binary_head_bytes);
  mesh.triangles.reserve(facets);
  for (std::uint32_t i = 0; i < facets; ++i) {
    std::array<char, binary_facet_bytes> facet;
    if (!stream.take(facet.data(), facet.size())) return file.truncated("the file could not be read to its end");
    std::array<std::uint32_t, 3> triangle{};
    for (std::size_t k = 0; k < 3; ++k) {
      std::array<float, 3> corner;
      std::memcpy(corner.data(), facet.data() + 12 + 12 * k, sizeof(corner));
      triangle[k] = welder.index_of(corner);
    }
    if (mesh.points.size() > settings.most_points) return too_many_points(file, settings);
    mesh.triangles.push_back(triangle);
  }
  return std::move(mesh).finished();
}

Outcome<ScanFile> read_text(const FileBytes& file, const ReadCloudSettings& settings) {
  MeshPoints mesh;
  Welder welder(mesh.points);
  LineStream lines(file, 0);
  std::string_view line;
  std::array<std::uint32_t, 3> triangle{};
  std::size_t corners = 0;
  bool ended = false;
  while (lines.next(line)) {
    const std::string_view keyword = take_word(line);
    if (keyword.empty()) continue;
    if (keyword == "vertex") {
      std::array<float, 3> corner{};
      for (float& value : corner) {
        double number = 0.0;
        if (!take_number(line, number)) return file.malformed(lines.where() + " lacks a coordinate");
        value = offset_from(number, 0.0);
      }
      if (corners == 3) return file.malformed(lines.where() + " is the fourth corner of a facet");
      triangle[corners++] = welder.index_of(corner);
      if (mesh.points.size() > settings.most_points) return too_many_points(file, settings);
    } else if (keyword == "endfacet") {
      if (corners != 3) return file.malformed(lines.where() + " ends a facet of fewer than three corners");
      if (mesh.triangles.size() == settings.most_triangles) {
        return file.over_limit("it holds more than " + std::to_string(settings.most_triangles) + " facets",
                               "thin the mesh before exporting it");
      }
      mesh.triangles.push_back(triangle);
      corners = 0;
    } else if (keyword == "endsolid") {
      ended = true;
    } else if (keyword != "solid" && keyword != "facet" && keyword != "outer" && keyword != "endloop") {
      return file.malformed(lines.where() + " begins with no word of an STL file");
    }
  }
  if (lines.too_long()) return file.malformed(lines.where() + " is longer than 1 MiB");
  if (!ended || corners != 0) return file.truncated("the file ends before its 'endsolid'");
  return std::move(mesh).finished();
}

}  // namespace

Outcome<ScanFile> read_stl(const FileBytes& file, const ReadCloudSettings& settings) {
  std::array<char, binary_head_bytes> head{};
  const std::size_t got = file.read_some(0, head.data(), head.size());
  const bool says_solid = std::string_view(head.data(), std::min<std::size_t>(got, 5)) == "solid";
  std::uint32_t facets = 0;
  std::memcpy(&facets, head.data() + 80, sizeof(facets));
  const std::uint64_t promised_bytes = binary_head_bytes + binary_facet_bytes * facets;
  if (got == head.size() && (file.size() == promised_bytes || !says_solid)) {
    if (file.size() < promised_bytes) {
      return file.truncated("the header promises " + std::to_string(facets) + " facets, the file holds " +
                            std::to_string((file.size() - binary_head_bytes) / binary_facet_bytes));
    }
    if (file.size() > promised_bytes) {
      return file.malformed("the header promises " + std::to_string(facets) + " facets, the file is longer than that");
    }
    if (facets > settings.most_triangles) {
      return file.over_limit(
          "it holds " + std::to_string(facets) + " facets, more than " + std::to_string(settings.most_triangles),
          "thin the mesh before exporting it");
    }
    return read_binary(file, facets, settings);
  }
  if (!says_solid) return file.malformed("this is not an STL file: it is too short for a binary one");
  return read_text(file, settings);
}

}  // namespace rimwright
