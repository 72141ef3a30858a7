#include "pipelines/cloud_from_depth.h"

namespace rimwright {

Outcome<Cloud> cloud_from_depth(const std::filesystem::path& folder, const DepthSettings& settings, Workers& workers) {
  const auto capture = read_depth_capture(folder, settings.read);
  if (!capture) return tl::unexpected(capture.error());
  auto patches = patches_of_all(*capture, settings_for(*capture, settings.patches), workers);
  const auto noise = estimate_noise(patches);
  if (!noise) return tl::unexpected(noise.error());
  drop_edge_patches(patches, *noise);
  const auto alignment = align_frames(*capture, patches, *noise, settings.align, workers);
  if (!alignment) return tl::unexpected(alignment.error());
  const auto zone = DepthRimZone::from(patches, *alignment, settings.zone);
  if (!zone) return tl::unexpected(zone.error());
  auto cloud = fuse_frames(*capture, *alignment, *noise, *zone, settings.fuse, workers);
  if (!cloud) return tl::unexpected(cloud.error());
  const auto scale = scale_from_target(*capture, settings.target, workers);
  if (!scale) return tl::unexpected(scale.error());
  apply_target_scale(*cloud, *scale, settings.target);
  cloud->notes = capture_verdict(*capture, *alignment, *noise, *zone, *scale, settings.verdict);
  return cloud;
}

}  // namespace rimwright
