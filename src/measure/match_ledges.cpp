#include "measure/match_ledges.h"

#include <algorithm>
#include <cmath>

#include "measure/profile_frame.h"

namespace rimwright {

namespace {

Vector2 place(const Piece& piece, double along_mm) { return out_up_from_profile(along_mm, piece.height_at(along_mm)); }

struct Line {
  Vector2 point, direction;
};

Line line_of(const Piece& piece) {
  return {place(piece, piece.middle_along_mm), out_up_from_profile(1.0, piece.slope).normalized()};
}

std::optional<Vector2> meet(const Line& a, const Line& b) {
  const double cross = a.direction.x() * b.direction.y() - a.direction.y() * b.direction.x();
  if (std::abs(cross) < 0.05) return std::nullopt;
  const Vector2 d = b.point - a.point;
  return Vector2(a.point + (d.x() * b.direction.y() - d.y() * b.direction.x()) / cross * a.direction);
}

// How far piece `i` of the section is from being the floor of a planned step, in (width, depth); nothing where it
// cannot be.
struct StepTarget {
  Lie floor_lie;
  Vector2 corner;        // of the two faces
  Vector2 along, depth;  // unit: along the first face from the corner, and into the wood
  ExpectedStep step;
  double width_before_mm;  // where the floor begins
};

std::optional<double> miss_of_floor(const Piece& piece, const StepTarget& target, const NameSettings& settings) {
  if (piece.lie != target.floor_lie) return std::nullopt;
  const Vector2 from = place(piece, piece.from_along_mm) - target.corner,
                to = place(piece, piece.to_along_mm) - target.corner;
  const double depth = 0.5 * (from + to).dot(target.depth);
  const double inner_end = std::max(from.dot(target.along), to.dot(target.along));
  const double outer_end = std::min(from.dot(target.along), to.dot(target.along));
  const double depth_miss = std::abs(depth - target.step.depth_mm);
  const double width_miss = std::abs(inner_end - target.step.width_mm);
  const double widest = settings.widest_miss_mm;
  if (depth < 0.25 * target.step.depth_mm || depth_miss > widest || width_miss > widest) return std::nullopt;
  if (outer_end > target.step.width_mm) return std::nullopt;
  return depth_miss + width_miss;
}

struct Assignment {
  std::vector<std::optional<std::size_t>> floors;
  double cost = 0.0;
  double matched_miss = 0.0;
  std::size_t matched = 0;
};

// The best order-keeping assignment of pieces [first, last) to steps [step, end): a step may stay unmatched at a price.
Assignment assign_floors(const SectionPieces& section, const std::vector<StepTarget>& targets, std::size_t step,
                         const std::vector<std::size_t>& order, std::size_t next, const std::vector<char>& taken,
                         const NameSettings& settings) {
  if (step == targets.size()) return {std::vector<std::optional<std::size_t>>(targets.size())};
  Assignment best = assign_floors(section, targets, step + 1, order, next, taken, settings);
  best.cost += 2.0 * settings.widest_miss_mm;
  for (std::size_t k = next; k < order.size(); ++k) {
    if (taken[order[k]]) continue;
    const auto miss = miss_of_floor(section.pieces[order[k]], targets[step], settings);
    if (!miss) continue;
    Assignment tried = assign_floors(section, targets, step + 1, order, k + 1, taken, settings);
    tried.cost += *miss;
    tried.matched_miss += *miss;
    ++tried.matched;
    if (tried.cost < best.cost) {
      best = std::move(tried);
      best.floors[step] = order[k];
    }
  }
  return best;
}

std::vector<StepTarget> targets_of(const ExpectedChannel& channel, const SectionPieces& section,
                                   const MatchedFaces& faces) {
  const auto line = [&](const std::optional<std::size_t>& piece) { return line_of(section.pieces[*piece]); };
  std::optional<Vector2> corner;
  Vector2 along, depth;
  Lie floor_lie = Lie::level;
  if (channel.corner == ExpectedCorner::side_bevel) {
    if (!faces.side || !faces.bevel) return {};
    corner = meet(line(faces.side), line(faces.bevel));
    along = -line(faces.side).direction;     // down the side
    depth = Vector2(along.y(), -along.x());  // into the side
    floor_lie = Lie::upright;
  } else {
    const auto& second = channel.corner == ExpectedCorner::top_side ? faces.side : faces.bevel;
    if (!faces.top || !second) return {};
    corner = meet(line(faces.top), line(second));
    along = line(faces.top).direction;       // in along the top
    depth = Vector2(-along.y(), along.x());  // into the top
  }
  if (!corner) return {};
  std::vector<StepTarget> targets;
  double before = 0.0;
  for (const auto& step : channel.steps) {
    targets.push_back({floor_lie, *corner, along, depth, step, before});
    before = step.width_mm;
  }
  return targets;
}

// The wall of a step: the next piece of the other lie beyond its floor, seen from the corner.
std::optional<std::size_t> wall_beyond(const SectionPieces& section, std::size_t floor, Lie floor_lie) {
  const Lie wall_lie = floor_lie == Lie::level ? Lie::upright : Lie::level;
  const bool towards_top = floor_lie == Lie::level;
  if (towards_top ? floor + 1 >= section.pieces.size() : floor == 0) return std::nullopt;
  const std::size_t next = towards_top ? floor + 1 : floor - 1;
  const Piece &a = section.pieces[floor], &b = section.pieces[next];
  const double gap = towards_top ? b.from_along_mm - a.to_along_mm : a.from_along_mm - b.to_along_mm;
  constexpr double widest_gap_mm = 1.5;  // a rounded corner or a little tear-out between floor and wall
  if (b.lie != wall_lie || gap > widest_gap_mm) return std::nullopt;
  return next;
}

}  // namespace

std::vector<std::vector<FloorAndWall>> match_ledges(const SectionPieces& section, const MatchedFaces& faces,
                                                    const std::vector<ExpectedChannel>& channels,
                                                    const NameSettings& settings) {
  std::vector<std::vector<FloorAndWall>> matched(channels.size());
  std::vector<char> taken(section.pieces.size(), 0);
  for (const auto& face : {faces.side, faces.top, faces.bevel})
    if (face) taken[*face] = 1;

  std::vector<char> done(channels.size(), 0);
  for (std::size_t round = 0; round < channels.size(); ++round) {
    // The channel that fits best takes its pieces first.
    std::optional<std::size_t> chosen;
    Assignment chosen_assignment;
    double chosen_cost = 2.0 * settings.widest_miss_mm;
    for (std::size_t c = 0; c < channels.size(); ++c) {
      if (done[c]) continue;
      const auto targets = targets_of(channels[c], section, faces);
      if (targets.empty()) continue;
      std::vector<std::size_t> order(section.pieces.size());
      for (std::size_t i = 0; i < order.size(); ++i)
        order[i] = targets.front().floor_lie == Lie::level ? i : order.size() - 1 - i;
      Assignment assignment = assign_floors(section, targets, 0, order, 0, taken, settings);
      if (assignment.matched == 0) continue;
      const double cost = assignment.matched_miss / static_cast<double>(assignment.matched);
      if (cost < chosen_cost) {
        chosen = c;
        chosen_cost = cost;
        chosen_assignment = std::move(assignment);
      }
    }
    if (!chosen) break;
    done[*chosen] = 1;
    const Lie floor_lie = channels[*chosen].corner == ExpectedCorner::side_bevel ? Lie::upright : Lie::level;
    auto& steps = matched[*chosen];
    steps.resize(channels[*chosen].steps.size());
    for (std::size_t k = 0; k < steps.size(); ++k) {
      const auto floor = chosen_assignment.floors[k];
      if (!floor) continue;
      steps[k].floor = floor;
      taken[*floor] = 1;
      const auto wall = wall_beyond(section, *floor, floor_lie);
      if (wall && !taken[*wall]) {
        steps[k].wall = wall;
        taken[*wall] = 1;
      }
    }
  }
  return matched;
}

}  // namespace rimwright
