// Results of the photo stages as bytes and back. Reading holds no more than the bytes give, and yields nothing when
// they are not exactly one result, for that many photos or of a target with that many corners, in which every number of
// a photo, lens, point, corner or feature is in range and every length, direction and pixel can be one.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "capture/photos/adjust_cameras.h"
#include "capture/photos/camera.h"
#include "capture/photos/find_features.h"
#include "capture/photos/find_target.h"
#include "capture/photos/refine_patch.h"

namespace rimwright {

struct SeenInPhoto {
  std::vector<TargetCorner> corners;
  Features features;
};
struct PlacedCameras {
  CameraNetwork network;
  AdjustReport adjusted;
  std::vector<Patch> seeds;
};

[[nodiscard]] std::string bytes_of(const SeenInPhoto& seen);
[[nodiscard]] std::string bytes_of(const PlacedCameras& cameras);
[[nodiscard]] std::string bytes_of(const std::vector<Patch>& patches);
[[nodiscard]] std::optional<SeenInPhoto> seen_from(std::string_view bytes, std::size_t corners);
[[nodiscard]] std::optional<PlacedCameras> cameras_from(std::string_view bytes, std::size_t photos);
[[nodiscard]] std::optional<std::vector<Patch>> patches_from(std::string_view bytes, std::size_t photos);

}  // namespace rimwright
