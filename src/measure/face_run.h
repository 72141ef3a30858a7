// Face run: some points of a slice at a time, placed on a face at one station, in loops over few operations each, which
// the processor does for several points at once. In floats about the rim's own frame: a millionth of 100 mm is far
// below any noise.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "measure/face_spans.h"
#include "rim/even_share.h"
#include "rim/unroll.h"

namespace rimwright {

// The quadric top across the rim: height = rise out + bend out^2 / 2, mm. Between the sections at both ends of a
// station's slice it is linear to far below a micrometre.
struct SectionDome {
  double rise = 0.0, bend = 0.0;
};

// A face at one station: where its points lie and what is taken off their height.
struct FaceAtStation {
  const FaceSpan& span;
  Vector2 along, normal;                    // of the face, (out, up)
  double station_mm = 0.0, step_mm = 1.0;   // middle and length of the station's slice
  double from_slope = 0.0, to_slope = 0.0;  // how far the span's ends in t move a millimetre of rim
  const SectionDome* domes = nullptr;       // of the top: two, at both ends of the slice
  bool line_holds_dome = false;             // whether the span's line follows the dome, so that the gate need not
  std::optional<double> spare_along_mm =
      std::nullopt;  // of a ledge: how far along the profile points may leave the span
};

class FaceRun {
 public:
  static constexpr std::size_t most = 512;
  std::size_t count = 0;
  std::array<float, most> t, y, residual, weight;   // y from the face's zero, residual from the span's line
  std::array<std::int32_t, most> is_here, is_kept;  // 1 within the span; 1 within its gate, too

  // Takes up to `most` of the points from the nth on, a multiple of that, and places them. Weights are there where
  // points tell their sigma.
  void place(const UnrolledRim& rim, const EvenShare& points, std::size_t nth, const FaceAtStation& face);

 private:
  void read(const UnrolledRim& rim, const EvenShare& points, std::size_t nth, float station_mm);
  void place_on(const FaceAtStation& face);
  void choose(const FaceAtStation& face);

  const float *out_ = nullptr, *up_ = nullptr;  // of the rim itself, or of the share below
  std::array<float, most> share_out_, share_up_, ds_;
};

}  // namespace rimwright
