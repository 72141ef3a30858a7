// The bevel at each station: angle, drop, top reach and straightness; and block left beyond its edges.
#pragma once

#include "core/cloud.h"
#include "core/parallel.h"
#include "measure/expected.h"
#include "measure/grid_face.h"
#include "measure/measures.h"
#include "measure/section_geometry.h"

namespace rimwright {

// What every quantity needs to know of the capture.
struct CaptureTerms {
  double relative_scale_u = 0.0;  // of every length
  CaptureError error;
  Vector3 origin_scan_mm = Vector3::Zero();
  double tilt_u_rad = 0.0;  // of `up` about each axis in plan
};

struct BevelSettings {
  double smallest_drop_mm = 0.5;   // a bevel shallower than this is a broken edge
  double narrowest_face_mm = 1.0;  // an angle needs some width of face
  // And this many times the noise: points scatter so far out of the ledges beside it that less is not its own.
  double narrowest_face_sigmas = 15.0;
};

// Faces and fits of one station, across the fair rim and turned from there by `turned_rad`; nothing where side or top
// were not fitted.
struct StationSection {
  SectionFaces faces;
  SectionFits fits;
  Vector2 corner_mm = Vector2::Zero();
};
[[nodiscard]] std::optional<StationSection> section_at(const UnrolledRim& rim, const FittedRim& fitted,
                                                       std::size_t station, double turned_rad = 0.0);

// Adds what never averages out: scale (for lengths) and capture error.
void add_capture_terms(Measured& length_or_angle, const CaptureTerms& terms, bool is_length);

[[nodiscard]] Vector3 at_scan(const UnrolledRim& rim, const CaptureTerms& terms, double station_mm,
                              const Vector2& out_up);

[[nodiscard]] std::vector<BevelStation> measure_bevel(const UnrolledRim& rim, const FittedRim& fitted,
                                                      const FaceGrid& grid, const NoiseModel& noise,
                                                      const CaptureTerms& terms, const BevelSettings& settings,
                                                      Workers& workers);

[[nodiscard]] std::vector<BlockStation> measure_block(const std::vector<BevelStation>& bevel,
                                                      const ExpectedBlock& block);

}  // namespace rimwright
