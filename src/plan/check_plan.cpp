#include "plan/check_plan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

#include "core/frames.h"

namespace rimwright {
namespace {

std::string mm(double value) {
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%.2f mm", value);
  return text.data();
}

class Warnings {
 public:
  void add(int line, const std::string& text) { warnings_.push_back({line, text}); }
  std::vector<PlanWarning> in_order() {
    std::stable_sort(warnings_.begin(), warnings_.end(),
                     [](const PlanWarning& a, const PlanWarning& b) { return a.line < b.line; });
    return std::move(warnings_);
  }

 private:
  std::vector<PlanWarning> warnings_;
};

// Whether the bevel leaves the block its wood: at nominal, and at the worst the tolerances allow.
void check_block(const PlannedBevel& bevel, const PlannedBlock& block, Warnings& warnings) {
  const double room_top_mm = block.top_mm - block.keep_mm, room_side_mm = block.side_mm - block.keep_mm;
  const double reach_mm = top_reach_for_drop_mm(bevel.drop_mm.nominal, bevel.angle_deg.nominal);
  const double worst_reach_mm = top_reach_for_drop_mm(bevel.drop_mm.upper_limit(), bevel.angle_deg.lower_limit());
  if (reach_mm > room_top_mm) {
    warnings.add(bevel.line, "at full drop the bevel reaches " + mm(reach_mm) +
                                 " in along the top, but the block leaves " + mm(room_top_mm) +
                                 " after what is to be kept");
  } else if (worst_reach_mm > room_top_mm) {
    warnings.add(bevel.line, "within its tolerances the bevel may reach " + mm(worst_reach_mm) +
                                 " in along the top, but the block leaves " + mm(room_top_mm));
  }
  if (bevel.drop_mm.nominal > room_side_mm) {
    warnings.add(bevel.line, "the bevel's drop of " + mm(bevel.drop_mm.nominal) + " is more than the " +
                                 mm(room_side_mm) + " the block leaves down the side");
  } else if (bevel.drop_mm.upper_limit() > room_side_mm) {
    warnings.add(bevel.line, "within its tolerance the bevel may drop " + mm(bevel.drop_mm.upper_limit()) +
                                 ", but the block leaves " + mm(room_side_mm) + " down the side");
  }
}

// The inner strips of a stack are set into the top alone; a step through it would hang in the air or in the lining.
void check_top_thickness(const PlannedChannel& channel, double thickness_mm, Warnings& warnings) {
  if (channel.corner == ChannelCorner::side_bevel) return;
  for (std::size_t k = 0; k < channel.steps.size(); ++k) {
    const PlannedStep& step = channel.steps[k];
    // The outermost step of an edge binding goes down past the top into the side by design.
    if (channel.corner == ChannelCorner::top_side && k == 0) continue;
    if (step.depth_mm < thickness_mm) continue;
    const Strip& strip = channel.strips[step.first_strip];
    warnings.add(strip.line, "step " + std::to_string(k + 1) + " of '" + channel.name + "' ('" + strip.name + "') is " +
                                 mm(step.depth_mm) + " deep, but the top is only " + mm(thickness_mm) + " thick");
  }
  const double width_mm = channel.steps.back().width_mm;
  if (channel.corner == ChannelCorner::top_side && channel.steps.size() == 1 && channel.strips.size() > 1 &&
      channel.steps.front().depth_mm >= thickness_mm) {
    warnings.add(channel.line, "'" + channel.name + "' cuts " + mm(width_mm) + " wide right through the top of " +
                                   mm(thickness_mm) +
                                   "; give the inner strips less height, or see that lining or block carries them");
  }
}

// A channel along an edge of the bevel must still find block behind it.
void check_edge_channel(const PlannedBevel& bevel, const PlannedBlock& block, const PlannedChannel& channel,
                        Warnings& warnings) {
  const double width_mm = channel.steps.back().width_mm;
  if (channel.corner == ChannelCorner::top_bevel) {
    const double reach_mm = top_reach_for_drop_mm(bevel.drop_mm.nominal, bevel.angle_deg.nominal);
    if (reach_mm + width_mm > block.top_mm) {
      warnings.add(channel.line, "the wall of '" + channel.name + "' lies " + mm(reach_mm + width_mm) +
                                     " in from the rim, past the end of the block at " + mm(block.top_mm));
    }
  } else if (channel.corner == ChannelCorner::side_bevel && bevel.drop_mm.nominal + width_mm > block.side_mm) {
    warnings.add(channel.line, "the wall of '" + channel.name + "' lies " + mm(bevel.drop_mm.nominal + width_mm) +
                                   " down the side, past the end of the block at " + mm(block.side_mm));
  }
}

// Where an edge channel meets the bevel's run-out: the bevel eats it from the rim inwards as it deepens.
void check_run_out(const PlannedBevel& bevel, const PlannedChannel& channel, Warnings& warnings) {
  const double angle_deg = bevel.angle_deg.nominal;
  const double width_mm = channel.steps.back().width_mm;
  const double gone_at_drop_mm = drop_for_top_reach_mm(width_mm, angle_deg);
  if (gone_at_drop_mm >= bevel.drop_mm.nominal) {
    warnings.add(channel.line, "even at full drop the bevel does not clear '" + channel.name + "': it reaches " +
                                   mm(top_reach_for_drop_mm(bevel.drop_mm.nominal, angle_deg)) +
                                   " in along the top, the channel " + mm(width_mm));
    return;
  }
  if (channel.steps.size() < 2) return;
  const PlannedStep& outer = channel.steps.front();
  warnings.add(channel.strips[channel.steps.back().first_strip].line,
               "the inner strips of '" + channel.name + "' fall into the bevel's run-out: between a drop of " +
                   mm(drop_for_top_reach_mm(outer.width_mm, angle_deg)) + " and " + mm(gone_at_drop_mm) +
                   " the bevel planes them to a feather edge; plan where they stop or turn along its upper edge");
}

}  // namespace

double top_reach_for_drop_mm(double drop_mm, double angle_deg) {
  return drop_mm * std::tan(radians_from_degrees(180.0 - angle_deg));
}

double drop_for_top_reach_mm(double reach_mm, double angle_deg) {
  return reach_mm / std::tan(radians_from_degrees(180.0 - angle_deg));
}

std::vector<PlanWarning> check_plan(const Plan& plan) {
  Warnings warnings;
  if (plan.block && !plan.bevel) warnings.add(plan.block->line, "the plan has a block but no bevel that could pass it");
  if (plan.bevel && plan.block) check_block(*plan.bevel, *plan.block, warnings);
  for (const PlannedChannel& channel : plan.channels) {
    if (plan.top_thickness_mm) check_top_thickness(channel, *plan.top_thickness_mm, warnings);
    if (plan.bevel && plan.block) check_edge_channel(*plan.bevel, *plan.block, channel, warnings);
    if (plan.bevel && channel.corner == ChannelCorner::top_side) check_run_out(*plan.bevel, channel, warnings);
  }
  return warnings.in_order();
}

}  // namespace rimwright
