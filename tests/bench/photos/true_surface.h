// The true surface of a simulated body near its rim, asked point by point: how far off, and on which face.
//
// Samples of the body's closed-form sections with their normals; a point is compared with the tangent plane of the
// sample next to it, so the answer is that of the curved surface to 0.001 mm where a point lies within 0.5 mm. Within
// a sample's spacing of an edge a point may count for the neighbour face.
#pragma once

#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "simulate/body.h"

namespace rimwright {

struct TrueSurfaceSpec {
  double from_mm = 0.0, to_mm = 0.0;     // of the rim
  double spacing_mm = 0.2;               // of samples, both ways
  double top_mm = 45.0, side_mm = 45.0;  // looked at, inward and down from the rim corner
  double reach_mm = 3.0;                 // a point farther off belongs to nothing
};

class TrueSurface {
 public:
  TrueSurface(const Body& body, const TrueSurfaceSpec& spec);

  struct Place {
    double off_mm = 0.0;  // positive = in the air
    BodyFace face = BodyFace::side;
    std::size_t cell = 0;  // of about a square millimetre, of that face alone
  };
  // Nothing where the point is beyond reach, or beside the part of the surface that is looked at.
  [[nodiscard]] std::optional<Place> place_of(const Vector3& body_mm) const;
  [[nodiscard]] std::size_t cell_count(BodyFace face) const { return cells_[static_cast<std::size_t>(face)]; }

 private:
  struct Sample {
    Vector3 at, normal;
    std::size_t cell;
    BodyFace face;
    bool at_border;
  };
  void add_section(const Body& body, double station_mm, const TrueSurfaceSpec& spec, bool at_border,
                   std::unordered_map<std::uint64_t, std::size_t>& known_cells);
  [[nodiscard]] std::uint64_t bin_of(const Vector3& p, int dx, int dy, int dz) const;
  [[nodiscard]] const Sample* nearest(const Vector3& p, int reach_bins) const;

  double reach_mm_;
  std::vector<Sample> samples_;
  std::unordered_map<std::uint64_t, std::vector<std::uint32_t>> bins_;
  std::array<std::size_t, 6> cells_{};
};

}  // namespace rimwright
