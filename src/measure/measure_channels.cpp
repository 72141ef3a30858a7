#include "measure/measure_channels.h"

#include <cmath>

namespace rimwright {

namespace {

// The corner a channel's widths start from.
std::optional<Vector2> channel_corner(ExpectedCorner corner, const SectionFaces& faces) {
  if (corner == ExpectedCorner::top_side) return rim_corner(faces);
  return corner == ExpectedCorner::top_bevel ? upper_edge(faces) : lower_edge(faces);
}

// Middle of the floor or wall as seen: its fitted line at the mean place of its points.
Vector2 middle_of(const SectionLine& line) { return line.point(line.t0_mm); }

// Depth square to the first face, at the floor's middle.
double depth_of_floor(ExpectedCorner corner, const SectionFaces& faces) {
  const Vector2 floor = middle_of(faces.extra);
  if (corner == ExpectedCorner::side_bevel) {
    const Vector2 d = faces.side.direction();
    return (faces.side.point(faces.side.t0_mm) - floor).dot(Vector2(d.y(), -d.x()));
  }
  const double slope = faces.top.slope(floor.x());
  return (faces.top.up(floor.x()) - floor.y()) / std::sqrt(1.0 + slope * slope);
}

// Width along the first face from the corner to the wall, the wall's middle brought square onto that face.
double width_to_wall(ExpectedCorner corner, const SectionFaces& faces) {
  const Vector2 wall = middle_of(faces.extra);
  const Vector2 start = channel_corner(corner, faces).value_or(Vector2::Zero());
  if (corner == ExpectedCorner::side_bevel) return length_down_side(faces, start, wall);
  // Foot of the wall's middle on the top: square to the top, whose slope hardly changes over the wall's height.
  const double slope = faces.top.slope(wall.x());
  const double below = faces.top.up(wall.x()) - wall.y();
  const double foot_out = wall.x() - below * slope / (1.0 + slope * slope);
  return length_along_top(faces, start, {foot_out, faces.top.up(foot_out)});
}

}  // namespace

std::vector<ChannelMeasures> measure_channels(const UnrolledRim& rim, const FittedRim& fitted, const Expected& expected,
                                              const NoiseModel& noise, const CaptureTerms& terms) {
  std::vector<ChannelMeasures> channels;
  for (std::size_t c = 0; c < expected.channels.size(); ++c) {
    const ExpectedCorner corner = expected.channels[c].corner;
    ChannelMeasures channel{c, {}};
    for (std::size_t i = 0; i < fitted.station_mm.size(); ++i) {
      ChannelStation station;
      station.station_mm = fitted.station_mm[i];
      const auto section = section_at(rim, fitted, i);
      const bool has_faces = section && (corner == ExpectedCorner::top_side || section->fits.bevel != nullptr);
      bool any = false;
      for (std::size_t k = 0; k < expected.channels[c].steps.size(); ++k) {
        StepMeasures step;
        const FaceFits* floor = fitted.find(FaceName::floor, c, k);
        const FaceFits* wall = fitted.find(FaceName::wall, c, k);
        const bool floor_seen = floor != nullptr && floor->at[i].measured;
        const bool wall_seen = wall != nullptr && wall->at[i].measured;
        any = any || floor_seen;
        if (!has_faces) {
          step.width_mm = step.depth_mm =
              Measured::not_measured(RefusalReason::not_seen, "side, top or bevel is not seen here",
                                     "scan 40 mm of side and 50 mm of top beside the channel");
        } else {
          SectionFaces faces = section->faces;
          if (floor_seen) {
            SectionFits fits;
            (corner == ExpectedCorner::side_bevel ? fits.side : fits.top) =
                corner == ExpectedCorner::side_bevel ? section->fits.side : section->fits.top;
            fits.extra = &floor->at[i];
            faces.extra = line_of(*floor, floor->at[i], fitted.turn_at(i));
            step.depth_mm =
                propagate([corner](const SectionFaces& f) { return depth_of_floor(corner, f); }, faces, fits, noise);
            add_capture_terms(step.depth_mm, terms, true);
          } else {
            step.depth_mm = Measured::not_measured(RefusalReason::not_seen, "the floor of this step is not seen here",
                                                   "scan from straight above the ledge");
          }
          if (floor_seen && wall_seen) {
            const SectionFits& seen = section->fits;
            SectionFits fits{.extra = &wall->at[i]};
            if (corner != ExpectedCorner::top_bevel) fits.side = seen.side;
            if (corner != ExpectedCorner::side_bevel) fits.top = seen.top;
            if (corner == ExpectedCorner::top_bevel) fits.upper_strip = seen.upper_strip;
            if (corner == ExpectedCorner::side_bevel) fits.lower_strip = seen.lower_strip;
            faces.extra = line_of(*wall, wall->at[i], fitted.turn_at(i));
            step.width_mm =
                propagate([corner](const SectionFaces& f) { return width_to_wall(corner, f); }, faces, fits, noise);
            add_capture_terms(step.width_mm, terms, true);
          } else {
            step.width_mm = Measured::not_measured(RefusalReason::not_seen, "the wall of this step is not seen here",
                                                   "scan from beside the ledge, about 45 degrees to the wall");
          }
        }
        station.steps.push_back(std::move(step));
      }
      if (!any) continue;
      station.at_scan_mm = at_scan(rim, terms, station.station_mm, section ? section->corner_mm : Vector2::Zero());
      channel.stations.push_back(std::move(station));
    }
    channels.push_back(std::move(channel));
  }
  return channels;
}

}  // namespace rimwright
