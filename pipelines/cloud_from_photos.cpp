#include "pipelines/cloud_from_photos.h"

namespace rimwright {
namespace {

constexpr std::size_t fewest_patches = 300;  // a few square centimetres; no rim can be measured in less

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

// Photos that could not be placed are left empty, so that no patch asks them.
PhotoStack stack_of(const PhotoSet& set, const CameraNetwork& network, const PhotoSettings& settings,
                    Workers& workers) {
  PhotoStack stack{network.views(), smooth_photos(set, settings.smooth_px, 1, workers)};
  for (std::size_t i = 0; i < set.photos.size(); ++i) {
    if (!network.placed[i]) stack.photos[i] = SmoothPhoto{};
  }
  return stack;
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
  const std::vector<Features> features = find_features(*set, settings.features, workers);
  match_features(features, settings.match, workers, *network);
  if (const auto adjusted = adjust_cameras(*network, settings.adjust); !adjusted) {
    return tl::unexpected(adjusted.error());
  }

  place_by_features(features, settings.place_rest, workers, *network);

  say(settings, "refining the cameras");
  PhotoStack stack = stack_of(*set, *network, settings, workers);
  const std::vector<Patch> seeds = seed_patches(*network, stack, settings.seeds, workers);
  tie_by_patches(seeds, stack, settings.seeds, workers, *network);
  const auto adjusted = adjust_cameras(*network, settings.adjust);
  if (!adjusted) return tl::unexpected(adjusted.error());
  stack.views = network->views();

  say(settings, "measuring the surface");
  const SurfaceZone zone(seeds, settings.target, settings.zone);
  if (zone.is_empty()) {
    return refuse(RefusalReason::capture_insufficient, "no side face is seen in the photos",
                  "take some from lower down, and scribble with a pencil on plain wood");
  }
  const GrowWhere where{[&](const Vector3& at) { return zone.holds(at); },
                        [&](const Vector3& at) { return zone.along_rim(at); }};
  std::vector<Patch> patches = grow_patches(stack, seeds, where, settings.grow, workers);
  patches = keep_supported(std::move(patches), settings.support);
  if (patches.size() < fewest_patches) {
    return refuse(RefusalReason::capture_insufficient, "the photos agree on too little of the wood beside the rim",
                  "scribble over it with a soft pencil and take 24 photos all round, high and low");
  }
  const HalvesReport halves = compare_halves(stack, patches, settings.halves, workers);
  auto cloud = cloud_of_patches(patches, settings.target, settings.print, settings.cloud);
  if (!cloud) return cloud;
  cloud->capture_error = halves.error;
  cloud->notes = photo_verdict({*set, *network, *adjusted, stack, patches, halves}, settings.verdict);
  return cloud;
}

}  // namespace rimwright
