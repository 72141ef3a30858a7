// A mesh as a cloud: its vertices, and points on its faces where the vertices are sparse.
#pragma once

#include <cstdint>

#include "capture/scan_file.h"
#include "core/refusal.h"

namespace rimwright {

struct SampleFacesSettings {
  // Distance between the points a face gets, mm: fine enough that a ledge 0.6 mm wide holds some in every section.
  double spacing_mm = 0.3;
  // Faces with no edge longer than this many spacings are left to their vertices.
  double sparse_edge_spacings = 2.0;
  // With more samples than this the spacing is widened: ten bytes a sample must not outgrow the scan.
  std::uint64_t most_samples = 8'000'000;
};

// The scan's points, in millimetres, with samples behind them: area-uniform over every sparse face (a fixed
// low-discrepancy sequence, so that answers repeat), less what its vertices stand for. Sampled points take the normal
// of their face and the colour of the nearest corner when the file has those. Counted in ReadingCounts and told in a
// note. Faces without area or with corners that are not finite get none.
[[nodiscard]] Cloud sample_faces(ScanFile scan, const SampleFacesSettings& settings);

}  // namespace rimwright
