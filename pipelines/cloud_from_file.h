// The chain from a scan file to a cloud: read it, find its unit, take points from its faces, drop what is none.
#pragma once

#include <filesystem>

#include "capture/clean_cloud.h"
#include "capture/read_cloud.h"
#include "capture/sample_faces.h"
#include "capture/units.h"
#include "pipelines/cloud_from_large_file.h"

namespace rimwright {

struct CloudFromFileSettings {
  ReadCloudSettings read;
  UnitsSettings units;
  SampleFacesSettings faces;
  CleanCloudSettings clean;
  LargeFileSettings large;
  FindRimSettings find_rim;  // of large files; read_settings sets it to those of measuring
};

// A scan of more points than large.points_above is thinned on the way in. Refusals are those of the stages, which see.
[[nodiscard]] Outcome<Cloud> cloud_from_file(const std::filesystem::path& path, const CloudFromFileSettings& settings,
                                             Workers& workers);

}  // namespace rimwright
