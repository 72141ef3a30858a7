// Feature points on wood, matched between photos whose poses are roughly known, joined into tracks.
// Candidates are only looked for along the epipolar line.
#pragma once

#include "capture/photos/camera.h"
#include "capture/photos/find_features.h"
#include "core/parallel.h"

namespace rimwright {

struct MatchFeaturesSettings {
  std::size_t neighbours = 7;                    // photos each photo is matched with
  double widest_angle_deg = 40.0;                // between them, at the middle of the scene
  double line_distance_share = 0.0015;           // from the epipolar line, of the photo's longer side
  double ratio = 0.85;                           // best over second best distance
  double highest_mm = 110.0, lowest_mm = -90.0;  // over the sheet, that lies on the top or beside the body
  double keep_within_share = 0.002;              // largest residual of a new tie point, of the longer side
};

// Adds tie points and their sightings to the network, between placed photos. Deterministic for any worker count.
// Returns the number of tie points added.
std::size_t match_features(const std::vector<Features>& features, const MatchFeaturesSettings& settings,
                           Workers& workers, CameraNetwork& network);

// Point closest to the rays of two or more sightings, by least squares of pixel residuals; false when rays are
// nearly parallel or the point falls behind a camera.
bool intersect_rays(const std::vector<View>& views, const std::vector<Sighting>& sightings, Vector3& point_sheet_mm);

}  // namespace rimwright
