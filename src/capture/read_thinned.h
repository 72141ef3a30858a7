// Reads a scan too large to hold: all points of the places that matter, every n-th of the others.
//
// Two passes make the use of it: the first with no places at all gives a coarse cloud that shows where the rim runs;
// the second keeps all points near it. Each holds one block and what is kept, never the whole file (PLY, PCD but for
// compressed ones, XYZ/PTS/CSV; other kinds are read whole before they are thinned).
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>

#include "capture/read_cloud.h"

namespace rimwright {

struct ReadThinnedSettings {
  std::uint64_t every = 16;                         // of the points that need not be kept, one in so many is
  std::size_t block_points = std::size_t{1} << 20;  // held at once: 20 MB
  std::uint64_t most_kept = 200'000'000;            // more are refused: file_over_limit
};

// Sets keep[i] to 1 for every point of block [begin, end) that must stay; entries come as 0. Called from several
// threads at once, for ranges that do not overlap. Coordinates are in the file's unit.
using KeepPoints = std::function<void(const Cloud& block, std::size_t begin, std::size_t end, std::uint8_t* keep)>;

// Points in file order, no faces; ReadingCounts::points_in_file is the whole file's. Without `keep`, every n-th point.
// Answers do not depend on the number of threads. Refusals: those of read_cloud.
[[nodiscard]] Outcome<ScanFile> read_thinned(const std::filesystem::path& path, const KeepPoints& keep,
                                             const ReadThinnedSettings& settings, Workers& workers);

}  // namespace rimwright
