// Reads a point cloud or mesh file: PLY, PCD, XYZ/PTS/CSV, OBJ, STL, OFF, GLB.
//
// The kind is judged from the first bytes of the file and, where those do not tell, from its extension. Headers are
// not believed: nothing is allocated that the file cannot hold. Only the named file is opened; references in it
// to other files (material libraries, external buffers) are never followed.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>

#include "capture/file_hash.h"
#include "capture/scan_file.h"
#include "core/parallel.h"
#include "core/refusal.h"

namespace rimwright {

struct ReadCloudSettings {
  // Points and triangles a file may hold when it is read whole; 20 bytes a point. Larger files are refused
  // (file_over_limit) or read with for_each_block.
  std::uint64_t most_points = 400'000'000;
  std::uint64_t most_triangles = 200'000'000;
  bool keep_colours = true;  // no, where nothing uses them: Cloud::colours is empty then
  // Where given, the file is hashed on the way, if its points are rows of fixed size (binary PLY and PCD).
  FileHash* hash = nullptr;
};

// All points of the file, in file order, and the triangles of a mesh. Answers do not depend on the number of threads.
// Refusals: file_not_found, file_not_readable, file_truncated, file_malformed, file_not_supported, file_over_limit,
// too_few_points (none at all).
[[nodiscard]] Outcome<ScanFile> read_cloud(const std::filesystem::path& path, const ReadCloudSettings& settings,
                                           Workers& workers);

// How many points the file holds: as its header states (PLY, PCD), else estimated from the size of the file and of
// its first lines. Tells whether a scan is to be read whole or thinned on the way in.
[[nodiscard]] Outcome<std::uint64_t> points_in(const std::filesystem::path& path);

// Hands over the points in file order in blocks of about `block_points`, all about one origin, without ever holding
// more than a block: PLY, PCD (text and binary) and XYZ/PTS/CSV. Other kinds, which need the whole file anyway,
// arrive as one block of all points. A block holds until `use_block` returns; it may be moved from.
[[nodiscard]] Outcome<void> for_each_block(const std::filesystem::path& path, std::size_t block_points,
                                           const ReadCloudSettings& settings, Workers& workers,
                                           const std::function<void(Cloud& block)>& use_block);

}  // namespace rimwright
