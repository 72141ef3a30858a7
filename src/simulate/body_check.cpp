// What makes a body impossible, said before anything is built from it.
#include <cmath>
#include <numbers>
#include <string>

#include "simulate/body.h"

namespace rimwright {

namespace {

tl::unexpected<Refusal> impossible(std::string what, std::string what_to_do) {
  return refuse(RefusalReason::plan_not_valid, std::move(what), std::move(what_to_do));
}

bool within(double value, double low, double high) { return value >= low && value <= high; }

std::string defect_problem(const DefectSpec& defect, const BodySpec& spec, double rim_length_mm) {
  if (!within(defect.size, -20.0, 20.0)) return "has a size beyond 20";
  switch (defect.kind) {
    case DefectKind::hump:
    case DefectKind::hollow:
    case DefectKind::tear_out:
      if (!within(defect.at_mm, 0.0, rim_length_mm)) return "lies off the rim";
      if (!(defect.length_mm > 0.5) || !(defect.width_mm > 0.5)) return "needs a length and a width above 0.5 mm";
      // The steepest slope of a raised cosine; above 0.5 the surface would no longer be seen whole.
      if (std::abs(defect.size) * std::numbers::pi / std::min(defect.length_mm, defect.width_mm) > 0.5) {
        return "is too steep for its length and width";
      }
      if (defect.face == BodyFace::floor || defect.face == BodyFace::wall || defect.face == BodyFace::fillet) {
        return "must be on side, top or bevel";
      }
      return "";
    case DefectKind::wave:
    case DefectKind::side_wave:
    case DefectKind::lower_edge_wander:
    case DefectKind::upper_edge_wander:
      if (!(defect.wavelength_mm >= 4.0)) return "needs a wavelength of 4 mm or more";
      if (std::abs(defect.size) * std::numbers::pi / defect.wavelength_mm > 0.3)
        return "is too steep for its wavelength";
      break;
    case DefectKind::channel_depth:
    case DefectKind::channel_width:
      if (defect.channel < 0 || defect.channel >= static_cast<int>(spec.channels.size()) || defect.step < 0 ||
          defect.step >= static_cast<int>(spec.channels[static_cast<std::size_t>(defect.channel)].steps.size())) {
        return "names a channel or step that is not there";
      }
      break;
    default: break;
  }
  if (!within(defect.from_mm, 0.0, rim_length_mm) || !within(defect.to_mm, 0.0, rim_length_mm) ||
      defect.from_mm == defect.to_mm || (!spec.outline.closed && defect.from_mm > defect.to_mm)) {
    return "lies off the rim or has no length";
  }
  if (!(defect.ramp_mm >= 0.0)) return "has a negative ramp";
  return "";
}

}  // namespace

Outcome<Body> Body::from(const BodySpec& given) {
  BodySpec spec = given;
  auto outline = Outline::from(spec.outline);
  if (!outline) return tl::unexpected(outline.error());
  const double length = outline->length_mm();
  if (!within(length, 60.0, 20000.0))
    return impossible("the rim would be " + std::to_string(length) + " mm long",
                      "give an outline between 60 mm and 20 m");
  const TopSpec& top = spec.top;
  const SideSpec& side = spec.side;
  if (!within(top.modelled_inward_mm, 10.0, 400.0) || !within(side.height_mm, 10.0, 400.0) ||
      !within(side.lean_deg, -15.0, 15.0)) {
    return impossible("top inward, side height or lean is out of range",
                      "keep lengths between 10 and 400 mm and the lean within 15 degrees");
  }
  if (top.dome_radius_mm != 0.0 && !within(top.dome_radius_mm, 1000.0, 1e6)) {
    return impossible("the dome radius is out of range", "give 1000 mm or more, or leave the dome out");
  }
  for (double s = 0.0; s <= length; s += 1.0) {
    const OutlinePoint p = outline->at(s);
    if (p.curvature_per_mm * top.modelled_inward_mm > 0.95 ||
        p.curvature_per_mm * side.height_mm * std::sin(radians_from_degrees(side.lean_deg)) < -0.95) {
      return impossible("at station " + std::to_string(s) + " the rim is too sharp for the top to be swept " +
                            std::to_string(top.modelled_inward_mm) + " mm inward",
                        "give a gentler outline or a smaller inward reach");
    }
    if (top.dome_radius_mm > 0.0 && (p.position_mm - top.dome_centre_mm).norm() > 0.2 * top.dome_radius_mm) {
      return impossible("the dome's centre is too far from the rim", "keep it within a fifth of the dome's radius");
    }
  }
  if (spec.bevel) {
    const BevelSpec& bevel = *spec.bevel;
    double stretch = bevel.to_mm - bevel.from_mm;
    if (spec.outline.closed && stretch < 0.0) stretch += length;
    if (!within(bevel.angle_deg, 100.0, 160.0) || !within(bevel.drop_mm, 0.5, 0.8 * side.height_mm)) {
      return impossible("the bevel's angle or drop is out of range",
                        "keep the angle between 100 and 160 degrees and the drop within the side");
    }
    if (!within(bevel.from_mm, 0.0, length) || !within(bevel.to_mm, 0.0, length) ||
        !within(bevel.start_run_out_mm, 0.0, stretch) || !within(bevel.end_run_out_mm, 0.0, stretch) ||
        bevel.start_run_out_mm + bevel.end_run_out_mm > stretch) {
      return impossible("the bevel does not fit on a rim of " + std::to_string(length) + " mm",
                        "check from, to and the run-outs");
    }
    const double reach = bevel.drop_mm * -std::tan(radians_from_degrees(bevel.angle_deg));
    if (reach > 0.9 * top.modelled_inward_mm) {
      return impossible("the bevel would reach " + std::to_string(reach) + " mm in along the top",
                        "model more of the top or lower the drop");
    }
  }
  for (ChannelSpec& channel : spec.channels) {
    if (channel.steps.empty() || channel.steps.size() > 6) {
      return impossible("channel '" + channel.name + "' has no steps or more than 6", "list 1 to 6 steps");
    }
    for (std::size_t k = 0; k < channel.steps.size(); ++k) {
      const StepSpec& step = channel.steps[k];
      if (!within(step.width_mm, 0.1, 20.0) || !within(step.depth_mm, 0.1, 20.0) ||
          (k > 0 &&
           (step.width_mm <= channel.steps[k - 1].width_mm || step.depth_mm >= channel.steps[k - 1].depth_mm))) {
        return impossible("channel '" + channel.name + "' step " + std::to_string(k + 1) + " is impossible",
                          "from the outside in, widths grow and depths shrink, all between 0.1 and 20 mm");
      }
      // The cutter's circle must leave the wood within its own radius: from the wall to the corner and, along a bevel,
      // on to where the floor runs out through the bevel face.
      double needed = step.width_mm;
      if (spec.bevel && channel.corner != BodyCorner::top_side) {
        const double slope = -std::tan(radians_from_degrees(spec.bevel->angle_deg));
        needed += 1.3 * step.depth_mm * (channel.corner == BodyCorner::top_bevel ? slope : 1.0 / slope);
      }
      if (channel.end_radius_mm <= needed) {
        return impossible("channel '" + channel.name + "' is too wide for its cutter's radius",
                          "give an end radius above " + std::to_string(needed) + " mm");
      }
    }
    if (!within(channel.corner_radius_mm, 0.0, 3.0)) {
      return impossible("channel '" + channel.name + "' has an impossible corner radius", "give 0 to 3 mm");
    }
    const bool at_bevel = channel.corner != BodyCorner::top_side;
    if (at_bevel && !spec.bevel) {
      return impossible("channel '" + channel.name + "' follows a bevel that is not there", "add the bevel");
    }
    if (channel.from_mm.has_value() != channel.to_mm.has_value()) {
      return impossible("channel '" + channel.name + "' has only one end", "give both from and to, or neither");
    }
    if (channel.from_mm && (!within(*channel.from_mm, 0.0, length) || !within(*channel.to_mm, 0.0, length))) {
      return impossible("channel '" + channel.name + "' lies off the rim", "check from and to");
    }
  }
  for (std::size_t i = 0; i < spec.defects.size(); ++i) {
    const std::string problem = defect_problem(spec.defects[i], spec, length);
    if (!problem.empty()) {
      return impossible("defect " + std::to_string(i + 1) + " " + problem, "mend it or leave it out");
    }
  }
  Body body(std::move(spec), std::move(*outline));
  // A channel along the bevel is cut where the bevel is deep enough to carry it, unless told.
  for (ChannelSpec& channel : body.spec_.channels) {
    if (channel.corner == BodyCorner::top_side || channel.from_mm) continue;
    const double enough = 2.0 * channel.steps.front().depth_mm + 1.0;
    const BevelSpec& bevel = *body.spec_.bevel;
    double stretch = bevel.to_mm - bevel.from_mm;
    if (body.closed() && stretch < 0.0) stretch += length;
    if (bevel.drop_mm < enough) {
      return impossible("the bevel is too shallow for channel '" + channel.name + "'", "give it from and to stations");
    }
    double first = 0.0, last = stretch;
    while (body.intended_drop_mm(bevel.from_mm + first) < enough) first += 0.5;
    while (body.intended_drop_mm(bevel.from_mm + last) < enough) last -= 0.5;
    channel.from_mm = body.wrapped(bevel.from_mm + first);
    channel.to_mm = body.wrapped(bevel.from_mm + last);
  }
  return body;
}

}  // namespace rimwright
