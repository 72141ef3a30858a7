#include "report/heat_colours.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rimwright {
namespace {

struct Stop {
  double at;  // -1 to 1
  std::array<double, 3> rgb;
};
constexpr std::array<Stop, 7> stops{{{-1.0, {16, 56, 110}},
                                     {-0.6, {58, 120, 178}},
                                     {-0.25, {160, 200, 226}},
                                     {0.0, {250, 248, 243}},
                                     {0.25, {246, 205, 150}},
                                     {0.6, {214, 126, 44}},
                                     {1.0, {116, 54, 4}}}};

}  // namespace

HeatScale heat_scale_for(const Inspection& inspection) {
  HeatScale scale;
  scale.limit_name = "no limit in the plan; drawn at 0.2 mm";
  if (inspection.plan.bevel && inspection.plan.bevel->straightness_mm) {
    scale.limit_mm = *inspection.plan.bevel->straightness_mm;
    scale.limit_name = "straightness limit";
  } else if (inspection.plan.bevel && inspection.plan.bevel->waviness) {
    scale.limit_mm = inspection.plan.bevel->waviness->limit_mm;
    scale.limit_name = "waviness limit";
  }
  scale.limit_mm = std::max(scale.limit_mm, 0.01);
  std::vector<float> sizes;
  for (const float deviation : inspection.measures.map.deviation_mm) {
    if (std::isfinite(deviation)) sizes.push_back(std::abs(deviation));
  }
  double large = 0.0;
  if (!sizes.empty()) {
    const auto at = sizes.begin() + static_cast<std::ptrdiff_t>((sizes.size() - 1) * 99 / 100);
    std::nth_element(sizes.begin(), at, sizes.end());
    large = *at;
  }
  scale.range_mm = std::clamp(std::ceil(large * 10) / 10, 2 * scale.limit_mm, 10 * scale.limit_mm);
  return scale;
}

Rgb heat_colour(double deviation_mm, double range_mm) {
  if (std::isnan(deviation_mm)) return {200, 200, 200};
  const double t = std::clamp(deviation_mm / range_mm, -1.0, 1.0);
  std::size_t i = 1;
  while (i + 1 < stops.size() && t > stops[i].at) ++i;
  const Stop& a = stops[i - 1];
  const Stop& b = stops[i];
  const double w = (t - a.at) / (b.at - a.at);
  Rgb rgb{};
  for (std::size_t k = 0; k < 3; ++k) {
    rgb[k] = static_cast<std::uint8_t>(a.rgb[k] * (1 - w) + b.rgb[k] * w + 0.5);  // rounded: none is negative
  }
  return rgb;
}

}  // namespace rimwright
