// What measuring yields: every quantity at every station, with uncertainty, and the pictures that explain it.
// Plain data; made by the measure stages, read by judge and report. Lengths mm, angles degrees where named so.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/frames.h"
#include "core/measured.h"

namespace rimwright {

struct BevelStation {
  double station_mm = 0.0;
  Vector3 at_scan_mm = Vector3::Zero();  // rim corner
  Measured angle_deg;                    // inside the wood, bevel face to side face, in the section
  Measured drop_mm;                      // rim corner down the side to the bevel's lower edge
  Measured top_reach_mm;                 // rim corner in along the top to the bevel's upper edge
  Measured straightness_mm;              // peak to valley across the face
  double crown_mm = 0.0;                 // signed sagitta of the face: positive = crown, negative = hollow
  double crown_u_mm = 0.0;               // standard uncertainty
  // Part of reference_faces that the bend of the whole top makes: the same at all stations.
  double drop_u_of_top_bend_mm = 0.0, reach_u_of_top_bend_mm = 0.0;
};

struct BevelMeasures {
  std::vector<BevelStation> stations;  // only where a bevel is present; at most 2 mm apart where seen
  Measured waviness_mm;                // peak to valley in the plan's band
  Measured lower_edge_fairness_mm;
  Measured upper_edge_fairness_mm;
};

struct BlockStation {
  double station_mm = 0.0;
  Vector3 at_scan_mm = Vector3::Zero();
  Measured top_left_mm;   // block left beyond the bevel's upper edge, along the top
  Measured side_left_mm;  // block left below the bevel's lower edge, down the side
};

struct StepMeasures {
  Measured width_mm;
  Measured depth_mm;
};

struct ChannelStation {
  double station_mm = 0.0;
  Vector3 at_scan_mm = Vector3::Zero();
  std::vector<StepMeasures> steps;  // one for each planned step, from the outside in (deepest first)
};

struct ChannelMeasures {
  std::size_t planned_channel = 0;       // index into Plan::channels
  std::vector<ChannelStation> stations;  // only where the channel is present
};

// A face of a section as fitted: a line in the section plane.
enum class FaceKind { side, top, bevel, floor, wall };
struct SectionFace {
  FaceKind kind = FaceKind::side;
  Vector2 from_out_up_mm = Vector2::Zero();  // the seen part, from the side's end to the top's end
  Vector2 to_out_up_mm = Vector2::Zero();
};

// One section for the eye: the points of the slab and the fitted faces, in (out, up) about the rim corner.
struct SectionPicture {
  double station_mm = 0.0;
  std::vector<Eigen::Vector2f> points_out_up_mm;  // thinned to at most a few hundred
  std::vector<SectionFace> faces;                 // in order from the side up to the top
};

// The unrolled bevel face as a regular grid, row-major: row = position across (0 at the lower edge side), column =
// station. NaN where nothing was measured. Deviation is signed: positive = wood still to take off.
struct UnrolledMap {
  double first_station_mm = 0.0, station_step_mm = 1.0;
  double first_across_mm = 0.0, across_step_mm = 0.5;  // across: along the target face, 0 at its faired lower edge
  std::size_t columns = 0, rows = 0;
  std::vector<float> deviation_mm;
  std::vector<float> deviation_u_mm;  // standard uncertainty of each cell
};

// One scanned point near the rim, for heatmap.ply. Deviation is NaN off the bevel face.
struct HeatPoint {
  Eigen::Vector3f at_scan_mm;
  float deviation_mm;
  float station_mm;
};

// One scanned point of a named face near the rim, kept so that a later pass of the same instrument can be compared with
// this one. Points that belong to no face (outliers, clutter) are left out.
struct FacePoint {
  Eigen::Vector3f at_scan_mm;
  FaceKind kind = FaceKind::side;
  float station_mm = 0.0F;
  float deviation_mm = 0.0F;  // from the target face; NaN off the bevel
  float sigma_mm = 0.0F;      // standard deviation along the normal
};

struct ScanSummary {
  std::uint64_t points = 0;  // finite points used
  std::uint64_t points_near_rim = 0;
  double noise_mm = 0.0;             // standard deviation along the normal, about smooth faces
  double correlated_noise_mm = 0.0;  // the part shared by neighbours, and over which distance
  double correlation_length_mm = 0.0;
  double spacing_mm = 0.0;  // typical distance between neighbouring points
  double rim_length_mm = 0.0;
  bool rim_closed = false;
  double dome_radius_mm = 0.0;  // infinity for a flat top
  double lean_deg = 0.0;        // mean lean of the side from square to the top; positive = outward below
  double seen_share = 0.0;      // share of the rim's length where top and side are seen
};

// A small sharp pit in a face: wood torn out.
struct TornPlace {
  FaceKind face = FaceKind::bevel;
  double from_mm = 0.0, to_mm = 0.0;  // along the rim
  double across_share = 0.5;  // over the seen face: 0 at its lower (side: lowest) end, 1 at its upper or inner end
  Measured depth_mm;          // below the face around it
};

// A stretch of rim that could not be measured, and why.
struct Gap {
  double from_mm = 0.0, to_mm = 0.0;
  std::string feature;  // "bevel", or the channel's name
  Refusal why;
};

struct Measures {
  ScanSummary scan;
  bool bevel_planned = false;
  BevelMeasures bevel;
  std::vector<BlockStation> block;
  std::vector<ChannelMeasures> channels;  // one for each planned channel, in the plan's order
  std::vector<SectionPicture> sections;   // at every station of the rim grid, station order
  std::vector<Vector3> rim_scan_mm;       // rim corner curve, 1 mm to 2 mm apart, for the plan view
  std::vector<double> rim_station_mm;
  std::vector<Vector2> rim_plan_mm;  // the same curve in plan (body x, y); the body lies on its left
  UnrolledMap map;
  std::vector<HeatPoint> heat_points;  // thinned to at most 1.5 million
  std::vector<FacePoint> face_points;  // thinned evenly to at most 200 000; reaches 20 mm or more beyond the work
  std::vector<Gap> gaps;
  std::vector<TornPlace> torn;
  std::vector<std::string> notes;
};

}  // namespace rimwright
