#include "plan/set_up.h"

#include <algorithm>
#include <cmath>

namespace rimwright {
namespace {

// A bearing must fit on the cutter's shank and stay smaller than the cutter, or it would not let it cut at all.
BearingChoice choose_bearing(double cutter_mm, const PlannedStep& step, const Tolerance& width_tolerance_mm,
                             const std::vector<double>& bearings_mm) {
  BearingChoice choice;
  choice.cutter_mm = cutter_mm;
  choice.wanted_bearing_mm = bearing_for_width_mm(cutter_mm, step.width_mm);
  if (choice.wanted_bearing_mm <= 0.0) return choice;
  for (const double bearing_mm : bearings_mm) {
    if (bearing_mm >= cutter_mm) continue;
    if (!choice.nearest_bearing_mm || std::abs(bearing_mm - choice.wanted_bearing_mm) <
                                          std::abs(*choice.nearest_bearing_mm - choice.wanted_bearing_mm)) {
      choice.nearest_bearing_mm = bearing_mm;
    }
  }
  if (choice.nearest_bearing_mm) {
    choice.width_it_gives_mm = width_from_bearing_mm(cutter_mm, *choice.nearest_bearing_mm);
    const double off_mm = *choice.width_it_gives_mm - step.width_mm;
    constexpr double rounding_mm = 1e-9;
    choice.within_tolerance =
        off_mm >= width_tolerance_mm.lower - rounding_mm && off_mm <= width_tolerance_mm.upper + rounding_mm;
  }
  return choice;
}

TemplateChoice choose_template(double cutter_mm, double follower_mm, double wall_mm) {
  TemplateChoice choice;
  choice.cutter_mm = cutter_mm;
  choice.follower_mm = follower_mm;
  choice.near_edge_mm = near_edge_from_template_mm(cutter_mm, follower_mm);
  choice.far_edge_mm = far_edge_from_template_mm(cutter_mm, follower_mm);
  choice.template_beyond_mm = wall_mm + choice.near_edge_mm;
  choice.template_before_mm = wall_mm - choice.far_edge_mm;
  return choice;
}

// How good a choice is: first those within tolerance, then any that yields a width, then any that needs a bearing yet
// to be found, then the impossible.
int rank(const BearingChoice& choice) {
  if (choice.within_tolerance) return 0;
  if (choice.width_it_gives_mm) return 1;
  return choice.wanted_bearing_mm > 0.0 ? 2 : 3;
}

}  // namespace

SetUpSheet set_up(const Plan& plan, const SetUpSettings& settings) {
  SetUpSheet sheet;
  const std::vector<double> cutters_mm =
      plan.router.cutters_mm.empty() ? std::vector<double>{settings.usual_cutter_mm} : plan.router.cutters_mm;
  const std::vector<double> followers_mm =
      plan.router.followers_mm.empty() ? std::vector<double>{settings.usual_follower_mm} : plan.router.followers_mm;
  for (std::size_t c = 0; c < plan.channels.size(); ++c) {
    const PlannedChannel& channel = plan.channels[c];
    for (std::size_t k = channel.steps.size(); k-- > 0;) {
      RoutingPass pass;
      pass.channel = c;
      pass.step = k;
      pass.depth_mm = channel.steps[k].depth_mm;
      pass.width_mm = channel.steps[k].width_mm;
      for (const double cutter_mm : cutters_mm) {
        if (channel.corner == ChannelCorner::top_side) {
          pass.bearings.push_back(
              choose_bearing(cutter_mm, channel.steps[k], channel.width_tolerance_mm, plan.router.bearings_mm));
          continue;
        }
        for (const double follower_mm : followers_mm) {
          if (follower_mm > cutter_mm) pass.templates.push_back(choose_template(cutter_mm, follower_mm, pass.width_mm));
        }
      }
      std::stable_sort(pass.bearings.begin(), pass.bearings.end(),
                       [](const BearingChoice& a, const BearingChoice& b) { return rank(a) < rank(b); });
      sheet.passes.push_back(std::move(pass));
    }
  }
  return sheet;
}

}  // namespace rimwright
