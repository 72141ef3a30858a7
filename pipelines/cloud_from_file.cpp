#include "pipelines/cloud_from_file.h"

#include <utility>

namespace rimwright {

Outcome<Cloud> cloud_from_file(const std::filesystem::path& path, const CloudFromFileSettings& settings,
                               Workers& workers) {
  const auto points = points_in(path);
  if (points && *points > settings.large.points_above)
    return cloud_from_large_file(path, *points, settings.large, settings.find_rim, settings.units, settings.clean,
                                 workers);
  ReadCloudSettings read = settings.read;
  read.keep_colours = false;  // a rim is measured by its shape
  auto scan = read_cloud(path, read, workers);
  if (!scan) return tl::unexpected(scan.error());
  auto scan_mm = to_millimetres(*std::move(scan), settings.units, workers);
  if (!scan_mm) return tl::unexpected(scan_mm.error());
  Cloud cloud = sample_faces(*std::move(scan_mm), settings.faces);
  return clean_cloud(std::move(cloud), settings.clean, workers);
}

}  // namespace rimwright
