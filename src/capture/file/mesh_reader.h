// What the readers of mesh files share: points gathered one by one, then made a cloud.
#pragma once

#include <array>
#include <cstdint>
#include <utility>
#include <vector>

#include "capture/file/bytes.h"
#include "capture/file/cloud_arrays.h"
#include "capture/file/polygons.h"
#include "capture/read_cloud.h"
#include "capture/scan_file.h"

namespace rimwright {

struct MeshPoints {
  std::vector<Vector3> points;
  std::vector<std::array<std::int8_t, 3>> normals;  // empty, or one a point
  PlainArray<std::array<std::uint8_t, 3>> colours;  // empty, or one a point
  std::vector<std::array<std::uint32_t, 3>> triangles;

  // Arrays that do not hold one entry a point are dropped.
  [[nodiscard]] ScanFile finished() && {
    ScanFile scan;
    scan.cloud = cloud_of(points);
    if (normals.size() == points.size())
      for (const auto& normal : normals)
        scan.cloud.normals.push_back({static_cast<std::uint32_t>(scan.cloud.normals.size()), normal});
    if (colours.size() == points.size()) scan.cloud.colours = std::move(colours);
    scan.triangles = std::move(triangles);
    return scan;
  }
};

[[nodiscard]] Outcome<ScanFile> read_obj(const FileBytes& file, const ReadCloudSettings& settings);
[[nodiscard]] Outcome<ScanFile> read_off(const FileBytes& file, const ReadCloudSettings& settings);
[[nodiscard]] Outcome<ScanFile> read_stl(const FileBytes& file, const ReadCloudSettings& settings);
[[nodiscard]] Outcome<ScanFile> read_glb(const FileBytes& file, const ReadCloudSettings& settings);

}  // namespace rimwright
