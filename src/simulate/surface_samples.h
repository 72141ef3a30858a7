// Points spread evenly over the area of a body's true surface.
#pragma once

#include <cstdint>
#include <vector>

#include "core/parallel.h"
#include "simulate/scanner.h"

namespace rimwright {

// Body frame, already mirrored where the body is left-handed. The normal points to the air.
struct SurfaceSample {
  Vector3 position_mm;
  Eigen::Vector3f normal;
  float station_mm;
  SurfaceLabel label;
};

// A Poisson process whose density is per unit of true area, bumps and run-outs included.
[[nodiscard]] std::vector<SurfaceSample> sample_surface(const Body& body, const ScannerSpec& spec, std::uint64_t seed,
                                                        Workers* workers);

// The top beyond the swept band, for closed bodies; empty for open ones.
[[nodiscard]] std::vector<SurfaceSample> sample_inner_top(const Body& body, const ScannerSpec& spec,
                                                          std::uint64_t seed);

// Plan distance outward (negative inside) from the outline, and the nearest station, by search over `every_mm`.
class OutlineDistance {
 public:
  explicit OutlineDistance(const Body& body, double every_mm = 1.0);
  struct Nearest {
    double out_mm;
    double station_mm;
  };
  [[nodiscard]] Nearest nearest(const Vector2& plan_mm) const;  // before mirroring

 private:
  std::vector<OutlinePoint> points_;
  std::vector<double> stations_;
};

}  // namespace rimwright
