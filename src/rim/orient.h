// Orient: find the top of the body, which way is up, and the wall that borders it.
//
// No seed points. Every large smooth near-plane is tried as the top; the one with the longest steep wall at its
// border, lying to one side of it as the side of a body does, wins. Tables, clamps and the side itself lose because
// their walls run the other way, are short, or because they are bent.
#pragma once

#include <cstdint>
#include <vector>

#include "core/frames.h"
#include "core/parallel.h"
#include "core/refusal.h"
#include "rim/fit_top.h"
#include "rim/gather_cells.h"

namespace rimwright {

struct OrientSettings {
  double flat_within_deg = 10.0;          // a dome's slope at its edge (6 deg for 4 m radius at 400 mm) and noise
  double wall_within_deg = 14.0;          // the side's lean, and noise
  double tightest_dome_radius_mm = 1200;  // bent more than this it is no top
  double widest_bevel_mm = 60.0;          // how far the top may end from the side
  double deepest_side_mm = 150.0;
  double shortest_rim_mm = 40.0;     // a shorter piece cannot show which way the rim runs
  double smallest_top_mm2 = 800.0;   // 20 mm in from the shortest rim: less shows no dome
  double flat_top_tilt_rad = 0.001;  // how far a flat top's normal may be from the axis the side was bent round
  double dome_offset_mm = 200.0;     // how far the seen part's middle may lie from a dome's highest point
  double least_share_of_best = 0.6;  // of the best score, which another flat surface may have and still be the top
  double usual_lean_deg = 1.0;       // standard deviation of a side's mean lean, before looking
};

struct Orientation {
  Transform T_body_scan = Transform::Identity();  // from scan millimetres relative to Cloud::origin_mm
  double tilt_u_rad = 0.0;                        // standard uncertainty of up about each axis in plan
  TopSurface top;
  TopBend top_bend;  // set by refit_top
  std::vector<std::uint32_t> top_cells;
  std::vector<std::uint32_t> wall_cells;  // steep cells below the top with top on one side of them
  std::vector<Vector2> wall_out;          // for each wall cell: unit plan normal away from the body
  std::vector<std::string> notes;
};

// Refuses with no_top_found, no_side_found or no_rim_found.
[[nodiscard]] Outcome<Orientation> orient(const SurfaceCells& cells, const OrientSettings& settings, Workers& workers);

}  // namespace rimwright
