#include "capture/photos/place_by_target.h"

#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>

namespace rimwright {
namespace {

// Largest angle at the target's middle between two photos' lines of sight.
double widest_angle_deg(const CameraNetwork& network, const Vector3& middle) {
  std::vector<Vector3> sights;
  for (std::size_t i = 0; i < network.lens_of.size(); ++i) {
    if (network.placed[i]) sights.push_back((network.view(i).centre_sheet_mm() - middle).normalized());
  }
  double least_cosine = 1.0;
  for (const Vector3& a : sights) {
    for (const Vector3& b : sights) least_cosine = std::min(least_cosine, a.dot(b));
  }
  return degrees_from_radians(std::acos(std::clamp(least_cosine, -1.0, 1.0)));
}

bool place(CameraNetwork& network, std::size_t photo, const std::vector<TargetCorner>& corners) {
  std::vector<cv::Point3d> object;
  std::vector<cv::Point2d> image;
  for (const TargetCorner& c : corners) {
    const Vector3& p = network.points[static_cast<std::size_t>(c.index)].at_sheet_mm;
    object.emplace_back(p.x(), p.y(), p.z());
    image.emplace_back(c.pixel.x(), c.pixel.y());
  }
  const Lens& lens = network.lenses[network.lens_of[photo]];
  const cv::Matx33d camera(lens.focal_px, 0, lens.centre_x_px, 0, lens.focal_px, lens.centre_y_px, 0, 0, 1);
  cv::Vec3d turn, shift;
  try {
    if (!cv::solvePnP(object, image, camera, cv::noArray(), turn, shift, false, cv::SOLVEPNP_IPPE)) return false;
    cv::solvePnPRefineLM(object, image, camera, cv::noArray(), turn, shift);
  } catch (const cv::Exception&) {
    return false;  // corners on one line, for instance
  }
  cv::Matx33d rotation;
  cv::Rodrigues(turn, rotation);
  for (int i = 0; i < 3; ++i) {
    for (int j = 0; j < 3; ++j) network.T_camera_sheet[photo](i, j) = rotation(i, j);
    network.T_camera_sheet[photo](i, 3) = shift[i];
  }
  const View view = network.view(photo);
  const bool in_front = (view.T_camera_sheet * network.points[0].at_sheet_mm).z() > 0.0;
  return in_front && view.centre_sheet_mm().z() > 0.0;  // the print is seen from its front
}

CameraNetwork empty_network(const PhotoSet& set, const ScaleTarget& target, const PlaceByTargetSettings& settings) {
  CameraNetwork network;
  network.lenses.resize(set.lens_count);
  for (const Photo& photo : set.photos) {
    const double focal_35 = photo.focal_mm_35 > 0.0 ? photo.focal_mm_35 : settings.focal_unknown_mm_35;
    Lens& lens = network.lenses[photo.lens];
    // 35 mm film is 36 x 24 mm; the equivalence is by the diagonal (CIPA DCG-001).
    lens.focal_px = focal_35 * std::hypot(photo.width, photo.height) / std::hypot(36.0, 24.0);
    lens.centre_x_px = 0.5 * (photo.width - 1);
    lens.centre_y_px = 0.5 * (photo.height - 1);
    network.lens_of.push_back(photo.lens);
    network.size_px.emplace_back(photo.width, photo.height);
  }
  network.T_camera_sheet.assign(set.photos.size(), Transform::Identity());
  network.focal_factor.assign(set.photos.size(), 1.0);
  network.centre_shift_px.assign(set.photos.size(), Vector2::Zero());
  network.placed.assign(set.photos.size(), false);
  const double plane = settings.corner_in_plane_sigma_mm, height = settings.corner_height_sigma_mm;
  for (const Vector3& c : target_corners_mm(target)) {
    const Vector3 at(c.x(), -c.y(), 0.0);
    network.points.push_back({at, at, Vector3(plane, plane, height), true});
  }
  return network;
}

}  // namespace

Outcome<CameraNetwork> place_by_target(const PhotoSet& set, const std::vector<std::vector<TargetCorner>>& corners,
                                       const ScaleTarget& target, const PlaceByTargetSettings& settings,
                                       const AdjustCamerasSettings& adjust) {
  CameraNetwork network = empty_network(set, target, settings);
  std::size_t placed = 0;
  for (std::size_t i = 0; i < set.photos.size(); ++i) {
    if (corners[i].size() < settings.fewest_corners || !place(network, i, corners[i])) continue;
    network.placed[i] = true;
    ++placed;
    for (const TargetCorner& c : corners[i]) {
      network.sightings.push_back({static_cast<std::uint32_t>(i), static_cast<std::uint32_t>(c.index), c.pixel});
    }
  }
  if (placed == 0) {
    return refuse(RefusalReason::capture_insufficient,
                  "none of the " + std::to_string(set.photos.size()) + " photos shows the scale target",
                  "lay the printed target (rimwright target) flat beside the bevel");
  }
  if (placed < 3) {
    return refuse(RefusalReason::capture_insufficient,
                  "only " + std::to_string(placed) + " photos show the scale target readably",
                  "take 24 photos with the whole target in view, sharp and not too slanting");
  }
  const Vector3 middle(0.5 * target.width_mm(), -0.5 * target.height_mm(), 0.0);
  if (const double angle = widest_angle_deg(network, middle); angle < 15.0) {
    return refuse(RefusalReason::capture_insufficient,
                  "all photos were taken from one spot (they see the target within " +
                      std::to_string(static_cast<int>(std::lround(angle))) + " degrees)",
                  "walk round the bevel between photos, high and low");
  }
  AdjustCamerasSettings board_only = adjust;
  board_only.drifts_free = false;  // a flat board alone cannot tell them from the pose
  if (const auto report = adjust_cameras(network, board_only); !report) return tl::unexpected(report.error());
  return network;
}

}  // namespace rimwright
