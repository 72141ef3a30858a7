#include "pipelines/cloud_from_scan.h"

#include <algorithm>
#include <array>
#include <string>

namespace rimwright {

namespace {

bool is_picture(const std::filesystem::path& path) {
  std::string ending = path.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  constexpr std::array<const char*, 5> endings{".jpg", ".jpeg", ".png", ".heic", ".heif"};
  return std::find(endings.begin(), endings.end(), ending) != endings.end();
}

}  // namespace

Outcome<Cloud> cloud_from_scan(const std::filesystem::path& scan, const CloudFromScanSettings& settings,
                               Workers& workers) {
  std::error_code error;
  const auto status = std::filesystem::status(scan, error);
  if (!std::filesystem::exists(status))
    return refuse(RefusalReason::file_not_found, "there is no file or folder " + scan.string(),
                  "check the name of the scan");
  if (!std::filesystem::is_directory(status)) return cloud_from_file(scan, settings.file, workers);
  if (std::filesystem::is_directory(scan / "depth", error) || std::filesystem::exists(scan / "depth.txt", error))
    return cloud_from_depth(scan, settings.depth, workers);
  for (std::filesystem::directory_iterator entry(scan, error), end; !error && entry != end; entry.increment(error))
    if (is_picture(entry->path())) return cloud_from_photos(scan, settings.photos, workers);
  return refuse(RefusalReason::file_not_supported,
                "the folder " + scan.string() + " holds neither photos nor a depth capture",
                "give a scan file, a folder of .jpg, .png or .heic photos, or a folder with depth/ and intrinsic.json");
}

}  // namespace rimwright
