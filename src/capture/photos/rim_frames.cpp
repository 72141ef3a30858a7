#include "capture/photos/rim_frames.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>

#include "capture/photos/common_plane.h"
#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

class Walk {
 public:
  Walk(const std::vector<Patch>& patches, const RimFramesSettings& settings) : settings_(settings) {
    for (const Patch& p : patches) {
      const double cosine = p.normal_sheet.z();
      if (std::abs(cosine) < settings.steep_below_cosine) side_.push_back(flat(p));
      if (cosine > settings.level_above_cosine) top_.push_back(flat(p));
      if (std::abs(cosine) < settings.steep_below_cosine) steep_.push_back(&p);
      if (cosine > settings.level_above_cosine) level_.push_back(&p);
    }
    side_index_.emplace(side_, settings.side_reach_mm);
    top_index_.emplace(top_, settings.top_to_mm);
    top_reach_index_.emplace(side_, settings.top_to_mm);
  }

  std::vector<std::vector<RimFrame>> run() {
    std::vector<std::vector<RimFrame>> runs;
    std::vector<bool> passed(side_.size(), false);
    for (const std::size_t i : fullest_first()) {
      if (passed[i]) continue;
      passed[i] = true;
      const auto first = frame_near(steep_[i]->at_sheet_mm, steep_[i]->normal_sheet);
      if (!first) continue;
      mark(*first, passed);
      Way back = go(*first, -1.0, passed);
      std::vector<RimFrame> frames(back.frames.rbegin(), back.frames.rend());
      frames.push_back(*first);
      if (!back.came_round) {
        const Way on = go(*first, 1.0, passed);
        frames.insert(frames.end(), on.frames.begin(), on.frames.end());
      }
      if (static_cast<double>(frames.size()) * settings_.station_step_mm >= settings_.shortest_run_mm) {
        runs.push_back(std::move(frames));
      }
    }
    return runs;
  }

 private:
  static Patch flat(const Patch& p) {
    Patch in_plan;
    in_plan.at_sheet_mm = Vector3(p.at_sheet_mm.x(), p.at_sheet_mm.y(), 0.0);
    return in_plan;
  }

  [[nodiscard]] std::optional<RimFrame> frame_near(const Vector3& at, const Vector3& facing) const {
    const Vector3 in_plan(at.x(), at.y(), 0.0);
    std::vector<const Patch*> near;
    side_index_->for_near(in_plan, [&](std::size_t n) {
      if (steep_[n]->normal_sheet.dot(facing) > 0.8) near.push_back(steep_[n]);
    });
    const auto side = common_plane(near, settings_.fewest_patches);
    if (!side) return std::nullopt;
    const Vector3 level_out = Vector3(side->normal.x(), side->normal.y(), 0.0).normalized();
    const Vector3 level_along(-level_out.y(), level_out.x(), 0.0);
    near.clear();
    top_index_->for_near(in_plan, [&](std::size_t n) {
      const Vector3 d = level_[n]->at_sheet_mm - side->middle_mm;
      const double in_mm = -d.dot(level_out);
      if (std::abs(d.dot(level_along)) < settings_.top_reach_mm && in_mm > settings_.top_from_mm &&
          in_mm < settings_.top_to_mm && d.z() > 0.0) {
        near.push_back(level_[n]);
      }
    });
    RimFrame frame;
    const auto top = common_plane(near, settings_.fewest_patches);
    if (!top) return std::nullopt;
    frame.up = top->normal;
    frame.along = (frame.up.cross(side->normal)).normalized();
    frame.out = frame.along.cross(frame.up);
    frame.side_out_per_up = -side->normal.dot(frame.up) / side->normal.dot(frame.out);
    // The corner in the section through the given place: on both planes.
    Matrix3 rows;
    rows << side->normal.transpose(), top->normal.transpose(), frame.along.transpose();
    const Vector3 right(side->normal.dot(side->middle_mm), top->normal.dot(top->middle_mm), frame.along.dot(at));
    frame.corner_mm = rows.fullPivLu().solve(right);
    if (!frame.corner_mm.allFinite()) return std::nullopt;
    return frame;
  }

  // The side has more patches in plan than any wall of a ledge, so it is met first.
  [[nodiscard]] std::vector<std::size_t> fullest_first() const {
    std::vector<std::size_t> near(side_.size(), 0), order(side_.size());
    for (std::size_t i = 0; i < side_.size(); ++i)
      side_index_->for_near(side_[i].at_sheet_mm, [&](std::size_t) { ++near[i]; });
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return near[a] > near[b]; });
    return order;
  }

  // What stands upright within the section, facing out, is the side or the wall of a ledge in it: no rim of its own.
  void mark(const RimFrame& frame, std::vector<bool>& passed) const {
    top_reach_index_->for_near(Vector3(frame.corner_mm.x(), frame.corner_mm.y(), 0.0), [&](std::size_t n) {
      const InSection at = in_section(frame, steep_[n]->at_sheet_mm);
      if (std::abs(at.along_mm) < settings_.side_reach_mm && at.out_mm < settings_.side_reach_mm &&
          steep_[n]->normal_sheet.dot(frame.out) > 0.0) {
        passed[n] = true;
      }
    });
  }

  struct Way {
    std::vector<RimFrame> frames;
    bool came_round = false;  // the rim is closed and all of it walked
  };

  // Onwards from a frame until the side ends or a closed rim is round.
  Way go(const RimFrame& from, double way, std::vector<bool>& passed) const {
    Way walked;
    std::vector<RimFrame>& frames = walked.frames;
    RimFrame last = from;
    Vector3 at = from.corner_mm;
    double gap_mm = 0.0;
    constexpr std::size_t most = 4000;
    while (frames.size() < most) {
      at += way * settings_.station_step_mm * last.along;
      const auto next = frame_near(at, last.out);
      if (!next) {
        gap_mm += settings_.station_step_mm;
        if (gap_mm > settings_.longest_gap_mm) break;
        continue;
      }
      if ((next->corner_mm - at).norm() > 6.0) break;  // no rim turns so sharply: another face
      // A closed rim has come back to where this run began: beside it, or just past it where a step straddles it.
      if (frames.size() > 20 && (next->corner_mm - from.corner_mm).norm() < 2.0 * settings_.station_step_mm) {
        walked.came_round = true;
        break;
      }
      gap_mm = 0.0;
      frames.push_back(*next);
      mark(*next, passed);
      last = *next;
      at = next->corner_mm;
    }
    return walked;
  }

  RimFramesSettings settings_;
  std::vector<Patch> side_, top_;  // in plan
  std::vector<const Patch*> steep_, level_;
  std::optional<PatchIndex> side_index_, top_index_, top_reach_index_;  // the last of the side, as far as the top
};

}  // namespace

void set_curvature(std::vector<RimFrame>& run, std::size_t reach) {
  for (std::size_t i = 0; i < run.size(); ++i) {
    const RimFrame& before = run[i < reach ? 0 : i - reach];
    const RimFrame& after = run[std::min(run.size() - 1, i + reach)];
    const Vector3 chord = after.corner_mm - before.corner_mm;
    if (chord.norm() < 1.0) continue;
    run[i].out_curvature_per_mm = (after.out - before.out).dot(chord) / chord.squaredNorm();
    run[i].up_curvature_per_mm = (after.up - before.up).dot(chord) / chord.squaredNorm();
  }
}

std::vector<std::vector<RimFrame>> rim_frames(const std::vector<Patch>& patches, const RimFramesSettings& settings) {
  auto runs = Walk(patches, settings).run();
  constexpr std::size_t reach = 8;  // stations each way; the side bends slowly
  for (auto& run : runs) set_curvature(run, reach);
  return runs;
}

}  // namespace rimwright
