#include "measure/add_points.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <span>
#include <vector>

#include "measure/profile_frame.h"

namespace rimwright {

namespace {

// Some points of a slice: read once, then worked through in loops over few operations each, which the processor does
// for several points at once.
struct PointRun {
  static constexpr std::size_t most = 512;
  const float *out = nullptr, *up = nullptr;  // of the rim itself, or of the share below
  std::array<float, most> share_out, share_up, ds, t, y, residual, weight;
  std::array<std::int32_t, most> is_here, is_kept;
};

void read_run(PointRun& run, const UnrolledRim& rim, const EvenShare& points, std::size_t first, std::size_t count,
              float station_mm) {
  const std::size_t begin = points[first];
  run.out = &rim.out_mm[begin];
  run.up = &rim.up_mm[begin];
  const auto read = [&](std::span<const float> from, std::array<float, PointRun::most>& to) {
    for (std::size_t k = 0; k < count; ++k) to[k] = from[points[first + k]];
  };
  if (points.is_all()) {
    for (std::size_t k = 0; k < count; ++k) run.ds[k] = rim.station_mm[begin + k] - station_mm;
  } else {
    read(rim.out_mm, run.share_out);
    read(rim.up_mm, run.share_up);
    read(rim.station_mm, run.ds);
    run.out = run.share_out.data();
    run.up = run.share_up.data();
    for (std::size_t k = 0; k < count; ++k) run.ds[k] -= station_mm;
  }
  if (rim.sigma_mm.empty()) return;
  read(rim.sigma_mm, run.weight);
  for (std::size_t k = 0; k < count; ++k) run.weight[k] = 1.0F / std::max(1e-6F, run.weight[k] * run.weight[k]);
}

// t, y and the residual of each point against the span's line.
void place_on_face(PointRun& run, std::size_t count, const FaceAtStation& face) {
  const FaceSpan& span = face.span;
  const auto single = [](double value) { return static_cast<float>(value); };
  const float along_out = single(face.along.x()), along_up = single(face.along.y());
  const float normal_out = single(face.normal.x()), normal_up = single(face.normal.y());
  const float shift = single(span.shift_along), a = single(span.a_mm), b = single(span.b);
  for (std::size_t k = 0; k < count; ++k) {
    run.t[k] = run.out[k] * along_out + run.up[k] * along_up;
    run.y[k] = run.out[k] * normal_out + run.up[k] * normal_up - shift * run.ds[k];
    run.residual[k] = run.y[k] - (a + b * run.t[k]);
  }
  if (face.domes == nullptr) return;
  const float in_residual = face.line_holds_dome ? 0.0F : 1.0F;
  const SectionDome &before = face.domes[0], &after = face.domes[1];
  const float per_mm = single(1.0 / face.step_mm);
  const float rise = single(before.rise), rise_on = single(after.rise - before.rise);
  const float bend = single(0.5 * before.bend), bend_on = single(0.5 * (after.bend - before.bend));
  for (std::size_t k = 0; k < count; ++k) {
    const float way = 0.5F + run.ds[k] * per_mm;
    const float dome = run.out[k] * (rise + way * rise_on + (bend + way * bend_on) * run.out[k]);
    run.y[k] -= dome;
    run.residual[k] -= in_residual * dome;
  }
}

// Which points lie within the span, and which of those within its gate.
void choose_points(PointRun& run, std::size_t count, const FaceAtStation& face) {
  const FaceSpan& span = face.span;
  const auto single = [](double value) { return static_cast<float>(value); };
  const float from_t = single(span.from_t_mm), to_t = single(span.to_t_mm);
  const float from_on = single(face.from_slope), to_on = single(face.to_slope), gate = single(span.gate_mm);
  for (std::size_t k = 0; k < count; ++k) {
    const float t = run.t[k], ds = run.ds[k];
    run.is_here[k] = (t >= from_t + from_on * ds ? 1 : 0) & (t <= to_t + to_on * ds ? 1 : 0);
  }
  if (face.spare_along_mm) {
    const double spare = *face.spare_along_mm;
    const float from_along = single(span.from_along_mm - spare), to_along = single(span.to_along_mm + spare);
    const float moved = single(span.shift_along * profile_along(face.normal.x(), face.normal.y()));
    const float per_up = single(profile_along(0.0, 1.0)), per_out = single(profile_along(1.0, 0.0));
    for (std::size_t k = 0; k < count; ++k) {
      const float along = run.up[k] * per_up + run.out[k] * per_out - moved * run.ds[k];
      run.is_here[k] &= (along >= from_along ? 1 : 0) & (along <= to_along ? 1 : 0);
    }
  }
  for (std::size_t k = 0; k < count; ++k) run.is_kept[k] = run.is_here[k] & (std::abs(run.residual[k]) <= gate ? 1 : 0);
}

// The kept ones, brought together at the beginning of the run; the others of the span count as rejected.
void add_chosen(SliceMoments& moments, PointRun& run, std::size_t count, bool has_sigma) {
  std::int32_t seen = 0;
  for (std::size_t k = 0; k < count; ++k) seen += run.is_here[k];
  std::size_t kept = 0;
  for (std::size_t k = 0; k < count; ++k) {
    run.t[kept] = run.t[k], run.y[kept] = run.y[k], run.residual[kept] = run.residual[k];
    if (has_sigma) run.weight[kept] = run.weight[k];
    kept += static_cast<std::size_t>(run.is_kept[k]);
  }
  moments.rejected += static_cast<double>(seen) - static_cast<double>(kept);
  moments.add_all({run.t.data(), kept}, {run.y.data(), kept}, {run.residual.data(), kept}, {run.weight.data(), kept});
}

}  // namespace

void add_points(SliceMoments& moments, const UnrolledRim& rim, const EvenShare& points, const FaceAtStation& face) {
  const bool has_sigma = !rim.sigma_mm.empty();
  PointRun run;
  if (!has_sigma) run.weight.fill(1.0F);
  for (std::size_t first = 0; first < points.size(); first += PointRun::most) {
    const std::size_t count = std::min(PointRun::most, points.size() - first);
    read_run(run, rim, points, first, count, static_cast<float>(face.station_mm));
    place_on_face(run, count, face);
    choose_points(run, count, face);
    add_chosen(moments, run, count, has_sigma);
  }
}

}  // namespace rimwright
