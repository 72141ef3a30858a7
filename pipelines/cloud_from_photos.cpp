#include "pipelines/cloud_from_photos.h"

namespace rimwright {
namespace {

void say(const PhotoSettings& settings, const std::string& words) {
  if (settings.progress) settings.progress(words);
}

std::vector<std::vector<TargetCorner>> find_targets(const PhotoSet& set, const PhotoSettings& settings,
                                                    Workers& workers) {
  std::vector<std::vector<TargetCorner>> corners(set.photos.size());
  workers.for_chunks(corners.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      corners[i] = find_target(set.photos[i], settings.target, settings.find_target);
    }
  });
  return corners;
}

}  // namespace

Outcome<Cloud> cloud_from_photos(const std::filesystem::path& folder, const PhotoSettings& settings, Workers& workers) {
  say(settings, "reading photos");
  const auto set = read_photos(folder, settings.read, workers);
  if (!set) return tl::unexpected(set.error());

  say(settings, "finding the target in " + std::to_string(set->photos.size()) + " photos");
  const auto corners = find_targets(*set, settings, workers);
  auto network = place_by_target(*set, corners, settings.target, settings.place, settings.adjust);
  if (!network) return tl::unexpected(network.error());

  say(settings, "matching features");
  match_features(*set, settings.match, workers, *network);
  if (const auto adjusted = adjust_cameras(*network, settings.adjust); !adjusted) {
    return tl::unexpected(adjusted.error());
  }

  say(settings, "refining the cameras");
  PhotoStack stack{network->views(), smooth_photos(*set, settings.smooth_px, 1, workers)};
  const std::vector<Patch> seeds = seed_patches(*network, stack, settings.seeds, workers);
  tie_by_patches(seeds, stack, settings.seeds, workers, *network);
  if (const auto adjusted = adjust_cameras(*network, settings.adjust); !adjusted) {
    return tl::unexpected(adjusted.error());
  }
  stack.views = network->views();

  say(settings, "measuring the surface");
  const SurfaceZone zone(seeds, settings.target, settings.zone);
  if (zone.is_empty()) {
    return refuse(RefusalReason::capture_insufficient, "no side face is seen in the photos",
                  "take some from lower down, and scribble with a pencil on plain wood");
  }
  std::vector<Patch> patches = grow_patches(
      stack, seeds, [&](const Vector3& at) { return zone.holds(at); }, settings.grow, workers);
  patches = keep_supported(std::move(patches), settings.support);
  const HalvesReport halves = compare_halves(stack, patches, settings.halves, workers);
  auto cloud = cloud_of_patches(patches, settings.target, settings.print, settings.cloud);
  if (!cloud) return cloud;
  cloud->capture_error = halves.error;
  return cloud;
}

}  // namespace rimwright
