// PCD (Point Cloud Data, version .7 and earlier): ascii, binary and binary_compressed.
//
// Read: fields x y z, normal_x normal_y normal_z, rgb or rgba (four bytes packed as 0xaarrggbb, whatever their declared
// type), sigma. Other fields are skipped. Points without a value (NaN in organised clouds) stay and are
// counted later. The viewpoint is not applied: coordinates are taken as written.
#pragma once

#include "capture/file/bytes.h"
#include "capture/file/cloud_arrays.h"
#include "capture/read_cloud.h"
#include "capture/scan_file.h"

namespace rimwright {

[[nodiscard]] Outcome<ScanFile> read_pcd(const FileBytes& file, const ReadCloudSettings& settings, Workers& workers);
[[nodiscard]] Outcome<std::uint64_t> pcd_points(const FileBytes& file);  // as the header states
// Compressed files must be held whole while they are expanded; their points still come in blocks.
[[nodiscard]] Outcome<void> for_each_pcd_block(const FileBytes& file, std::size_t block_points, Workers& workers,
                                               const UseBlock& use_block);

}  // namespace rimwright
