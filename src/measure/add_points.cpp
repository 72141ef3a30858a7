#include "measure/add_points.h"

#include <algorithm>
#include <cstdint>
#include <span>

namespace rimwright {

namespace {

// The kept ones, brought together at the beginning of the run; the others of the span count as rejected.
void add_chosen(SliceMoments& moments, FaceRun& run, bool has_sigma) {
  constexpr std::size_t block = 64;  // within a face mostly kept as a whole
  std::size_t seen = 0, kept = 0;
  for (std::size_t first = 0; first < run.count; first += block) {
    const std::size_t end = std::min(run.count, first + block);
    std::int32_t here = 0, good = 0;
    for (std::size_t k = first; k < end; ++k) here += run.is_here[k], good += run.is_kept[k];
    seen += static_cast<std::size_t>(here);
    if (static_cast<std::size_t>(good) == end - first) {
      const auto bring = [&](auto& values) {
        std::copy(values.data() + first, values.data() + end, values.data() + kept);
      };
      if (kept != first) bring(run.t), bring(run.y), bring(run.residual);
      if (kept != first && has_sigma) bring(run.weight);
      kept += end - first;
      continue;
    }
    for (std::size_t k = first; k < end; ++k) {
      run.t[kept] = run.t[k], run.y[kept] = run.y[k], run.residual[kept] = run.residual[k];
      if (has_sigma) run.weight[kept] = run.weight[k];
      kept += static_cast<std::size_t>(run.is_kept[k]);
    }
  }
  moments.rejected += static_cast<double>(seen - kept);
  const std::span<const float> weight(run.weight.data(), has_sigma ? kept : 0);
  moments.add_all({run.t.data(), kept}, {run.y.data(), kept}, {run.residual.data(), kept}, weight);
}

}  // namespace

void add_points(SliceMoments& moments, const UnrolledRim& rim, const EvenShare& points, const FaceAtStation& face) {
  FaceRun run;
  for (std::size_t first = 0; first < points.size(); first += FaceRun::most) {
    run.place(rim, points, first, face);
    add_chosen(moments, run, !rim.sigma_mm.empty());
  }
}

}  // namespace rimwright
