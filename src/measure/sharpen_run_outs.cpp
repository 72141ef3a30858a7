#include "measure/sharpen_run_outs.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <utility>

namespace rimwright {

namespace {

// The movements that a section of a run-out is cut with, to see which shows it sharpest.
struct Ways {
  bool has_own = false;  // then it is the first
  std::vector<BevelMovement> movements;
};

Ways ways_to_cut(const std::vector<std::optional<BevelMovement>>& movements, std::size_t section,
                 const SlabLayout& slabs) {
  Ways ways{movements[section].has_value(), {}};
  if (ways.has_own) ways.movements.push_back(*movements[section]);
  // Towards the end of a run-out, where few sections tell it, a neighbour's movement may be the truer one.
  for (const BevelMovement& carried : carried_on(movements, section, slabs.step_mm, slabs.unseen_speed))
    ways.movements.push_back(carried);
  return ways;
}

// Whether a slab cut either way shows the same section.
bool are_alike(const Ways& a, const Ways& b, double slab_mm) {
  constexpr double unseen_mm = 0.002, unseen_along_mm = 0.02;
  return a.has_own == b.has_own &&
         std::equal(a.movements.begin(), a.movements.end(), b.movements.begin(), b.movements.end(),
                    [&](const BevelMovement& one, const BevelMovement& other) {
                      return std::abs(one.middle_along_mm - other.middle_along_mm) < unseen_along_mm &&
                             farthest_apart_mm(one, other, 0.5 * slab_mm) < unseen_mm;
                    });
}

// Cuts the sections of the run-outs anew, with what moves in them moved back: those whose ways have changed since they
// were last cut, which are left in `ways`. False where there is none.
bool sharpen(std::vector<SectionPieces>& sections, const std::vector<std::optional<BevelMovement>>& movements,
             const SlabLayout& slabs, const CutSection& cut_section, std::vector<Ways>& ways, Workers& workers) {
  struct Cut {
    std::size_t section;
    const BevelMovement* movement;
    bool is_own;
    SectionPieces pieces;
  };
  std::vector<Cut> cuts;
  for (std::size_t i = 0; i < sections.size(); ++i) {
    Ways now = ways_to_cut(movements, i, slabs);
    if (are_alike(now, ways[i], slabs.slab_mm)) continue;
    ways[i] = std::move(now);
    for (std::size_t k = 0; k < ways[i].movements.size(); ++k)
      cuts.push_back({i, &ways[i].movements[k], ways[i].has_own && k == 0, {}});
  }
  workers.for_chunks(cuts.size(), 1, [&](std::size_t k, std::size_t, std::size_t) {
    cuts[k].pieces = cut_section(sections[cuts[k].section].station_mm, *cuts[k].movement);
  });
  for (Cut& cut : cuts) {
    SectionPieces& section = sections[cut.section];
    if (cut.is_own || cut.pieces.cost < section.cost) section = std::move(cut.pieces);
  }
  return !cuts.empty();
}

}  // namespace

void sharpen_run_outs(std::vector<SectionPieces>& sections, const Expected& expected, double lean_rad,
                      const SlabLayout& slabs, const CutSection& cut_section, Workers& workers) {
  // A round sharpens one section more of a run-out; with three some of its end stayed blurred.
  constexpr int most_rounds = 5;
  std::vector<Ways> ways(sections.size());
  for (int round = 0; round < most_rounds; ++round)
    if (!sharpen(sections, bevel_movement(sections, expected, lean_rad, workers), slabs, cut_section, ways, workers))
      return;
}

}  // namespace rimwright
