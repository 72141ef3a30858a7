// First patches of the wood where a figured table under it took most of the features: the table is found as the level
// plane that holds more first patches than any other, with hardly anything under it, and the top is looked for above it
// by sliding level patches up and down columns.
#pragma once

#include <cmath>
#include <optional>
#include <vector>

#include "capture/photos/common_plane.h"
#include "capture/photos/refine_patch.h"
#include "capture/photos/slide_patch.h"
#include "capture/scale_target.h"
#include "core/parallel.h"

namespace rimwright {

struct SeedOverTableSettings {
  double level_above_cosine = 0.94;  // of normal and up of the sheet, of what may be a table
  double within_mm = 1.5;            // of its plane; a target on a card or a thin cloth's folds count as table
  double table_share = 0.3;          // of the first patches on that plane, those on the printed board apart,
  double below_share = 0.05;         // and no more than this under it: under a top lie bevel, side and table, 0.12
  double clear_mm = 10.0;            // the top lies so far above it at least,
  double highest_mm = 200.0;         // and at most: a deep body, on blocks
  double spacing_mm = 7.0;           // of the columns
  double target_margin_mm = 5.0;     // round the printed board, in which no column stands
  std::size_t least_neighbours = 5;  // columns within three spacings that find the top at about the same height,
  double same_height_mm = 3.0;       // which a dome or a tilt stays within over that
  std::size_t fewest_patches = 20;   // of wood, for the table to be believed one
  int shrink = 2;                    // of the photos for the search: a quarter of the samples, and half of the steps
  SlidePatchSettings slide{.step_mm = 0.28, .sample_spacing_px = 1.5, .least_agreement = 0.5};
  RefinePatchSettings coarse{.half_along_mm = 2.5, .half_across_mm = 2.5, .farthest_tilt_deg = 25.0};
  RefinePatchSettings refine{.half_along_mm = 1.8, .half_across_mm = 1.8};
};

struct SeedsOverTable {
  std::vector<Patch> seeds;          // as given where no table is told from the wood; else without those on it, with
                                     // new ones of the top after them
  std::optional<CommonPlane> table;  // up; what lies within settings.within_mm of it is table

  [[nodiscard]] bool on_table(const Vector3& at_sheet_mm, const SeedOverTableSettings& settings) const {
    return table && std::abs(height_over(*table, at_sheet_mm)) < settings.within_mm;
  }
};

// The result does not depend on the number of workers.
[[nodiscard]] SeedsOverTable seed_over_table(const PhotoStack& stack, const std::vector<Patch>& seeds,
                                             const ScaleTarget& target, const SeedOverTableSettings& settings,
                                             Workers& workers);

// The level plane that holds more patches than any other, if they are many and hardly any lie under it; those on the
// printed board, which may lie on the wood, do not count.
[[nodiscard]] std::optional<CommonPlane> table_plane(const std::vector<Patch>& seeds, const ScaleTarget& target,
                                                     const SeedOverTableSettings& settings);

}  // namespace rimwright
