#include "pipelines/cloud_from_photos.h"

#include <algorithm>
#include <initializer_list>

#include "capture/photos/kept_bytes.h"
#include "capture/photos/work_folder.h"
#include "pipelines/settings_table.h"

namespace rimwright {
namespace {

constexpr std::size_t fewest_patches = 300;  // a few square centimetres; no rim can be measured in less

void say(const PhotoSettings& settings, const std::string& words) {
  if (settings.progress) settings.progress(words);
}

// The settings of some stages and their values: work made with others is not reused.
std::string settings_text(const PhotoSettings& settings, std::initializer_list<std::string_view> groups) {
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

// What each kind of kept work was made from.
struct WorkKeys {
  std::vector<std::string> features;  // by photo
  std::string cameras, surface;
};

WorkKeys work_keys(const PhotoSet& set, const PhotoSettings& settings, Workers& workers) {
  WorkKeys keys;
  keys.features.resize(set.photos.size());
  workers.for_chunks(set.photos.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      const Photo& photo = set.photos[i];
      const std::string_view pixels(reinterpret_cast<const char*>(photo.grey.data()), photo.grey.size());
      keys.features[i] = std::to_string(photo.width) + "x" + std::to_string(photo.height) + " " + digest_of(pixels);
    }
  });
  const std::string seeing = settings_text(settings, {"target.", "find_target.", "features."});
  for (std::size_t i = 0; i < keys.features.size(); ++i) {
    keys.cameras += std::to_string(set.photos[i].lens) + " " + std::to_string(set.photos[i].focal_mm_35) + " " +
                    keys.features[i] + "\n";
    keys.features[i] += "\n" + seeing;
  }
  keys.cameras +=
      seeing + settings_text(settings, {"smooth_px", "place.", "match.", "place_rest.", "adjust.", "seeds."});
  keys.surface =
      keys.cameras + settings_text(settings, {"seed_faces.", "zone.", "grow.", "support.", "strips.", "frames.",
                                              "edges.", "trim.", "on_face.", "ledges.", "clear."});
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
  say(settings, "finding target and features in " + std::to_string(unknown.size()) + " photos");
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

// Photos that could not be placed are left empty, so that no patch asks them.
PhotoStack stack_of(const PhotoSet& set, const CameraNetwork& network, const PhotoSettings& settings,
                    Workers& workers) {
  PhotoStack stack{network.views(), smooth_photos(set, settings.smooth_px, 1, workers)};
  for (std::size_t i = 0; i < set.photos.size(); ++i) {
    if (!network.placed[i]) stack.photos[i] = SmoothPhoto{};
  }
  return stack;
}

Outcome<PlacedCameras> place_cameras(const PhotoSet& set, const std::vector<SeenInPhoto>& seen,
                                     const PhotoSettings& settings, Workers& workers) {
  std::vector<std::vector<TargetCorner>> corners;
  std::vector<Features> features;
  for (const SeenInPhoto& photo : seen) corners.push_back(photo.corners), features.push_back(photo.features);
  auto network = place_by_target(set, corners, settings.target, settings.place, settings.adjust);
  if (!network) return tl::unexpected(network.error());

  say(settings, "matching features");
  const std::size_t ties = match_features(features, settings.match, workers, *network);
  say(settings, "placing the cameras by " + std::to_string(ties) + " points of wood");
  if (const auto adjusted = adjust_cameras(*network, settings.adjust); !adjusted) {
    return tl::unexpected(adjusted.error());
  }
  place_by_features(features, settings.place_rest, workers, *network);

  say(settings, "refining the cameras");
  const PhotoStack stack = stack_of(set, *network, settings, workers);
  std::vector<Patch> seeds = seed_patches(*network, stack, settings.seeds, workers);
  say(settings, "adjusting the cameras to " + std::to_string(seeds.size()) + " patches");
  tie_by_patches(seeds, stack, settings.seeds, workers, *network);
  auto adjusted = adjust_cameras(*network, settings.adjust);
  if (!adjusted) return tl::unexpected(adjusted.error());
  return PlacedCameras{std::move(*network), std::move(*adjusted), std::move(seeds)};
}

Outcome<std::vector<Patch>> measure_surface(const PhotoStack& stack, const std::vector<Patch>& first_seeds,
                                            const PhotoSettings& settings, Workers& workers) {
  say(settings, "measuring the surface");
  std::vector<Patch> seeds = first_seeds;
  const std::vector<Patch> more = seed_faces(stack, seeds, settings.seed_faces, workers);
  seeds.insert(seeds.end(), more.begin(), more.end());
  const SurfaceZone zone(seeds, settings.target, settings.zone);
  if (zone.is_empty()) {
    return refuse(RefusalReason::capture_insufficient, "no side face is seen in the photos",
                  "take some from lower down, and scribble with a pencil on plain wood");
  }
  const GrowWhere where{[&](const Vector3& at) { return zone.holds(at); },
                        [&](const Vector3& at) { return zone.along_rim(at); }};
  std::vector<Patch> patches = grow_patches(stack, seeds, where, settings.grow, workers);
  patches = keep_supported(std::move(patches), settings.support);
  patches = drop_strips(patches, settings.strips);

  say(settings, "measuring ledges");
  const auto edges = edge_frames(patches, rim_frames(patches, settings.frames), settings.edges);
  patches = trim_edges(stack, std::move(patches), where, settings.grow.refine, settings.trim, workers);
  patches = drop_strips(patches, settings.strips);
  patches = keep_on_face(patches, settings.on_face, workers);
  const std::vector<Patch> ledges = sweep_ledges(stack, patches, edges, settings.ledges, workers);
  patches.insert(patches.end(), ledges.begin(), ledges.end());
  patches = clear_edges(patches, settings.clear);
  if (patches.size() < fewest_patches) {
    return refuse(RefusalReason::capture_insufficient, "the photos agree on too little of the wood beside the rim",
                  "scribble over it with a soft pencil and take 24 photos all round, high and low");
  }
  return patches;
}

}  // namespace

Outcome<Cloud> cloud_from_photos(const std::filesystem::path& folder, const PhotoSettings& settings, Workers& workers) {
  say(settings, "reading photos");
  const auto set = read_photos(folder, settings.read, workers);
  if (!set) return tl::unexpected(set.error());

  WorkFolder work(settings.work);
  const WorkKeys keys = work_keys(*set, settings, workers);
  std::optional<PlacedCameras> cameras;
  if (const auto bytes = work.find("cameras", keys.cameras)) cameras = cameras_from(*bytes, set->photos.size());
  const std::vector<SeenInPhoto> seen = look_at_photos(*set, keys.features, settings, work, workers);
  if (!cameras) {
    auto placed = place_cameras(*set, seen, settings, workers);
    if (!placed) return tl::unexpected(placed.error());
    cameras = std::move(*placed);
    work.keep("cameras", keys.cameras, bytes_of(*cameras));
    work.write();
  }

  const PhotoStack stack = stack_of(*set, cameras->network, settings, workers);
  std::optional<std::vector<Patch>> patches;
  if (const auto bytes = work.find("surface", keys.surface)) patches = patches_from(*bytes, set->photos.size());
  if (!patches) {
    auto measured = measure_surface(stack, cameras->seeds, settings, workers);
    if (!measured) return tl::unexpected(measured.error());
    patches = std::move(*measured);
    work.keep("surface", keys.surface, bytes_of(*patches));
  }
  work.write();
  work.remove_unused();

  say(settings, "comparing the halves");
  const HalvesReport halves = compare_halves(stack, *patches, settings.halves, workers);
  auto cloud = cloud_of_patches(*patches, settings.target, settings.print, settings.cloud);
  if (!cloud) return cloud;
  cloud->capture_error = halves.error;
  cloud->notes = photo_verdict({*set, cameras->network, cameras->adjusted, stack, *patches, halves}, settings.verdict);
  if (work.damaged() > 0) {
    cloud->notes.push_back(std::to_string(work.damaged()) +
                           " kept work files were damaged or not ours; they were made anew");
  }
  return cloud;
}

}  // namespace rimwright
