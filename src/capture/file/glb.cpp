// GLB, the binary container of glTF 2.0 (Khronos; ISO/IEC 12113): the meshes of the default scene, points, triangles,
// strips and fans, placed by the transforms of their nodes. Only buffers embedded in the file are read: buffers that
// name another file, sparse accessors and compressed geometry are refused. Skins, morphs and animations are passed
// over.
#include "capture/file/glb_scene.h"
#include "capture/file/mesh_reader.h"

namespace rimwright {

Outcome<ScanFile> read_glb(const FileBytes& file, const ReadCloudSettings& settings) {
  auto document = read_glb_document(file);
  if (!document) return tl::unexpected(document.error());
  auto placed = placed_meshes(file, *document);
  if (!placed) return tl::unexpected(placed.error());
  MeshPoints mesh;
  for (const PlacedMesh& one : *placed) {
    if (auto added = add_mesh(file, *document, one, settings, mesh); !added) return tl::unexpected(added.error());
  }
  return std::move(mesh).finished();
}

}  // namespace rimwright
