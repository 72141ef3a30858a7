#include "plan/explain_plan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdarg>
#include <cstdio>

#include "plan/check_plan.h"
#include "plan/draw_section.h"
#include "plan/set_up.h"

namespace rimwright {
namespace {

// Lines of text, printf style, in millimetres or, beside them, in the plan's own inches.
class Sheet {
 public:
  explicit Sheet(bool inches) : inches_(inches) {}

  [[gnu::format(printf, 2, 3)]] void line(const char* format, ...) {
    std::array<char, 600> text{};
    va_list values;
    va_start(values, format);
    std::vsnprintf(text.data(), text.size(), format, values);
    va_end(values);
    text_ += text.data();
    text_ += '\n';
  }
  void heading(const std::string& text) { text_ += "\n" + text + "\n" + std::string(text.size(), '-') + "\n"; }
  void raw(const std::string& text) { text_ += text; }

  [[nodiscard]] std::string length(double mm) const {
    std::array<char, 64> text{};
    if (inches_) {
      std::snprintf(text.data(), text.size(), "%.2f mm (%.4f in)", mm, mm / 25.4);
    } else {
      std::snprintf(text.data(), text.size(), "%.2f mm", mm);
    }
    return text.data();
  }
  [[nodiscard]] std::string limits(const Tolerance& tolerance) const {
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "%+.2f / %+.2f mm", tolerance.lower, tolerance.upper);
    return text.data();
  }
  [[nodiscard]] std::string take() { return std::move(text_); }

 private:
  bool inches_;
  std::string text_;
};

void explain_bevel(const PlannedBevel& bevel, Sheet& sheet) {
  const double angle_deg = bevel.angle_deg.nominal;
  sheet.heading("Bevel");
  sheet.line("angle inside the wood  %.1f deg (%.1f to %.1f), so the face leans %.1f deg from the line of the side",
             angle_deg, bevel.angle_deg.lower_limit(), bevel.angle_deg.upper_limit(), 180.0 - angle_deg);
  sheet.line("drop at its fullest    %s (%s)", sheet.length(bevel.drop_mm.nominal).c_str(),
             sheet.limits(bevel.drop_mm.tolerance).c_str());
  sheet.line("reach along the top    %s   = drop x tan(180 - angle), for a flat top and an upright side",
             sheet.length(top_reach_for_drop_mm(bevel.drop_mm.nominal, angle_deg)).c_str());
  sheet.line("base plate riding on the bevel:");
  sheet.line("  tilt %.1f deg  for the cutter to stand square to the side   = 180 - angle",
             base_tilt_square_to_side_deg(angle_deg));
  sheet.line("  tilt %.1f deg  for the cutter to stand in line with the side = angle - 90",
             base_tilt_in_line_with_side_deg(angle_deg));
}

std::string first_face(ChannelCorner corner) { return corner == ChannelCorner::side_bevel ? "the side" : "the top"; }

std::string place_of(ChannelCorner corner) {
  switch (corner) {
    case ChannelCorner::top_side: return "a ledge along the rim, width in along the top, depth down the side";
    case ChannelCorner::top_bevel: return "a ledge in the top along the bevel's upper edge, width in along the top";
    case ChannelCorner::side_bevel: return "a ledge in the side along the bevel's lower edge, width down the side";
  }
  return "";
}

void explain_channel(const Plan& plan, const PlannedChannel& channel, Sheet& sheet) {
  sheet.heading("Channel: " + channel.name + " (" + std::string(name_of(channel.corner)) + ")");
  sheet.line("%s", place_of(channel.corner).c_str());
  sheet.line("%s", "");
  sheet.raw(draw_section_text(plan, channel));
  sheet.line("%s", "");
  for (std::size_t i = 0; i < channel.strips.size(); ++i) {
    const Strip& strip = channel.strips[i];
    sheet.line("  %c  %-24s %s thick, %s high%s", static_cast<char>('a' + static_cast<char>(i)), strip.name.c_str(),
               sheet.length(strip.thickness_mm).c_str(), sheet.length(strip.height_mm).c_str(),
               strip.later ? "  (later: keep its slot open)" : "");
  }
  sheet.line("  glue line %s, strips stand %s proud", sheet.length(channel.glue_mm).c_str(),
             sheet.length(channel.proud_mm).c_str());
  for (std::size_t k = 0; k < channel.steps.size(); ++k) {
    const PlannedStep& step = channel.steps[k];
    sheet.line("step %zu  width %s (%s)  depth %s (%s) from %s", k + 1, sheet.length(step.width_mm).c_str(),
               sheet.limits(channel.width_tolerance_mm).c_str(), sheet.length(step.depth_mm).c_str(),
               sheet.limits(channel.depth_tolerance_mm).c_str(), first_face(channel.corner).c_str());
  }
  sheet.line("        width = thicknesses + one glue line behind each strip; depth = height + glue - proud");
}

void explain_bearings(const RoutingPass& pass, bool bearings_listed, Sheet& sheet) {
  sheet.line("     bearing on the side: bearing = cutter - 2 x width");
  for (const BearingChoice& choice : pass.bearings) {
    const std::string cutter = sheet.length(choice.cutter_mm);
    if (choice.wanted_bearing_mm <= 0.0) {
      sheet.line("       cutter %s: too slender; it would have to be more than %s across", cutter.c_str(),
                 sheet.length(2.0 * pass.width_mm).c_str());
    } else if (choice.nearest_bearing_mm) {
      sheet.line("       cutter %s: bearing %s; nearest at hand %s gives width %s%s", cutter.c_str(),
                 sheet.length(choice.wanted_bearing_mm).c_str(), sheet.length(*choice.nearest_bearing_mm).c_str(),
                 sheet.length(*choice.width_it_gives_mm).c_str(),
                 choice.within_tolerance ? "  (within tolerance)" : "  (OUT of tolerance)");
    } else {
      sheet.line("       cutter %s: bearing %s%s", cutter.c_str(), sheet.length(choice.wanted_bearing_mm).c_str(),
                 bearings_listed ? "; no bearing at hand is smaller than this cutter" : "");
    }
  }
}

void explain_templates(const RoutingPass& pass, Sheet& sheet) {
  sheet.line("     follower on a template: near edge = (follower - cutter) / 2, far edge = (follower + cutter) / 2");
  if (pass.templates.empty()) sheet.line("       no follower at hand is wider than a cutter at hand");
  for (const TemplateChoice& choice : pass.templates) {
    sheet.line(
        "       cutter %s in follower %s: near edge %s, far edge %s; template edge %s from the bevel's edge, "
        "away from it, or %s %s it on the bevel's side",
        sheet.length(choice.cutter_mm).c_str(), sheet.length(choice.follower_mm).c_str(),
        sheet.length(choice.near_edge_mm).c_str(), sheet.length(choice.far_edge_mm).c_str(),
        sheet.length(choice.template_beyond_mm).c_str(), sheet.length(std::abs(choice.template_before_mm)).c_str(),
        choice.template_before_mm < 0.0 ? "before" : "past");
  }
}

void explain_passes(const Plan& plan, Sheet& sheet) {
  const SetUpSheet set = set_up(plan);
  if (set.passes.empty()) return;
  sheet.heading("Routing, in this order");
  sheet.line("Widest and shallowest step first: its bearing still rides on face that the deeper step will take away.");
  const bool edges = std::any_of(plan.channels.begin(), plan.channels.end(),
                                 [](const PlannedChannel& c) { return c.corner != ChannelCorner::top_side; });
  if (plan.bevel && edges)
    sheet.line("Channels along the bevel are routed after the bevel passes: its edges place them.");
  if (plan.router.cutters_mm.empty())
    sheet.line("The plan lists no cutters; shown for one of %s.",
               sheet.length(SetUpSettings{}.usual_cutter_mm).c_str());
  std::size_t number = 0;
  for (const RoutingPass& pass : set.passes) {
    const PlannedChannel& channel = plan.channels[pass.channel];
    sheet.line("%3zu. %s, step %zu: cutter %s deep below %s", ++number, channel.name.c_str(), pass.step + 1,
               sheet.length(pass.depth_mm).c_str(), first_face(channel.corner).c_str());
    if (channel.corner == ChannelCorner::top_side) {
      explain_bearings(pass, !plan.router.bearings_mm.empty(), sheet);
    } else {
      explain_templates(pass, sheet);
    }
  }
  sheet.line("%s", "");
  sheet.line(
      "Formulas: plane geometry and common practice. Try every setting on scrap first. Routers maim: clamp the work,");
  sheet.line("keep hands clear, wear eye, ear and dust protection, and follow local codes and licensed practice.");
}

void explain_checks(const Plan& plan, Sheet& sheet) {
  sheet.heading("Checks of the wood");
  const std::vector<PlanWarning> warnings = check_plan(plan);
  for (const PlanWarning& warning : warnings) {
    sheet.line("! line %d: %s", warning.line, warning.text.c_str());
  }
  if (warnings.empty()) sheet.line("nothing to warn of");
  if (!plan.top_thickness_mm && !plan.channels.empty()) {
    sheet.line("not checked: depth against the top's thickness (add top: {thickness: ...} to the plan)");
  }
  if (plan.bevel && !plan.block) sheet.line("not checked: the bevel against its block (add block: {...} to the plan)");
  sheet.line("not checked: whether the strips bend round the tightest curve; bend a sample dry");
}

}  // namespace

std::string explain_plan(const Plan& plan) {
  Sheet sheet(plan.units == LengthUnit::inch);
  sheet.line("Plan of %s", plan.instrument.c_str());
  if (plan.bevel) explain_bevel(*plan.bevel, sheet);
  if (plan.block) {
    sheet.line("block %s in along the top, %s down the side; keep %s", sheet.length(plan.block->top_mm).c_str(),
               sheet.length(plan.block->side_mm).c_str(), sheet.length(plan.block->keep_mm).c_str());
  }
  for (const PlannedChannel& channel : plan.channels) explain_channel(plan, channel, sheet);
  explain_passes(plan, sheet);
  explain_checks(plan, sheet);
  return sheet.take();
}

}  // namespace rimwright
