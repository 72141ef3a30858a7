// The stages up to a measured bevel, on a rim made by hand, for the tests of what comes after.
#pragma once

#include "made_rim.h"
#include "measure/grid_face.h"
#include "measure/map_deviation.h"
#include "measure/measure_bevel.h"
#include "measure/measure_fairness.h"

namespace rimwright::test {

struct MeasuredBevel {
  UnrolledRim rim{.curve = RimCurve({{0.0, 0.0}, {1.0, 0.0}, {2.0, 0.0}}, false)};  // replaced by the test
  FaceTracks tracks;
  FittedRim fitted;
  FaceGrid grid;
  NoiseModel noise;
  BevelMeasures bevel;
};

// `fitted` points into `tracks`: the result is made in place and not to be copied.
inline void measure_tracks(MeasuredBevel& made, double noise_mm) {
  Workers workers;
  made.fitted = fit_faces(made.rim, made.tracks, noise_mm, 0.0, {}, workers);
  made.grid = grid_face(made.rim, made.fitted, *made.fitted.find(FaceName::bevel), 0.5, -0.6,
                        std::max(1.0, 4.0 * noise_mm), workers);
  made.noise.white_sigma_mm = noise_mm;
  made.bevel.stations = measure_bevel(made.rim, made.fitted, made.grid, made.noise, CaptureTerms{}, {}, workers);
}

inline void measure(MeasuredBevel& made, const std::function<Profile(double)>& profile, double length_mm,
                    double noise_mm) {
  made.tracks = bevelled_tracks(length_mm, profile);
  measure_tracks(made, noise_mm);
}

}  // namespace rimwright::test
