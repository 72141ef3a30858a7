#include "plan/derive_steps.h"

#include <cmath>
#include <string_view>

namespace rimwright {

std::string_view name_of(ChannelCorner corner) {
  switch (corner) {
    case ChannelCorner::top_side: return "top-side";
    case ChannelCorner::top_bevel: return "top-bevel";
    case ChannelCorner::side_bevel: return "side-bevel";
  }
  return "unknown";
}

std::vector<PlannedStep> derive_steps(const std::vector<Strip>& strips, double glue_mm, double proud_mm) {
  constexpr double same_height_mm = 1e-3;
  std::vector<PlannedStep> steps;
  double width_mm = 0.0;
  for (std::size_t i = 0; i < strips.size(); ++i) {
    width_mm += strips[i].thickness_mm + glue_mm;
    const double depth_mm = strips[i].height_mm + glue_mm - proud_mm;
    if (steps.empty() || std::abs(strips[i].height_mm - strips[steps.back().first_strip].height_mm) > same_height_mm) {
      steps.push_back({width_mm, depth_mm, i, i});
    } else {
      steps.back().width_mm = width_mm;
      steps.back().last_strip = i;
    }
  }
  return steps;
}

double stack_width_mm(const PlannedChannel& channel, std::size_t last_strip) {
  double width_mm = 0.0;
  for (std::size_t i = 0; i <= last_strip && i < channel.strips.size(); ++i) {
    width_mm += channel.strips[i].thickness_mm + channel.glue_mm;
  }
  return width_mm;
}

}  // namespace rimwright
