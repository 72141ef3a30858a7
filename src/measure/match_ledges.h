// Match ledges: which pieces of a section are the floors and walls of the planned channels.
#pragma once

#include <optional>
#include <vector>

#include "measure/expected.h"
#include "measure/name_faces.h"

namespace rimwright {

// Faces of a section by index into its pieces.
struct MatchedFaces {
  std::optional<std::size_t> side, top, bevel;
};
struct FloorAndWall {
  std::optional<std::size_t> floor, wall;
};

// By channel and step, as planned; no steps for a channel of which nothing is found. The channel that fits best takes
// its pieces first; within one, floors keep the order of the steps. A floor further than widest_miss_mm from its plan
// is another thing; a wall is what stands beyond its floor.
[[nodiscard]] std::vector<std::vector<FloorAndWall>> match_ledges(const SectionPieces& section,
                                                                  const MatchedFaces& faces,
                                                                  const std::vector<ExpectedChannel>& channels,
                                                                  const NameSettings& settings);

}  // namespace rimwright
