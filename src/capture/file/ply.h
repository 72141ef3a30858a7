// PLY: text and binary of either byte order, properties in any order and of any type, extra properties and elements.
//
// Read: element 'vertex' (x y z; nx ny nz; red green blue, also r g b and diffuse_*; sigma, the standard deviation of a
// point along its normal in the file's unit) and the lists vertex_indices or vertex_index of element 'face'.
// A text row is a line. The header may not promise more than the file can hold.
#pragma once

#include "capture/file/bytes.h"
#include "capture/file/cloud_arrays.h"
#include "capture/read_cloud.h"
#include "capture/scan_file.h"

namespace rimwright {

[[nodiscard]] Outcome<ScanFile> read_ply(const FileBytes& file, const ReadCloudSettings& settings, Workers& workers);
[[nodiscard]] Outcome<std::uint64_t> ply_points(const FileBytes& file);  // as the header states, if they fit
// Vertices only, in blocks of at most `block_points` (text: rather more).
[[nodiscard]] Outcome<void> for_each_ply_block(const FileBytes& file, std::size_t block_points, Workers& workers,
                                               const UseBlock& use_block);

}  // namespace rimwright
