// From a folder of ordinary phone photos, with the printed scale target in view, to a cloud fit to measure.
#pragma once

#include <filesystem>
#include <functional>
#include <string>

#include "capture/photos/adjust_cameras.h"
#include "capture/photos/clear_edges.h"
#include "capture/photos/cloud_of_patches.h"
#include "capture/photos/compare_halves.h"
#include "capture/photos/drop_ledges.h"
#include "capture/photos/edge_frames.h"
#include "capture/photos/find_features.h"
#include "capture/photos/find_target.h"
#include "capture/photos/grow_patches.h"
#include "capture/photos/keep_on_face.h"
#include "capture/photos/keep_supported.h"
#include "capture/photos/match_features.h"
#include "capture/photos/photo_verdict.h"
#include "capture/photos/place_by_features.h"
#include "capture/photos/place_by_target.h"
#include "capture/photos/read_photos.h"
#include "capture/photos/rim_frames.h"
#include "capture/photos/seed_faces.h"
#include "capture/photos/seed_over_table.h"
#include "capture/photos/seed_patches.h"
#include "capture/photos/surface_zone.h"
#include "capture/photos/sweep_ledges.h"
#include "capture/photos/trim_edges.h"
#include "capture/scale_target.h"
#include "core/cloud.h"
#include "core/parallel.h"
#include "core/refusal.h"

namespace rimwright {

struct PhotoSettings {
  ScaleTarget target;
  PrintScale print;  // set print.bar_mm from --bar
  ReadPhotosSettings read;
  FindTargetSettings find_target;
  PlaceByTargetSettings place;
  FindFeaturesSettings features;
  MatchFeaturesSettings match;
  PlaceByFeaturesSettings place_rest;
  AdjustCamerasSettings adjust;
  SeedPatchesSettings seeds;
  SeedOverTableSettings over_table;
  SeedFacesSettings seed_faces;
  SurfaceZoneSettings zone;
  GrowPatchesSettings grow;
  KeepSupportedSettings support;
  RimFramesSettings frames;
  EdgeFramesSettings edges;
  DropLedgesSettings drop_ledges;
  TrimEdgesSettings trim;
  KeepOnFaceSettings on_face;
  SweepLedgesSettings ledges;
  ClearEdgesSettings clear;
  CompareHalvesSettings halves;
  CloudOfPatchesSettings cloud;
  PhotoVerdictSettings verdict;
  double smooth_px = 0.8;                            // of photos before matching; what bilinear sampling needs
  std::filesystem::path work;                        // folder for intermediate results to reuse; empty = keep none
  std::function<void(const std::string&)> progress;  // a few words a stage; may be empty

  void say(const std::string& words) const {
    if (progress) progress(words);
  }
};

// The cloud's frame: millimetres, origin at the board's top left corner, x right and y up the page, z up from it.
// Notes say which photos were left out and what to shoot again. Refuses (capture_insufficient) where photos, target or
// wood do not allow measuring; 3 photos at least, 24 advised. Needs about 0.1 GB a 12-megapixel photo.
[[nodiscard]] Outcome<Cloud> cloud_from_photos(const std::filesystem::path& folder, const PhotoSettings& settings,
                                               Workers& workers);

}  // namespace rimwright
