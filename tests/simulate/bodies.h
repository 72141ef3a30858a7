// Bodies that the tests of this room share.
#pragma once

#include <gtest/gtest.h>

#include <cmath>

#include "simulate/body.h"

namespace rimwright::test {

inline OutlineSpec open_arc(double length_mm, double radius_mm) {
  OutlineSpec outline;
  const double k = radius_mm == 0.0 ? 0.0 : 1.0 / radius_mm;
  outline.pieces = {{length_mm, k, k}};
  return outline;
}

// A closed pear with a waist, about 230 by 370 mm.
inline OutlineSpec waisted_pear() {
  OutlineSpec outline;
  outline.closed = true;
  for (int i = 0; i < 24; ++i) {
    const double a = 2.0 * std::numbers::pi * i / 24.0;
    const double r = 150.0 + 35.0 * std::cos(2.0 * a) + 6.0 * std::cos(a);
    outline.points_mm.emplace_back(r * std::cos(a), r * std::sin(a));
  }
  return outline;
}

inline ChannelSpec two_step_channel(BodyCorner corner) {
  ChannelSpec channel;
  channel.name = "edge binding";
  channel.corner = corner;
  channel.steps = {{1.85, 5.85}, {2.5, 1.65}};
  return channel;
}

inline BodySpec plain_bevelled(double length_mm = 400.0, double radius_mm = 220.0) {
  BodySpec spec;
  spec.outline = open_arc(length_mm, radius_mm);
  BevelSpec bevel;
  bevel.from_mm = 40.0;
  bevel.to_mm = length_mm - 40.0;
  spec.bevel = bevel;
  return spec;
}

// Everything at once: a waist, a dome, a leaning side, channels at all three corners and every defect.
inline BodySpec rich() {
  BodySpec spec;
  spec.outline = waisted_pear();
  spec.top.dome_radius_mm = 4500.0;
  spec.side.lean_deg = 2.0;
  BevelSpec bevel;
  bevel.from_mm = 150.0;
  bevel.to_mm = 560.0;
  spec.bevel = bevel;
  spec.channels = {two_step_channel(BodyCorner::top_side), two_step_channel(BodyCorner::top_bevel),
                   two_step_channel(BodyCorner::side_bevel)};
  spec.channels[0].corner_radius_mm = 0.2;
  spec.channels[1].steps = {{2.0, 1.8}};
  spec.channels[2].steps = {{2.2, 1.5}, {3.0, 0.8}};
  auto stretch = [](DefectKind kind, double size, double from, double to, double wavelength = 0.0) {
    DefectSpec defect;
    defect.kind = kind;
    defect.size = size;
    defect.from_mm = from;
    defect.to_mm = to;
    defect.wavelength_mm = wavelength;
    return defect;
  };
  auto local = [](DefectKind kind, double size, double at, double across, BodyFace face = BodyFace::bevel) {
    DefectSpec defect;
    defect.kind = kind;
    defect.size = size;
    defect.at_mm = at;
    defect.across = across;
    defect.length_mm = 24.0;
    defect.width_mm = 14.0;
    defect.face = face;
    return defect;
  };
  spec.defects = {stretch(DefectKind::angle_drift, 1.5, 230, 300),
                  stretch(DefectKind::wave, 0.44, 300, 420, 34),
                  stretch(DefectKind::crown, 0.3, 420, 470),
                  stretch(DefectKind::lower_edge_wander, 0.4, 230, 300, 30),
                  stretch(DefectKind::upper_edge_wander, 0.4, 420, 480, 30),
                  stretch(DefectKind::side_wave, 0.3, 600, 700, 40),
                  stretch(DefectKind::channel_depth, -0.43, 20, 61),
                  stretch(DefectKind::channel_width, -0.4, 640, 690),
                  local(DefectKind::hump, 0.45, 480, 0.5),
                  local(DefectKind::hollow, 0.5, 250, 0.4),
                  local(DefectKind::tear_out, 0.5, 350, 0.0),
                  local(DefectKind::tear_out, 0.4, 700, 8.0, BodyFace::top)};
  return spec;
}

inline Body made(const BodySpec& spec) {
  auto body = Body::from(spec);
  if (!body) {
    ADD_FAILURE() << body.error().sentence();
    return *Body::from(plain_bevelled());
  }
  return std::move(*body);
}

}  // namespace rimwright::test
