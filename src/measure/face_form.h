// Face form: how far the bevel departs from straight across it, at one station.
//
// The form fitted through the means of the grid's cells in the window of the fit (fit_cross_form); its own
// least-squares line is taken out.
#pragma once

#include "core/measured.h"
#include "measure/fit_faces.h"
#include "measure/grid_face.h"
#include "measure/noise_model.h"

namespace rimwright {

struct FaceForm {
  Measured straightness_mm;  // peak to valley, less what noise alone would show
  double crown_mm = 0.0;     // height of its middle above its ends; 0 where chance explains it
  double crown_u_mm = 0.0;   // standard uncertainty; what a face of this width usually has where it is not seen
};

// Null straightness where the face is narrower than 4 mm, part of its width is missing, or too few points are seen.
// usual_bend_per_mm: FitSettings.
[[nodiscard]] FaceForm measure_face_form(const FaceGrid& grid, std::size_t column, const FaceFits& face,
                                         const NoiseModel& noise, double usual_bend_per_mm);

}  // namespace rimwright
