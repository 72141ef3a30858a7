// Sharpen run-outs: where the bevel moves through the section as the rim goes by, sections are cut anew with that
// movement taken out. Sharper sections tell better how their neighbours move, so it goes on for a few rounds.
#pragma once

#include <functional>
#include <vector>

#include "core/parallel.h"
#include "measure/bevel_movement.h"
#include "measure/expected.h"
#include "measure/segment_sections.h"

namespace rimwright {

struct SlabLayout {
  double step_mm = 2.0;        // of rim from one section to the next
  double slab_mm = 3.0;        // length of rim that goes into one
  double unseen_speed = 0.03;  // mm a mm: slower, a slab is as sharp as its noise lets it be
};

// The section at a station, cut from points that are moved back so. Called from several threads at once.
using CutSection = std::function<SectionPieces(double station_mm, const BevelMovement& movement)>;

// Answers do not depend on the number of threads.
void sharpen_run_outs(std::vector<SectionPieces>& sections, const Expected& expected, double lean_rad,
                      const SlabLayout& slabs, const CutSection& cut_section, Workers& workers);

}  // namespace rimwright
