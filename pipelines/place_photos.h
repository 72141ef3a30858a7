// The first half of the chain of photos: what is seen in them, and where they were taken from.
#pragma once

#include <filesystem>
#include <span>
#include <string>
#include <string_view>

#include "capture/photos/kept_bytes.h"
#include "capture/photos/work_folder.h"
#include "pipelines/cloud_from_photos.h"

namespace rimwright {

struct PlacedPhotos {
  PhotoSet set;
  PlacedCameras cameras;
  std::string made_from;  // photos and settings, for the keys of work that builds on it
};

// Features and cameras are taken from the work folder where it has them, and kept there. Refuses as cloud_from_photos.
[[nodiscard]] Outcome<PlacedPhotos> place_photos(const std::filesystem::path& folder, const PhotoSettings& settings,
                                                 WorkFolder& work, Workers& workers);

// The photos smoothed for matching. Those that could not be placed are left empty, so that no patch asks them.
[[nodiscard]] PhotoStack stack_of(const PhotoSet& set, const CameraNetwork& network, const PhotoSettings& settings,
                                  Workers& workers);

// The settings of some stages and their values: work made with others is not reused.
[[nodiscard]] std::string photo_settings_text(const PhotoSettings& settings, std::span<const std::string_view> groups);

}  // namespace rimwright
