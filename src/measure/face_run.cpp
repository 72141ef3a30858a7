#include "measure/face_run.h"

#include <algorithm>
#include <cmath>
#include <cstring>

#include "measure/profile_frame.h"

namespace rimwright {

namespace {

float single(double value) { return static_cast<float>(value); }

// A whole run is of a length the compiler knows, and so copied without a call.
void copy_run(const float* from, std::size_t length, float* to) {
  if (length == EvenShare::run)
    std::memcpy(to, from, EvenShare::run * sizeof *to);
  else
    std::memcpy(to, from, length * sizeof *to);
}

}  // namespace

void FaceRun::place(const UnrolledRim& rim, const EvenShare& points, std::size_t nth, const FaceAtStation& face) {
  count = std::min(most, points.size() - nth);
  read(rim, points, nth, single(face.station_mm));
  place_on(face);
  choose(face);
}

void FaceRun::read(const UnrolledRim& rim, const EvenShare& points, std::size_t nth, float station_mm) {
  if (points.is_all()) {
    const std::size_t begin = points[nth];
    out_ = &rim.out_mm[begin];
    up_ = &rim.up_mm[begin];
    for (std::size_t k = 0; k < count; ++k) ds_[k] = rim.station_mm[begin + k] - station_mm;
  } else {
    // Runs of all three together: more of the memory's slow answers are then waited for at once.
    for (std::size_t k = 0; k < count; k += EvenShare::run) {
      const std::size_t from = points[nth + k], length = std::min(EvenShare::run, count - k);
      copy_run(&rim.out_mm[from], length, &share_out_[k]);
      copy_run(&rim.up_mm[from], length, &share_up_[k]);
      copy_run(&rim.station_mm[from], length, &ds_[k]);
    }
    out_ = share_out_.data();
    up_ = share_up_.data();
    for (std::size_t k = 0; k < count; ++k) ds_[k] -= station_mm;
  }
  if (rim.sigma_mm.empty()) return;
  for (std::size_t k = 0; k < count; k += EvenShare::run)
    copy_run(&rim.sigma_mm[points[nth + k]], std::min(EvenShare::run, count - k), &weight[k]);
  for (std::size_t k = 0; k < count; ++k) weight[k] = 1.0F / std::max(1e-6F, weight[k] * weight[k]);
}

void FaceRun::place_on(const FaceAtStation& face) {
  const FaceSpan& span = face.span;
  const float along_out = single(face.along.x()), along_up = single(face.along.y());
  const float normal_out = single(face.normal.x()), normal_up = single(face.normal.y());
  const float shift = single(span.shift_along), a = single(span.a_mm), b = single(span.b);
  for (std::size_t k = 0; k < count; ++k) {
    t[k] = out_[k] * along_out + up_[k] * along_up;
    y[k] = out_[k] * normal_out + up_[k] * normal_up - shift * ds_[k];
    residual[k] = y[k] - (a + b * t[k]);
  }
  if (face.domes == nullptr) return;
  const float in_residual = face.line_holds_dome ? 0.0F : 1.0F;
  const SectionDome &before = face.domes[0], &after = face.domes[1];
  const float per_mm = single(1.0 / face.step_mm);
  const float rise = single(before.rise), rise_on = single(after.rise - before.rise);
  const float bend = single(0.5 * before.bend), bend_on = single(0.5 * (after.bend - before.bend));
  for (std::size_t k = 0; k < count; ++k) {
    const float way = 0.5F + ds_[k] * per_mm;
    const float dome = out_[k] * (rise + way * rise_on + (bend + way * bend_on) * out_[k]);
    y[k] -= dome;
    residual[k] -= in_residual * dome;
  }
}

void FaceRun::choose(const FaceAtStation& face) {
  const FaceSpan& span = face.span;
  const float from_t = single(span.from_t_mm), to_t = single(span.to_t_mm);
  const float from_on = single(face.from_slope), to_on = single(face.to_slope), gate = single(span.gate_mm);
  for (std::size_t k = 0; k < count; ++k)
    is_here[k] = (t[k] >= from_t + from_on * ds_[k] ? 1 : 0) & (t[k] <= to_t + to_on * ds_[k] ? 1 : 0);
  if (face.spare_along_mm) {
    const double spare = *face.spare_along_mm;
    const float from_along = single(span.from_along_mm - spare), to_along = single(span.to_along_mm + spare);
    const float moved = single(span.shift_along * profile_along(face.normal.x(), face.normal.y()));
    const float per_up = single(profile_along(0.0, 1.0)), per_out = single(profile_along(1.0, 0.0));
    for (std::size_t k = 0; k < count; ++k) {
      const float along = up_[k] * per_up + out_[k] * per_out - moved * ds_[k];
      is_here[k] &= (along >= from_along ? 1 : 0) & (along <= to_along ? 1 : 0);
    }
  }
  for (std::size_t k = 0; k < count; ++k) is_kept[k] = is_here[k] & (std::abs(residual[k]) <= gate ? 1 : 0);
}

}  // namespace rimwright
