#include "simulate/body.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rimwright {

namespace {

constexpr double pi = std::numbers::pi;

// Solid-side normal of a direction in (out, up): the air lies on the other side.
Vector2 air_normal(const Vector2& along_inward_up) { return {along_inward_up.y(), -along_inward_up.x()}; }

Vector2 direction_uh(const Vector2& d) { return uh_from_out_up(d); }

double wave(const DefectSpec& defect, double past_mm) {
  return 0.5 * defect.size * std::sin(2.0 * pi * past_mm / defect.wavelength_mm);
}

}  // namespace

double Body::past_mm(double station_mm, double from_mm) const {
  double past = station_mm - from_mm;
  if (closed()) past -= std::floor(past / rim_length_mm()) * rim_length_mm();
  return past;
}

double Body::inside_mm(double station_mm, double from_mm, double to_mm) const {
  if (!closed()) return std::min(station_mm - from_mm, to_mm - station_mm);
  const double length = rim_length_mm();
  double stretch = to_mm - from_mm;
  if (stretch < 0.0) stretch += length;
  if (stretch >= length - 1e-9) return 0.5 * length;  // all round: no ends
  const double past = past_mm(station_mm, from_mm);
  if (past <= stretch) return std::min(past, stretch - past);
  return -std::min(past - stretch, length - past);
}

// 1 inside the stretch, 0 outside, raised-cosine ends inside it.
double Body::stretch_weight(const DefectSpec& defect, double station_mm) const {
  const double inside = inside_mm(station_mm, defect.from_mm, defect.to_mm);
  if (inside <= 0.0) return 0.0;
  if (inside >= defect.ramp_mm) return 1.0;
  return 0.5 * (1.0 - std::cos(pi * inside / defect.ramp_mm));
}

double Body::top_height_mm(const Vector2& plan_mm) const {
  if (spec_.top.dome_radius_mm <= 0.0) return 0.0;
  const double r2 = (plan_mm - spec_.top.dome_centre_mm).squaredNorm();
  const double big = spec_.top.dome_radius_mm;
  return -r2 / (big + std::sqrt(big * big - r2));  // sqrt(R^2 - r^2) - R without cancellation
}

double Body::intended_drop_mm(double station_mm) const {
  if (!spec_.bevel) return 0.0;
  const BevelSpec& bevel = *spec_.bevel;
  if (inside_mm(station_mm, bevel.from_mm, bevel.to_mm) <= 0.0) return 0.0;
  const double from_start = past_mm(station_mm, bevel.from_mm);
  double stretch = bevel.to_mm - bevel.from_mm;
  if (closed() && stretch < 0.0) stretch += rim_length_mm();
  const double from_end = stretch - from_start;
  auto share = [&](double x, double length) {
    if (length <= 0.0 || x >= length) return 1.0;
    switch (bevel.run_out) {
      case RunOutShape::linear: return x / length;
      case RunOutShape::circular: {  // an arc tangent to the full drop
        const double r = (bevel.drop_mm * bevel.drop_mm + length * length) / (2.0 * bevel.drop_mm);
        const double y = length - x;
        return 1.0 - y * y / (r + std::sqrt(r * r - y * y)) / bevel.drop_mm;
      }
      case RunOutShape::raised_cosine: break;
    }
    return 0.5 * (1.0 - std::cos(pi * x / length));
  };
  return bevel.drop_mm *
         std::max(0.0, std::min(share(from_start, bevel.start_run_out_mm), share(from_end, bevel.end_run_out_mm)));
}

void Body::place_top_and_side(Section& section) const {
  const double lean = radians_from_degrees(spec_.side.lean_deg);
  section.down = {std::sin(lean), -std::cos(lean)};
  double push = 0.0;
  for (const DefectSpec& defect : spec_.defects) {
    if (defect.kind == DefectKind::side_wave) {
      push += stretch_weight(defect, section.station_mm) * wave(defect, past_mm(section.station_mm, defect.from_mm));
    }
  }
  // The side passes through the outline at the height of the top there, moved out by `push`.
  const Vector2 on_side{push / std::cos(lean), top_height_mm(section.position_mm)};
  section.corner = on_side;
  section.inward = {-1.0, 0.0};
  SectionCurve& top = section.curves[1];
  top.active = true;
  top.label = {BodyFace::top, -1, -1};
  if (spec_.top.dome_radius_mm > 0.0) {
    const double big = spec_.top.dome_radius_mm;
    const Vector2 to_centre = spec_.top.dome_centre_mm - section.position_mm;
    const Vector2 centre{to_centre.dot(section.out), -big};
    const double beside = to_centre.dot(section.along);
    const double radius = std::sqrt(big * big - beside * beside);
    // Corner: where the side's line meets the circle.
    const Vector2 q = on_side - centre;
    const double b = q.dot(section.down);
    section.corner = on_side + section.down * (-b - std::sqrt(b * b - q.squaredNorm() + radius * radius));
    const Vector2 outward = (section.corner - centre) / radius;
    section.inward = {-outward.y(), outward.x()};
    top.set_arc(uh_from_out_up(centre), radius, 1.0, uh_from_out_up(section.corner), direction_uh(section.inward));
  } else {
    section.corner = on_side - section.down * (on_side.y() / section.down.y());
    top.set_line(uh_from_out_up(section.corner), direction_uh(section.inward));
  }
  SectionCurve& side = section.curves[0];
  side.active = true;
  side.label = {BodyFace::side, -1, -1};
  side.set_line(uh_from_out_up(section.corner), direction_uh(section.down));
}

void Body::place_bevel(Section& section) const {
  const double station = section.station_mm;
  const double drop = intended_drop_mm(station);
  if (!(drop > 1e-9)) return;
  double angle = radians_from_degrees(spec_.bevel->angle_deg);
  double offset = 0.0, lower_shift = 0.0, upper_shift = 0.0;
  for (const DefectSpec& defect : spec_.defects) {
    const double past = past_mm(station, defect.from_mm);
    switch (defect.kind) {
      case DefectKind::angle_drift: {
        const double inside = inside_mm(station, defect.from_mm, defect.to_mm);
        if (inside > 0.0) {
          double stretch = defect.to_mm - defect.from_mm;
          if (closed() && stretch < 0.0) stretch += rim_length_mm();
          angle += radians_from_degrees(defect.size * 0.5 * (1.0 - std::cos(2.0 * pi * past / stretch)));
        }
        break;
      }
      case DefectKind::wave: offset += stretch_weight(defect, station) * wave(defect, past); break;
      case DefectKind::lower_edge_wander: lower_shift += stretch_weight(defect, station) * wave(defect, past); break;
      case DefectKind::upper_edge_wander: upper_shift += stretch_weight(defect, station) * wave(defect, past); break;
      default: break;
    }
  }
  const Vector2 into_side{section.down.y(), -section.down.x()};
  const SectionCurve& top = section.curves[1];
  auto meet_top = [&](const Vector2& through, const Vector2& along) -> Vector2 {
    if (!top.is_arc) return through + along * ((section.corner.y() - through.y()) / along.y());
    const Vector2 q = through - out_up_from_uh(top.centre);
    const double b = q.dot(along);
    return through + along * (-b + std::sqrt(b * b - q.squaredNorm() + top.radius * top.radius));
  };
  auto meet_side = [&](const Vector2& through, const Vector2& along) -> Vector2 {
    return through + along * ((section.corner - through).dot(into_side) / along.dot(into_side));
  };
  Vector2 along = section.down * std::cos(angle) + into_side * std::sin(angle);
  Vector2 lower = section.corner + section.down * drop;
  Vector2 upper = meet_top(lower, along);
  if (lower_shift != 0.0 || upper_shift != 0.0) {
    lower += section.down * lower_shift;
    upper += section.inward * upper_shift;
    along = (upper - lower).normalized();
  }
  const Vector2 through = lower + offset * air_normal(along);
  section.lower_edge = meet_side(through, along);
  section.upper_edge = meet_top(through, along);
  section.drop_mm = (section.lower_edge - section.corner).dot(section.down);
  if (!(section.drop_mm > 1e-9)) return;  // a wave can lift the face clear of the corner
  section.has_bevel = true;
  section.face_offset_mm = offset;
  section.angle_rad = std::acos(std::clamp(along.dot(section.down), -1.0, 1.0));
  const double chord = (section.upper_edge - section.corner).norm();
  section.top_reach_mm = top.is_arc ? 2.0 * top.radius * std::asin(0.5 * chord / top.radius) : chord;
  SectionCurve& bevel = section.curves[2];
  bevel.active = true;
  bevel.label = {BodyFace::bevel, -1, -1};
  bevel.set_line(uh_from_out_up(section.lower_edge), direction_uh(along));
}

void Body::place_channels(Section& section) const {
  std::size_t place = 3;
  const double station = section.station_mm;
  section.steps.resize(spec_.channels.size());
  for (std::size_t c = 0; c < spec_.channels.size(); ++c) {
    const ChannelSpec& channel = spec_.channels[c];
    section.steps[c].assign(channel.steps.size(), StepSpec{});
    const std::size_t first_place = place;
    place += 3 * channel.steps.size();
    const bool at_bevel = channel.corner != BodyCorner::top_side;
    if (at_bevel && !section.has_bevel) continue;

    double inside = std::numeric_limits<double>::infinity();
    if (channel.from_mm && channel.to_mm) inside = inside_mm(station, *channel.from_mm, *channel.to_mm);
    if (inside <= -channel.end_radius_mm) continue;
    // Past its end the channel narrows along the cutter's circle.
    const double r = channel.end_radius_mm;
    const double narrowed = inside >= 0.0 ? 0.0 : inside * inside / (r + std::sqrt(r * r - inside * inside));

    // Frame: from the corner, first face away from it, second into the wood.
    Vector2 origin = section.corner, first = section.inward;
    if (channel.corner == BodyCorner::top_bevel) {
      origin = section.upper_edge;
      if (section.curves[1].is_arc) {
        const Vector2 outward = (origin - out_up_from_uh(section.curves[1].centre)) / section.curves[1].radius;
        first = {-outward.y(), outward.x()};
      }
    } else if (channel.corner == BodyCorner::side_bevel) {
      origin = section.lower_edge;
      first = section.down;
    }
    if (section.curves[1].is_arc && channel.corner != BodyCorner::side_bevel && !channel.steps.empty()) {
      // The base rides on the dome: turn the tangent into the chord over the channel's width.
      const double turn = 0.5 * channel.steps.back().width_mm / section.curves[1].radius;
      first = Vector2(first.x() * std::cos(turn) - first.y() * std::sin(turn),
                      first.x() * std::sin(turn) + first.y() * std::cos(turn));
    }
    const Vector2 into =
        channel.corner == BodyCorner::side_bevel ? Vector2(first.y(), -first.x()) : Vector2(-first.y(), first.x());
    const bool grows = uh_from_out_up(first).x() > 0.0;  // does u grow along the first face?
    for (std::size_t k = 0; k < channel.steps.size(); ++k) {
      StepSpec step = channel.steps[k];
      for (const DefectSpec& defect : spec_.defects) {
        if (defect.channel != static_cast<int>(c) || defect.step != static_cast<int>(k)) continue;
        if (defect.kind == DefectKind::channel_depth) step.depth_mm += defect.size * stretch_weight(defect, station);
        if (defect.kind == DefectKind::channel_width) step.width_mm += defect.size * stretch_weight(defect, station);
      }
      step.width_mm -= narrowed;
      // Along a bevel the wall can pass the corner and still meet wood below the bevel face: no step in the sense of a
      // width, but seen.
      if ((step.width_mm <= 0.0 && !at_bevel) || step.depth_mm <= 0.0) continue;
      if (step.width_mm > 0.0) section.steps[c][k] = step;
      const double fillet = std::min(channel.corner_radius_mm, 0.9 * step.depth_mm);
      auto at = [&](double width, double depth) { return uh_from_out_up(origin + width * first + depth * into); };
      const Vector2 floor_end = at(step.width_mm - fillet, step.depth_mm);
      const Vector2 wall_end = at(step.width_mm, step.depth_mm - fillet);
      const SurfaceLabel label{BodyFace::floor, static_cast<std::int8_t>(c), static_cast<std::int8_t>(k)};
      SectionCurve* curve = &section.curves[first_place + 3 * k];
      curve[0].active = curve[2].active = true;
      curve[0].label = curve[1].label = curve[2].label = label;
      curve[1].label.face = BodyFace::fillet;
      curve[2].label.face = BodyFace::wall;
      curve[0].set_line(at(0.0, step.depth_mm), direction_uh(first));
      curve[2].set_line(at(step.width_mm, 0.0), direction_uh(into));
      (grows ? curve[0].u_to : curve[0].u_from) = floor_end.x();
      (grows ? curve[2].u_from : curve[2].u_to) = wall_end.x();
      if (fillet > 0.0) {
        curve[1].active = true;
        curve[1].set_arc(at(step.width_mm - fillet, step.depth_mm - fillet), fillet, -1.0, floor_end,
                         direction_uh(first));
        curve[1].u_from = std::min(floor_end.x(), wall_end.x());
        curve[1].u_to = std::max(floor_end.x(), wall_end.x());
      }
    }
  }
}

void Body::place_bumps(Section& section) const {
  for (const DefectSpec& defect : spec_.defects) {
    const bool local =
        defect.kind == DefectKind::hump || defect.kind == DefectKind::hollow || defect.kind == DefectKind::tear_out;
    const double face_width = (section.upper_edge - section.lower_edge).norm();
    if (defect.kind == DefectKind::crown && section.has_bevel) {
      const double size = defect.size * stretch_weight(defect, section.station_mm);
      if (size != 0.0) section.curves[2].bumps.push_back({true, 0.5 * face_width, 0.5 * face_width, size});
    }
    if (!local) continue;
    const BodyFace face = defect.kind == DefectKind::tear_out ? defect.face : BodyFace::bevel;
    if (face == BodyFace::bevel && !section.has_bevel) continue;
    double away = section.station_mm - defect.at_mm;
    if (closed()) away -= std::round(away / rim_length_mm()) * rim_length_mm();
    const double x = away / (0.5 * defect.length_mm);
    if (std::abs(x) >= 1.0) continue;
    const double height = (defect.kind == DefectKind::hump ? 1.0 : -1.0) * defect.size * 0.5 * (1.0 + std::cos(pi * x));
    const double centre = face == BodyFace::bevel ? defect.across * face_width : defect.across;
    const std::size_t curve = face == BodyFace::side ? 0 : face == BodyFace::top ? 1 : 2;
    section.curves[curve].bumps.push_back({false, centre, 0.5 * defect.width_mm, height});
  }
}

Section Body::section(double station_mm, double top_inward_mm, double side_down_mm) const {
  Section section;
  section.station_mm = station_mm;
  const OutlinePoint point = outline_.at(station_mm);
  section.position_mm = point.position_mm;
  section.along = point.along;
  section.out = point.out;
  section.curvature_per_mm = point.curvature_per_mm;
  std::size_t places = 3;
  for (const ChannelSpec& channel : spec_.channels) places += 3 * channel.steps.size();
  section.curves.resize(places);
  place_top_and_side(section);
  place_bevel(section);
  place_channels(section);
  place_bumps(section);
  const double inward =
      top_inward_mm > 0.0 ? std::min(top_inward_mm, spec_.top.modelled_inward_mm) : spec_.top.modelled_inward_mm;
  const double down = side_down_mm > 0.0 ? std::min(side_down_mm, spec_.side.height_mm) : spec_.side.height_mm;
  section.u_from = uh_from_out_up(section.corner + down * section.down).x();
  const SectionCurve& top = section.curves[1];
  if (top.is_arc) {
    const double turn = inward / top.radius;
    const Vector2 centre = out_up_from_uh(top.centre);
    const Vector2 q = section.corner - centre;
    section.u_to = uh_from_out_up(centre + Vector2(q.x() * std::cos(turn) - q.y() * std::sin(turn),
                                                   q.x() * std::sin(turn) + q.y() * std::cos(turn)))
                       .x();
  } else {
    section.u_to = uh_from_out_up(section.corner + inward * section.inward).x();
  }
  return section;
}

}  // namespace rimwright
