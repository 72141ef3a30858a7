// How far a face reaches across at each station, and the line its points are gated against.
#pragma once

#include <vector>

#include "measure/fit_faces.h"

namespace rimwright {

// Places along the profile and on the face (t), mm; margins taken off.
struct FaceSpan {
  bool present = false;
  double from_along_mm = 0.0, to_along_mm = 0.0;  // margins taken off
  double from_t_mm = 0.0, to_t_mm = 0.0;          // the same on the face: a point is chosen by its t alone, which its
                                                  // own noise (square to the face) does not move
  double a_mm = 0.0, b = 0.0, shift_along = 0.0;  // the line to gate against: y = a + b t at the slice's middle
  double gate_mm = 0.0, margin_mm = 0.0;
};

// Where a channel begins, a face ends elsewhere from one section to the next. The section before, as long as a slab and
// blurred by it, already holds points of the channel, which would turn the fit: the shorter of the two ends counts for
// both, moved on as the face's end moves beyond. An end has jumped where it has moved by 0.5 mm and five times the
// noise more than that.
[[nodiscard]] std::vector<Piece> clear_of_jumps(const FaceTrack& track, double noise_mm);

// The spans of the segmentation's pieces, one a station, carried between its sections; places on the face (t) are not
// set. `face`: its track and frame. noise_mm: of the scan's points.
[[nodiscard]] std::vector<FaceSpan> spans_of_track(const FaceTracks& tracks, const FaceFits& face, FacePart part,
                                                   std::size_t stations, double noise_mm, const FitSettings& settings);

// Profile millimetres a millimetre of face covers.
[[nodiscard]] double along_per_t(const FaceFits& face);

// Noise makes the ends of a face jump from section to section, now and then far into its neighbour, whose points would
// then tilt the fit. The noisier the scan, the more neighbouring stations have a say in where a face ends; the shorter
// of the answers win, for points left out cost precision only. One span a station; only the places along the profile
// change.
void steady_ends(std::vector<FaceSpan>& spans, double noise_mm, const FitSettings& settings);

}  // namespace rimwright
