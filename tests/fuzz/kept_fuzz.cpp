// Any bytes as kept photo work, chosen by the first byte: features of a photo, cameras, patches, or a whole file of the
// work folder. Nothing comes back that would not be written just so; what comes back can be put to its use.
#include <unistd.h>

#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>

#include "capture/photos/cloud_of_patches.h"
#include "capture/photos/compare_halves.h"
#include "capture/photos/kept_bytes.h"
#include "capture/photos/match_features.h"
#include "capture/photos/photo_verdict.h"
#include "capture/photos/rim_frames.h"
#include "capture/photos/surface_zone.h"
#include "capture/photos/work_folder.h"

namespace {

using namespace rimwright;

constexpr std::size_t photo_count = 4;

// Photos of noise, so that no patch is too plain.
std::vector<SmoothPhoto> noisy_photos() {
  std::vector<SmoothPhoto> photos;
  std::uint32_t grey = 1;
  for (std::size_t i = 0; i < photo_count; ++i) {
    SmoothPhoto photo{64, 48, {}};
    for (int k = 0; k < photo.width * photo.height; ++k) {
      grey = grey * 1664525u + 1013904223u;
      photo.values.push_back(static_cast<std::uint16_t>(grey >> 17));
    }
    photos.push_back(std::move(photo));
  }
  return photos;
}

void use(const SeenInPhoto& seen) {
  static Workers workers(1);
  CameraNetwork network;
  network.lenses = {{100.0, 32.0, 24.0, 0.0, 0.0, 0.0, 0.0}};
  for (int i = 0; i < 3; ++i) {  // 300 mm above the sheet, looking down, 60 mm from each other
    Transform T = Transform::Identity();
    T.linear() = Vector3(1.0, -1.0, -1.0).asDiagonal();
    T.translation() = Vector3(60.0 * i, 0.0, 300.0);
    network.T_camera_sheet.push_back(T);
    network.lens_of.push_back(0);
    network.focal_factor.push_back(1.0);
    network.centre_shift_px.emplace_back(Vector2::Zero());
    network.size_px.emplace_back(64.0, 48.0);
    network.placed.push_back(true);
  }
  (void)match_features({seen.features, seen.features, seen.features}, {}, workers, network);
  for (const Vector2& pixel : seen.features.pixels) {
    if (!seen.features.cells.empty() && seen.features.cell_at(pixel) >= seen.features.cells.size()) std::abort();
  }
}

void use(const std::vector<Patch>& patches) {
  const auto cloud = cloud_of_patches(patches, {}, {}, {});
  if (!cloud || cloud->size() != patches.size()) std::abort();
  if (patches.size() > 100) return;  // the rest takes their square
  (void)rim_frames(patches, {});
  const SurfaceZone zone(patches, {}, {});
  for (const Patch& patch : patches) {
    if (!zone.is_empty() && zone.holds(patch.at_sheet_mm) && !zone.along_rim(patch.at_sheet_mm).allFinite())
      std::abort();
  }
}

void use(const PlacedCameras& cameras) {
  static Workers workers(1);
  static const std::vector<SmoothPhoto> photos = noisy_photos();
  const PhotoStack stack{cameras.network.views(), photos};
  use(cameras.seeds);
  if (cameras.seeds.size() > 100) return;
  PhotoSet set;
  set.photos.resize(photo_count);
  const HalvesReport halves = compare_halves(stack, cameras.seeds, {}, workers);
  (void)photo_verdict({ScaleTarget{}, set, cameras.network, cameras.adjusted, stack, cameras.seeds, halves, Scale{}},
                      {});
  for (Patch patch : cameras.seeds) {
    (void)sight_patch(stack, patch, {});
    const auto chosen = choose_photos(stack, patch.at_sheet_mm, patch.normal_sheet, {});
    (void)refine_patch(stack, chosen, {}, patch);
    const std::vector<std::uint16_t> all{0, 1, 2, 3};
    (void)refine_patch(stack, all, {}, patch);
  }
}

template <class Value>
void check(const std::optional<Value>& value, std::string_view bytes) {
  if (!value) return;
  if (bytes_of(*value) != bytes) std::abort();
  use(*value);
}

void as_file(std::string_view bytes) {
  namespace fs = std::filesystem;
  static const fs::path folder = fs::temp_directory_path() / ("kept-fuzz-" + std::to_string(::getpid()));
  fs::create_directories(folder);
  const fs::path path = folder / ("surface-" + digest_of("key").substr(0, 20) + ".work");
  std::ofstream(path, std::ios::binary) << bytes;
  WorkFolder work(folder);
  const auto found = work.find("surface", "key");
  if (found.has_value() == (work.damaged() > 0)) std::abort();
  if (found) check(patches_from(*found, photo_count), *found);
  fs::remove_all(folder);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::string_view bytes(reinterpret_cast<const char*>(data) + 1, size - 1);
  switch (data[0] % 4) {
    case 0: check(seen_from(bytes, target_corners_mm({}).size()), bytes); break;
    case 1: check(cameras_from(bytes, photo_count), bytes); break;
    case 2: check(patches_from(bytes, photo_count), bytes); break;
    default: as_file(bytes);
  }
  return 0;
}
