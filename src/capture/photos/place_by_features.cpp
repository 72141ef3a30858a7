#include "capture/photos/place_by_features.h"

#include <cmath>
#include <limits>
#include <opencv2/calib3d.hpp>
#include <optional>

namespace rimwright {
namespace {

struct Landmark {
  std::uint32_t point;
  const std::uint8_t* descriptor;
};

// One descriptor a tie point: that of its first sighting.
std::vector<Landmark> landmarks_of(const std::vector<Features>& features, const CameraNetwork& network) {
  std::vector<bool> known(network.points.size(), false);
  std::vector<Landmark> landmarks;
  for (const Sighting& s : network.sightings) {
    if (network.points[s.point].on_target || known[s.point]) continue;
    const Features& of = features[s.photo];
    for (int i : of.cells[of.cell_at(s.pixel)]) {
      if (of.pixels[static_cast<std::size_t>(i)] != s.pixel) continue;
      landmarks.push_back({s.point, of.descriptor(static_cast<std::size_t>(i))});
      known[s.point] = true;
      break;
    }
  }
  return landmarks;
}

struct Placed {
  Transform T_camera_sheet;
  std::vector<Sighting> sightings;
};

std::optional<Placed> place(const Features& features, const std::vector<Landmark>& landmarks,
                            const CameraNetwork& network, std::uint32_t photo,
                            const PlaceByFeaturesSettings& settings) {
  std::vector<cv::Point3d> object;
  std::vector<cv::Point2d> image;
  std::vector<Sighting> matches;
  const Lens& lens = network.lenses[network.lens_of[photo]];
  for (const Landmark& landmark : landmarks) {
    int first = std::numeric_limits<int>::max(), second = first;
    std::size_t best = 0;
    for (std::size_t i = 0; i < features.pixels.size(); ++i) {
      const int d = squared_distance(landmark.descriptor, features.descriptor(i));
      if (d < first) {
        second = first;
        first = d;
        best = i;
      } else {
        second = std::min(second, d);
      }
    }
    if (static_cast<double>(first) > settings.ratio * settings.ratio * static_cast<double>(second)) continue;
    const Vector3& p = network.points[landmark.point].at_sheet_mm;
    const Vector3 ray = ray_through(lens, features.pixels[best]);
    object.emplace_back(p.x(), p.y(), p.z());
    image.emplace_back(ray.x() / ray.z(), ray.y() / ray.z());
    matches.push_back({photo, landmark.point, features.pixels[best]});
  }
  if (static_cast<int>(object.size()) < settings.fewest_matches) return std::nullopt;
  const double within = settings.residual_share * network.size_px[photo].maxCoeff() / lens.focal_px;
  cv::Vec3d turn, shift;
  std::vector<int> agreeing;
  try {
    cv::setRNGSeed(static_cast<int>(photo) + 1);
    if (!cv::solvePnPRansac(object, image, cv::Matx33d::eye(), cv::noArray(), turn, shift, false, settings.draws,
                            static_cast<float>(within), 0.999, agreeing, cv::SOLVEPNP_SQPNP)) {
      return std::nullopt;
    }
  } catch (const cv::Exception&) {
    return std::nullopt;
  }
  if (static_cast<int>(agreeing.size()) < settings.fewest_matches) return std::nullopt;
  cv::Matx33d rotation;
  cv::Rodrigues(turn, rotation);
  Placed placed{Transform::Identity(), {}};
  for (int i = 0; i < 3; ++i) {
    for (int k = 0; k < 3; ++k) placed.T_camera_sheet(i, k) = rotation(i, k);
    placed.T_camera_sheet(i, 3) = shift[i];
  }
  for (int i : agreeing) placed.sightings.push_back(matches[static_cast<std::size_t>(i)]);
  return placed;
}

}  // namespace

std::size_t place_by_features(const std::vector<Features>& features, const PlaceByFeaturesSettings& settings,
                              Workers& workers, CameraNetwork& network) {
  const std::vector<Landmark> landmarks = landmarks_of(features, network);
  std::vector<std::optional<Placed>> found(features.size());
  workers.for_chunks(features.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      if (network.placed[i]) continue;
      found[i] = place(features[i], landmarks, network, static_cast<std::uint32_t>(i), settings);
    }
  });
  std::size_t count = 0;
  for (std::size_t i = 0; i < found.size(); ++i) {
    if (!found[i]) continue;
    network.T_camera_sheet[i] = found[i]->T_camera_sheet;
    network.placed[i] = true;
    network.sightings.insert(network.sightings.end(), found[i]->sightings.begin(), found[i]->sightings.end());
    ++count;
  }
  return count;
}

}  // namespace rimwright
