// Doubt: fits that contradict themselves or their neighbours are taken back before anything is measured from them.
//
// A clamp's edge, the end of a cut in the window, two ledges passing into each other: each gives a line, and a small
// standard deviation for it, that belongs to no face. Nothing is better there than a number.
#pragma once

#include "measure/fit_faces.h"

namespace rimwright {

struct DoubtSettings {
  double scatter_sigmas = 3.0;     // a ledge's fit scatters more than its face does elsewhere: in standard deviations
                                   // of a standard deviation (1 / sqrt(2 n))
  double scatter_form_mm = 0.004;  // and what a clean cut leaves,
  double ledge_form_mm = 0.01;     // of a floor or wall: ramps and bends that their window does not follow
  double form_sigmas = 1.5, form_mm = 0.25;  // the same for side, top and bevel, whose form may be off by so much
  double narrow_mm = 8.0;         // a face narrower than this has no form to speak of: it is judged as a ledge is
  double narrow_jump_deg = 2.5;   // a narrow bevel is the end of a run-out, where other cuts pass for it
  double jump_deg = 5.0;          // bevel against the median of its neighbours
  double jump_mm = 0.7;           // floor against its neighbours: a cutter does not jump, another ledge does
  double neighbours_mm = 12.0;    // how far those reach, each way
  double unseen_mm = 3.0;         // side or top missing for so long: something stands on the rim
  double beside_unseen_mm = 3.0;  // and so far beside it nothing is believed
};

void doubt_fits(FittedRim& fitted, const DoubtSettings& settings);

}  // namespace rimwright
