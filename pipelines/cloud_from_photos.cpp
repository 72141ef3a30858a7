#include "pipelines/cloud_from_photos.h"

#include <array>

#include "pipelines/place_photos.h"

namespace rimwright {
namespace {

using namespace std::string_view_literals;

constexpr std::size_t fewest_patches = 300;  // a few square centimetres; no rim can be measured in less
constexpr std::array surface_stages{"over_table."sv, "seed_faces."sv, "zone."sv,   "grow."sv,
                                    "support."sv,    "frames."sv,     "edges."sv,  "drop_ledges."sv,
                                    "trim."sv,       "on_face."sv,    "ledges."sv, "clear."sv};

Outcome<std::vector<Patch>> measure_surface(const PhotoStack& stack, const std::vector<Patch>& first_seeds,
                                            const PhotoSettings& settings, Workers& workers) {
  settings.say("measuring the surface");
  const SeedsOverTable wood = seed_over_table(stack, first_seeds, settings.target, settings.over_table, workers);
  std::vector<Patch> seeds = wood.seeds;
  const std::vector<Patch> more = seed_faces(stack, seeds, settings.seed_faces, workers);
  seeds.insert(seeds.end(), more.begin(), more.end());
  const SurfaceZone zone(seeds, settings.target, settings.zone);
  if (zone.is_empty()) {
    return refuse(RefusalReason::capture_insufficient, "no side face is seen in the photos",
                  "take some from lower down, and scribble with a pencil on plain wood");
  }
  const GrowWhere where{[&](const Vector3& at) { return zone.holds(at) && !wood.on_table(at, settings.over_table); },
                        [&](const Vector3& at) { return zone.along_rim(at); }};
  std::vector<Patch> patches = grow_patches(stack, seeds, where, settings.grow, workers);
  patches = keep_supported(std::move(patches), settings.support);

  settings.say("measuring ledges");
  const auto sections = rim_sections(patches, rim_frames(patches, settings.frames), settings.edges);
  const auto edges = edge_frames(sections, settings.edges);
  patches = drop_ledges(patches, sections, settings.drop_ledges);
  patches = trim_edges(stack, std::move(patches), where, settings.grow.refine, settings.trim, workers);
  patches = drop_ledges(patches, sections, settings.drop_ledges);
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
  WorkFolder work(settings.work);
  const auto placed = place_photos(folder, settings, work, workers);
  if (!placed) return tl::unexpected(placed.error());
  const auto& [network, adjusted, seeds] = placed->cameras;
  const PhotoStack stack = stack_of(placed->set, network, settings, workers);

  const std::string made_from = placed->made_from + photo_settings_text(settings, surface_stages);
  std::optional<std::vector<Patch>> patches;
  if (const auto bytes = work.find("surface", made_from)) patches = patches_from(*bytes, placed->set.photos.size());
  if (!patches) {
    auto measured = measure_surface(stack, seeds, settings, workers);
    if (!measured) return tl::unexpected(measured.error());
    patches = std::move(*measured);
    work.keep("surface", made_from, bytes_of(*patches));
  }
  work.write();
  work.remove_unused();

  settings.say("comparing the halves");
  const HalvesReport halves = compare_halves(stack, *patches, settings.halves, workers);
  auto cloud = cloud_of_patches(*patches, settings.target, settings.print, settings.cloud);
  if (!cloud) return cloud;
  cloud->capture_error = halves.error;
  cloud->notes = photo_verdict({settings.target, placed->set, network, adjusted, stack, *patches, halves, cloud->scale},
                               settings.verdict);
  if (work.damaged() > 0) {
    cloud->notes.push_back(std::to_string(work.damaged()) +
                           " kept work files were damaged or not ours; they were made anew");
  }
  return cloud;
}

}  // namespace rimwright
