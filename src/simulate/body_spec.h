// What a simulated body is made of. Lengths millimetres, angles degrees, stations along the rim from the start of the
// outline. Defaults make a sound, plain body; every list may be empty.
//
// Terms: the section at a station is the cut square to the rim in plan; `out` is away from the body, `up` away from
// the top. The rim corner is where side and top would meet if no wood had been taken there.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/frames.h"

namespace rimwright {

// One stretch of an open outline: curvature runs linearly from start to end (a clothoid). Positive = convex.
struct OutlinePiece {
  double length_mm = 0.0;
  double start_curvature_per_mm = 0.0;
  double end_curvature_per_mm = 0.0;
};

// The rim seen in plan, counter-clockwise from above (the body lies on the left of the direction of travel). Either
// control points, joined by a cubic spline with continuous curvature (periodic when closed), or pieces (open only).
struct OutlineSpec {
  bool closed = false;
  std::vector<Vector2> points_mm;
  std::vector<OutlinePiece> pieces;
};

struct TopSpec {
  double dome_radius_mm = 0.0;       // 0 = flat; otherwise a sphere whose highest point is at height 0
  Vector2 dome_centre_mm{0.0, 0.0};  // plan position of the highest point
  double modelled_inward_mm = 70.0;  // how far in from the rim the surface is swept
};

struct SideSpec {
  double lean_deg = 0.0;  // positive = outward below
  double height_mm = 60.0;
};

enum class RunOutShape { raised_cosine, linear, circular };  // of the drop, from nothing to full

struct BevelSpec {
  double angle_deg = 124.0;  // inside the wood, bevel to side
  double drop_mm = 16.0;     // at its fullest
  double from_mm = 0.0, to_mm = 0.0;
  RunOutShape run_out = RunOutShape::raised_cosine;
  double start_run_out_mm = 60.0, end_run_out_mm = 60.0;  // lie inside [from, to]
};

enum class BodyCorner { top_side, top_bevel, side_bevel };

struct StepSpec {
  double width_mm = 0.0;  // along the first face, from the corner of the two faces (extended) to the step's wall
  double depth_mm = 0.0;  // square to the first face
};

struct ChannelSpec {
  std::string name;
  BodyCorner corner = BodyCorner::top_side;
  std::vector<StepSpec> steps;           // from the outside in: widths grow, depths shrink
  double corner_radius_mm = 0.0;         // left by the cutter between floor and wall
  double end_radius_mm = 6.0;            // the cutter's radius: how the channel ends in plan
  std::optional<double> from_mm, to_mm;  // default: all of the rim (top-side), or where the bevel is deep enough
};

enum class DefectKind {
  angle_drift,        // size deg at the middle of [from, to], nothing at the ends
  wave,               // of the face along its normal; size = peak to valley, wavelength
  side_wave,          // the same for the side face: an unfair rim
  lower_edge_wander,  // peak to valley down the side, upper edge held
  upper_edge_wander,  // peak to valley along the top, lower edge held
  crown,              // size = sagitta across the face, positive = crown, negative = hollow
  hump,               // size high at (at, across), raised cosine of the given length and width
  hollow,             // the same, wood missing
  tear_out,           // wood torn out of a face: as hollow, on any face
  channel_depth,      // size added to a step's depth (negative = too shallow)
  channel_width,      // size added to a step's width (negative = too narrow)
};

enum class BodyFace : std::int8_t { side, top, bevel, floor, wall, fillet };

struct DefectSpec {
  DefectKind kind = DefectKind::wave;
  double size = 0.0;                  // mm (deg for angle drift)
  double from_mm = 0.0, to_mm = 0.0;  // for a stretch
  double ramp_mm = 5.0;               // raised-cosine ends inside [from, to]
  double wavelength_mm = 0.0;         // for waves and wanders
  double at_mm = 0.0;                 // centre station of a hump, hollow or tear-out
  double length_mm = 0.0;             // its whole length along the rim
  double across = 0.5;                // its centre: share of the bevel face from the lower edge; mm from the rim
                                      // corner on side and top
  double width_mm = 0.0;              // its whole width across the face
  BodyFace face = BodyFace::bevel;    // tear-out only: side, top or bevel
  int channel = 0;                    // index, for channel defects
  int step = 0;                       // index, for channel defects
};

struct BodySpec {
  std::string name = "unnamed";
  OutlineSpec outline;
  bool left_handed = false;  // the mirror image (x -> -x) of the same body
  TopSpec top;
  SideSpec side;
  std::optional<BevelSpec> bevel;
  std::vector<ChannelSpec> channels;
  std::vector<DefectSpec> defects;
};

}  // namespace rimwright
