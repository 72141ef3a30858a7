#include "measure/add_points.h"

#include <cstdint>

namespace rimwright {

namespace {

// The kept ones, brought together at the beginning of the run; the others of the span count as rejected.
void add_chosen(SliceMoments& moments, FaceRun& run, bool has_sigma) {
  std::int32_t seen = 0;
  for (std::size_t k = 0; k < run.count; ++k) seen += run.is_here[k];
  std::size_t kept = 0;
  for (std::size_t k = 0; k < run.count; ++k) {
    run.t[kept] = run.t[k], run.y[kept] = run.y[k], run.residual[kept] = run.residual[k];
    if (has_sigma) run.weight[kept] = run.weight[k];
    kept += static_cast<std::size_t>(run.is_kept[k]);
  }
  moments.rejected += static_cast<double>(seen) - static_cast<double>(kept);
  moments.add_all({run.t.data(), kept}, {run.y.data(), kept}, {run.residual.data(), kept}, {run.weight.data(), kept});
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
