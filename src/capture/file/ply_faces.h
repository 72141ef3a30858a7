// The faces of a PLY file: polygons as lists of vertex numbers.
#pragma once

#include "capture/file/bytes.h"
#include "capture/file/ply_header.h"
#include "capture/file/ply_rows.h"
#include "capture/read_cloud.h"
#include "capture/scan_file.h"

namespace rimwright {

// Reads the list vertex_indices or vertex_index of element 'face', if there is one behind the vertices, which end at
// `at`. Refusals: file_truncated, file_malformed (a corner that is no vertex, a negative length, too many triangles).
[[nodiscard]] Outcome<void> read_ply_faces(const FileBytes& file, const PlyHeader& header, PlyPlace at,
                                           const ReadCloudSettings& settings, ScanFile& scan);

}  // namespace rimwright
