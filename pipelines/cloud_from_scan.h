// Three ways in, one thing out: looks at what SCAN is and hands it to the chain for it.
#pragma once

#include "pipelines/cloud_from_depth.h"
#include "pipelines/cloud_from_file.h"
#include "pipelines/cloud_from_photos.h"

namespace rimwright {

struct CloudFromScanSettings {
  CloudFromFileSettings file;
  DepthSettings depth;
  PhotoSettings photos;
};

// A file is read as a scan; a folder with depth/ (or a TUM depth.txt) as a depth capture; a folder with pictures as
// photos. Refuses (file_not_found, file_not_supported) anything else; other refusals are those of the chains.
[[nodiscard]] Outcome<Cloud> cloud_from_scan(const std::filesystem::path& scan, const CloudFromScanSettings& settings,
                                             Workers& workers);

}  // namespace rimwright
