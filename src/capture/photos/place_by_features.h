// Places photos that show too little of the target by what wood they share with the others.
#pragma once

#include "capture/photos/camera.h"
#include "capture/photos/find_features.h"
#include "core/parallel.h"

namespace rimwright {

struct PlaceByFeaturesSettings {
  double ratio = 0.8;             // best over second best distance among all tie points
  double residual_share = 0.002;  // of the longer side, for a match to count
  int fewest_matches = 20;        // that agree on one pose; chance agrees on far fewer
  int draws = 2000;               // of three matches
};

// Poses from matches of features to the network's tie points (P3P with random draws, seeded alike each time, then least
// squares); agreeing matches become sightings. Returns the number of photos placed.
std::size_t place_by_features(const std::vector<Features>& features, const PlaceByFeaturesSettings& settings,
                              Workers& workers, CameraNetwork& network);

}  // namespace rimwright
