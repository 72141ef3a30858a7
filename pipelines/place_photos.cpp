#include "pipelines/place_photos.h"

#include <algorithm>
#include <array>

#include "pipelines/settings_table.h"

namespace rimwright {
namespace {

using namespace std::string_view_literals;

constexpr std::array seeing_stages{"target."sv, "find_target."sv, "features."sv};
constexpr std::array placing_stages{"smooth_px"sv, "place."sv, "match."sv, "place_rest."sv, "adjust."sv, "seeds."sv};

// What a photo's features are made from, settings apart.
std::vector<std::string> pixels_of(const PhotoSet& set, Workers& workers) {
  std::vector<std::string> keys(set.photos.size());
  workers.for_chunks(set.photos.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      const Photo& photo = set.photos[i];
      const std::string_view pixels(reinterpret_cast<const char*>(photo.grey.data()), photo.grey.size());
      keys[i] = std::to_string(photo.width) + "x" + std::to_string(photo.height) + " " + digest_of(pixels);
    }
  });
  return keys;
}

// Target and features of every photo, from the work folder where they are known.
std::vector<SeenInPhoto> look_at_photos(const PhotoSet& set, const std::vector<std::string>& keys,
                                        const PhotoSettings& settings, WorkFolder& work, Workers& workers) {
  std::vector<SeenInPhoto> seen(set.photos.size());
  const std::size_t corners = target_corners_mm(settings.target).size();
  std::vector<std::size_t> unknown;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    const auto bytes = work.find("features", keys[i]);
    auto known = bytes ? seen_from(*bytes, corners) : std::nullopt;
    known ? void(seen[i] = std::move(*known)) : unknown.push_back(i);
  }
  settings.say("finding target and features in " + std::to_string(unknown.size()) + " photos");
  workers.for_chunks(unknown.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t k = begin; k < end; ++k) {
      const Photo& photo = set.photos[unknown[k]];
      seen[unknown[k]] = {find_target(photo, settings.target, settings.find_target),
                          find_features(photo, settings.features)};
    }
  });
  for (std::size_t i : unknown) work.keep("features", keys[i], bytes_of(seen[i]));
  return seen;
}

Outcome<PlacedCameras> place_cameras(const PhotoSet& set, const std::vector<SeenInPhoto>& seen,
                                     const PhotoSettings& settings, Workers& workers) {
  std::vector<std::vector<TargetCorner>> corners;
  std::vector<Features> features;
  for (const SeenInPhoto& photo : seen) corners.push_back(photo.corners), features.push_back(photo.features);
  auto network = place_by_target(set, corners, settings.target, settings.place, settings.adjust);
  if (!network) return tl::unexpected(network.error());

  settings.say("matching features");
  const std::size_t ties = match_features(features, settings.match, workers, *network);
  settings.say("placing the cameras by " + std::to_string(ties) + " points of wood");
  if (const auto adjusted = adjust_cameras(*network, settings.adjust); !adjusted) {
    return tl::unexpected(adjusted.error());
  }
  place_by_features(features, settings.place_rest, workers, *network);

  settings.say("refining the cameras");
  const PhotoStack stack = stack_of(set, *network, settings, workers);
  std::vector<Patch> seeds = seed_patches(*network, stack, settings.seeds, workers);
  settings.say("adjusting the cameras to " + std::to_string(seeds.size()) + " patches");
  tie_by_patches(seeds, stack, settings.seeds, workers, *network);
  auto adjusted = adjust_cameras(*network, settings.adjust);
  if (!adjusted) return tl::unexpected(adjusted.error());
  return PlacedCameras{std::move(*network), std::move(*adjusted), std::move(seeds)};
}

}  // namespace

std::string photo_settings_text(const PhotoSettings& settings, std::span<const std::string_view> groups) {
  AllSettings all;
  all.capture.photos = settings;
  const SettingsTable table(all);
  std::string text;
  for (const SettingEntry& entry : table.entries()) {
    const bool in = std::any_of(groups.begin(), groups.end(), [&](std::string_view group) {
      return entry.key.rfind("photos." + std::string(group), 0) == 0;
    });
    if (in) text += entry.key + "=" + value_text(entry) + "\n";
  }
  return text;
}

PhotoStack stack_of(const PhotoSet& set, const CameraNetwork& network, const PhotoSettings& settings,
                    Workers& workers) {
  PhotoStack stack{network.views(), smooth_photos(set, settings.smooth_px, workers)};
  for (std::size_t i = 0; i < set.photos.size(); ++i) {
    if (!network.placed[i]) stack.photos[i] = SmoothPhoto{};
  }
  return stack;
}

Outcome<PlacedPhotos> place_photos(const std::filesystem::path& folder, const PhotoSettings& settings, WorkFolder& work,
                                   Workers& workers) {
  settings.say("reading photos");
  auto set = read_photos(folder, settings.read, workers);
  if (!set) return tl::unexpected(set.error());

  PlacedPhotos placed{std::move(*set), {}, {}};
  std::vector<std::string> keys = pixels_of(placed.set, workers);
  const std::string seeing = photo_settings_text(settings, seeing_stages);
  for (std::size_t i = 0; i < keys.size(); ++i) {
    const Photo& photo = placed.set.photos[i];
    placed.made_from += std::to_string(photo.lens) + " " + std::to_string(photo.focal_mm_35) + " " + keys[i] + "\n";
    keys[i] += "\n" + seeing;
  }
  placed.made_from += seeing + photo_settings_text(settings, placing_stages);

  std::optional<PlacedCameras> cameras;
  if (const auto bytes = work.find("cameras", placed.made_from)) {
    cameras = cameras_from(*bytes, placed.set.photos.size());
  }
  const std::vector<SeenInPhoto> seen = look_at_photos(placed.set, keys, settings, work, workers);
  if (!cameras) {
    auto found = place_cameras(placed.set, seen, settings, workers);
    if (!found) return tl::unexpected(found.error());
    cameras = std::move(*found);
    work.keep("cameras", placed.made_from, bytes_of(*cameras));
    work.write();
  }
  placed.cameras = std::move(*cameras);
  return placed;
}

}  // namespace rimwright
