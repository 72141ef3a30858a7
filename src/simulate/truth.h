// What is true of a simulated body, station by station, and of the scan made of it.
//
// Everything comes from the body's closed-form sections; filtering is a plain sum over the Gaussian weighting function
// of ISO 16610-21. Nothing is shared with the code that measures scans.
#pragma once

#include <array>
#include <vector>

#include "simulate/body.h"

namespace rimwright {

struct TrueStep {
  bool present = false;  // some of its floor and some of its wall can be seen
  double width_mm = 0.0;
  double depth_mm = 0.0;
  double from_end_mm = 0.0;  // along the rim, to the nearest station where floor or wall is cut short; 0 if here
};

struct TrueStation {
  double station_mm = 0.0;
  Vector3 at_scan_mm = Vector3::Zero();  // rim corner
  bool hidden = false;                   // under a clamp: nothing can be measured here
  bool bevel_present = false;
  double angle_deg = 0.0;
  double drop_mm = 0.0;
  double top_reach_mm = 0.0;
  double straightness_mm = 0.0;                 // of the seen bevel face, peak to valley about its least-squares line
  double departure_mm = 0.0;                    // mean over the face, along its normal, from the intended face
  std::vector<std::vector<TrueStep>> channels;  // by channel and step, as in the body
};

struct TrueFairness {
  std::array<double, 2> band_mm{10.0, 80.0};
  double waviness_mm = 0.0;        // of the mean departure, between the run-outs
  double waviness_whole_mm = 0.0;  // the same with the run-outs (the intended drop is taken out first)
  double lower_edge_mm = 0.0;      // of the lower edge's distance down the side, between the run-outs
  double upper_edge_mm = 0.0;      // of the upper edge's distance along the top
};

struct Truth {
  std::vector<TrueStation> stations;
  TrueFairness fairness;
  Transform T_scan_body = Transform::Identity();  // applied after mirroring
};

struct TruthSpec {
  double step_mm = 1.0;
  double from_mm = 0.0, to_mm = 0.0;          // part of the rim; equal = all
  std::array<double, 2> band_mm{10.0, 80.0};  // wavelengths, for waviness and edge fairness
};

[[nodiscard]] Truth truth_of(const Body& body, const Transform& T_scan_body, const TruthSpec& spec = {});

// The truth beside a place on the rim (scan frame, near the rim corner curve): projected onto the curve through the
// stations and interpolated linearly. A step or bevel counts as present where both neighbours have it. away_mm, if
// wanted, gets the distance from the curve. The truth must hold at least one station.
[[nodiscard]] TrueStation truth_at(const Truth& truth, const Vector3& at_scan_mm, double* away_mm = nullptr);

// Gaussian band-pass of an evenly spaced profile by direct summation: low-pass at the shortest wavelength minus
// low-pass at the longest (0 = no limit). The profile counts as zero beyond its ends. alpha = sqrt(ln 2 / pi).
[[nodiscard]] std::vector<double> gaussian_band(const std::vector<double>& profile, double step_mm, double shortest_mm,
                                                double longest_mm);

}  // namespace rimwright
