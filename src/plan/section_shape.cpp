#include "plan/section_shape.h"

#include "plan/check_plan.h"
#include "plan/derive_steps.h"

namespace rimwright {

CornerAxes corner_axes(const Plan& plan, ChannelCorner corner) {
  CornerAxes axes;
  const double drop_mm = plan.bevel ? plan.bevel->drop_mm.nominal : 0.0;
  const double reach_mm = plan.bevel ? top_reach_for_drop_mm(drop_mm, plan.bevel->angle_deg.nominal) : 0.0;
  switch (corner) {
    case ChannelCorner::top_side:
      axes.along = {-1.0, 0.0};
      axes.deep = {0.0, -1.0};
      axes.second = {0.0, -1.0};
      break;
    case ChannelCorner::top_bevel:
      axes.corner = {-reach_mm, 0.0};
      axes.along = {-1.0, 0.0};
      axes.deep = {0.0, -1.0};
      axes.second = Vector2(reach_mm, -drop_mm).normalized();
      break;
    case ChannelCorner::side_bevel:
      axes.corner = {0.0, -drop_mm};
      axes.along = {0.0, -1.0};
      axes.deep = {-1.0, 0.0};
      axes.second = Vector2(-reach_mm, drop_mm).normalized();
      break;
  }
  return axes;
}

SectionShape section_shape(const Plan& plan, const PlannedChannel& channel, double reach_mm) {
  SectionShape shape;
  shape.axes = corner_axes(plan, channel.corner);
  const CornerAxes& axes = shape.axes;
  const auto at = [&](double along_mm, double deep_mm) {
    return Vector2(axes.corner + along_mm * axes.along + deep_mm * axes.deep);
  };
  const double deepest_mm = channel.steps.front().depth_mm, widest_mm = channel.steps.back().width_mm;
  const double sink_per_mm = axes.second.dot(axes.deep);  // how fast the second face goes down
  // Down the second face to below the drawing, then round the ledge from its floor to its last wall.
  shape.wood.push_back(axes.corner + axes.second * ((deepest_mm + reach_mm) / sink_per_mm));
  shape.wood.push_back(axes.corner + axes.second * (deepest_mm / sink_per_mm));
  for (std::size_t k = 0; k < channel.steps.size(); ++k) {
    const PlannedStep& step = channel.steps[k];
    shape.wood.push_back(at(step.width_mm, step.depth_mm));
    const bool last = k + 1 == channel.steps.size();
    shape.wood.push_back(at(step.width_mm, last ? 0.0 : channel.steps[k + 1].depth_mm));
  }
  shape.wood.push_back(at(widest_mm + reach_mm, 0.0));
  shape.wood.push_back(at(widest_mm + reach_mm, deepest_mm + reach_mm));

  for (const PlannedStep& step : channel.steps) {
    for (std::size_t i = step.first_strip; i <= step.last_strip; ++i) {
      const double inner_mm = stack_width_mm(channel, i) - channel.glue_mm;
      const double outer_mm = inner_mm - channel.strips[i].thickness_mm;
      const double foot_mm = step.depth_mm - channel.glue_mm;
      const double head_mm = foot_mm - channel.strips[i].height_mm;  // = -proud
      shape.strips.push_back(
          {at(outer_mm, foot_mm), at(inner_mm, foot_mm), at(inner_mm, head_mm), at(outer_mm, head_mm)});
    }
  }
  return shape;
}

}  // namespace rimwright
