#include "capture/read_thinned.h"

#include <algorithm>
#include <string>
#include <vector>

#include "capture/file/cloud_arrays.h"

namespace rimwright {

namespace {

constexpr std::size_t chunk_points = std::size_t{1} << 14;

}  // namespace

Outcome<ScanFile> read_thinned(const std::filesystem::path& path, const KeepPoints& keep,
                               const ReadThinnedSettings& settings, Workers& workers) {
  const std::uint64_t every = std::max<std::uint64_t>(1, settings.every);
  ScanFile scan;
  std::uint64_t met = 0;
  std::vector<std::uint8_t> marks;
  bool over_limit = false;
  const auto done = for_each_block(path, settings.block_points, {}, workers, [&](Cloud& block) {
    if (over_limit) return;
    marks.assign(block.size(), 0);
    workers.for_chunks(block.size(), chunk_points, [&](std::size_t begin, std::size_t end, std::size_t) {
      if (keep) keep(block, begin, end, marks.data() + begin);
      for (std::size_t i = begin; i < end; ++i) {
        if ((met + i) % every == 0) marks[i] = 1;
      }
    });
    met += block.size();
    scan.cloud.origin_mm = block.origin_mm;
    keep_marked(block, marks, workers);
    append_points(scan.cloud, block);
    over_limit = scan.cloud.size() > settings.most_kept;
  });
  if (!done) return tl::unexpected(done.error());
  if (over_limit) {
    return refuse(RefusalReason::file_over_limit,
                  path.string() + ": more than " + std::to_string(settings.most_kept) + " points are near the rim",
                  "thin the scan before exporting it");
  }
  scan.cloud.counts.points_in_file = met;
  return scan;
}

}  // namespace rimwright
