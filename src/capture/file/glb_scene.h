// The parts of reading a GLB file: its JSON chunk, the scene's tree of nodes, the accessors of a mesh.
#pragma once

#include <cstdint>
#include <nlohmann/json.hpp>
#include <vector>

#include "capture/file/bytes.h"
#include "capture/file/mesh_reader.h"

namespace rimwright {

// Limits on what a file may hold.
inline constexpr std::uint64_t glb_most_json_bytes = std::uint64_t{256} << 20;
inline constexpr std::size_t glb_most_nodes = 100'000;

struct GlbDocument {
  nlohmann::json json;
  std::vector<std::vector<char>> buffers;  // those embedded in the file, in the document's order
};

struct PlacedMesh {
  std::size_t mesh = 0;
  Eigen::Affine3d T_scene_mesh = Eigen::Affine3d::Identity();
};

// Container, JSON and buffers: the container's own, and those written into the JSON as data. Refusals: file_malformed,
// file_truncated, file_not_supported, file_over_limit.
[[nodiscard]] Outcome<GlbDocument> read_glb_document(const FileBytes& file);

// The meshes of the default scene (or, without scenes, of all root nodes). A node may be reached once only, as the
// standard says; a cycle is refused as malformed.
[[nodiscard]] Outcome<std::vector<PlacedMesh>> placed_meshes(const FileBytes& file, const GlbDocument& document);

// Appends a mesh's points and triangles. A mesh placed many times may not hold more points than the file has bytes / 4.
[[nodiscard]] Outcome<void> add_mesh(const FileBytes& file, const GlbDocument& document, const PlacedMesh& placed,
                                     const ReadCloudSettings& settings, MeshPoints& mesh);

}  // namespace rimwright
