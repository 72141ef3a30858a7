// A scanner that looks at a simulated body and returns a point cloud, with every fault a real one has, seeded.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "core/cloud.h"
#include "core/parallel.h"
#include "simulate/truth.h"

namespace rimwright {

struct ClampSpec {
  double at_mm = 0.0;          // station of its middle
  double along_mm = 30.0;      // its size along the rim
  double over_top_mm = 25.0;   // how far its upper jaw reaches in over the top
  double down_side_mm = 40.0;  // how far its arm reaches down the side
  double thickness_mm = 12.0;
};

struct ScannerSpec {
  // Sampling: a Poisson process, uniform over the area of the true surface.
  double density_per_mm2 = 24.0;     // within dense_reach_mm of the rim corner, in the section
  double far_density_per_mm2 = 6.0;  // beyond
  double dense_reach_mm = 40.0;
  double top_seen_mm = 60.0;          // inward from the rim corner
  double side_seen_mm = 50.0;         // down from it
  bool whole_top = false;             // closed bodies: also the rest of the top, at the far density
  double from_mm = 0.0, to_mm = 0.0;  // part of the rim; equal = all

  // Errors of the points.
  double normal_noise_mm = 0.04;       // standard deviation along the true normal, independent
  double sideways_noise_mm = 0.012;    // standard deviation along each of two directions in the surface
  double correlated_noise_mm = 0.0;    // standard deviation along the normal of a smooth random field
  double correlation_length_mm = 8.0;  // its covariance is exp(-d^2 / (2 length^2))
  double warp_mm = 0.0;                // standard deviation of each component of a slow displacement of everything
  double warp_length_mm = 250.0;
  double outlier_share = 0.002;  // stray points, half near the surface (up to 15 mm), half anywhere in the box
  double mixed_share = 0.0;      // points averaged across an edge from two faces up to 2 mm apart

  // What is in the way.
  int holes = 0;  // round holes at random places
  double hole_radius_mm = 6.0;
  bool table = false;         // a plane under the body, seen around it
  double table_gap_mm = 2.0;  // below the lowest seen point of the side
  double table_density_per_mm2 = 1.0;
  std::vector<ClampSpec> clamps;

  // How it is handed over.
  std::optional<Transform> T_scan_body;  // given pose; otherwise random_pose, otherwise the body frame
  bool random_pose = false;              // any rotation, shifted by up to 500 mm
  double mm_per_unit = 1.0;              // of the file; the cloud itself is always in millimetres
  bool normals = false;
  bool colours = false;
  std::array<double, 2> band_mm{10.0, 80.0};  // for the truth's waviness and edge fairness
};

struct SimulatedScan {
  Cloud cloud;
  Truth truth;
  // What each point is, by point: -1 = not on the body (stray, table, clamp), otherwise the BodyFace as a number.
  std::vector<std::int8_t> face;
  std::vector<float> station_mm;  // where it was taken; NaN off the body
};

// The same seed gives the same scan, whatever the number of threads. Refuses more than 60 million points.
[[nodiscard]] Outcome<SimulatedScan> scan_cloud(const Body& body, const ScannerSpec& spec, std::uint64_t seed,
                                                Workers* workers = nullptr);

}  // namespace rimwright
