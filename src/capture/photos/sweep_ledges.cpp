#include "capture/photos/sweep_ledges.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

// One line to sweep: across is where it stands, from and to where along the normal it is slid.
struct Line {
  double across_mm = 0.0, from_mm = 0.0, to_mm = 0.0;
};

// Places of faces as seen along one axis of the section: `across` the line of sight, `height` along it.
struct Seen {
  double across_mm, height_mm;
};

// Lines between faces that are seen on both sides of a gap, and beside the last face before the far end.
std::vector<Line> lines_in_gaps(std::vector<Seen> seen, double end_mm, const SweepLedgesSettings& s) {
  std::sort(seen.begin(), seen.end(), [](const Seen& a, const Seen& b) { return a.across_mm < b.across_mm; });
  std::vector<Line> lines;
  const auto fill = [&](double from, double to, double low, double high) {
    const auto count = static_cast<int>(std::floor((to - from) / s.column_step_mm));
    for (int i = 0; i <= count; ++i) {
      lines.push_back({from + i * s.column_step_mm, high + s.above_mm, std::min(low, high) - s.deepest_mm});
    }
  };
  for (std::size_t i = 1; i < seen.size(); ++i) {
    const double gap_mm = seen[i].across_mm - seen[i - 1].across_mm;
    if (gap_mm < s.narrowest_gap_mm || gap_mm > s.widest_gap_mm) continue;
    fill(seen[i - 1].across_mm + s.clear_of_face_mm, seen[i].across_mm - s.clear_of_face_mm,
         std::min(seen[i - 1].height_mm, seen[i].height_mm), std::max(seen[i - 1].height_mm, seen[i].height_mm));
  }
  if (!seen.empty()) {
    const Seen& last = seen.back();
    const double gap_mm = end_mm - last.across_mm;
    if (gap_mm > s.clear_of_face_mm && gap_mm < s.widest_gap_mm) {
      fill(last.across_mm + s.clear_of_face_mm, end_mm, last.height_mm, last.height_mm);
    }
  }
  return lines;
}

// The best-matched place on a line; nothing where the photos agree nowhere.
std::optional<Patch> sweep(const PhotoStack& stack, const RimFrame& frame, const Line& line, bool from_above,
                           const SweepLedgesSettings& settings) {
  Patch patch;
  patch.normal_sheet = from_above ? frame.up : frame.out;
  patch.along_sheet = frame.along;
  patch.at_sheet_mm = frame.corner_mm + line.across_mm * (from_above ? frame.out : frame.up);
  patch.bend_per_mm = from_above ? frame.up_curvature_per_mm : frame.out_curvature_per_mm;
  return slide_patch(stack, patch, line.from_mm, line.to_mm, settings.slide, settings.refine);
}

}  // namespace

std::vector<Patch> keep_with_neighbours(const std::vector<Patch>& patches, const SweepLedgesSettings& settings) {
  const PatchIndex index(patches, settings.support_along_mm + 0.5);
  std::vector<Patch> kept;
  for (std::size_t i = 0; i < patches.size(); ++i) {
    const Patch& patch = patches[i];
    const Vector3 across = patch.normal_sheet.cross(patch.along_sheet);
    std::size_t support = 0, here = 0, there = 0;
    index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
      if (n == i || patches[n].normal_sheet.dot(patch.normal_sheet) < 0.9) return;
      const Vector3 d = patches[n].at_sheet_mm - patch.at_sheet_mm;
      const double beside = d.dot(across);
      // The same place found again, by a section that leans towards this one, bears no witness.
      if (std::hypot(beside, d.dot(patch.along_sheet)) < 0.4 * settings.column_step_mm) return;
      if (std::abs(d.dot(patch.along_sheet)) > settings.support_along_mm ||
          std::abs(beside) > settings.support_across_mm ||
          std::abs(height_over(patch, patches[n].at_sheet_mm)) > settings.support_off_mm) {
        return;
      }
      ++support;
      if (beside > 0.4 * settings.column_step_mm) ++here;
      if (beside < -0.4 * settings.column_step_mm) ++there;
    });
    if (support >= settings.least_support && std::min(here, there) >= settings.least_beside) kept.push_back(patch);
  }
  return kept;
}

std::vector<Patch> sweep_ledges(const PhotoStack& stack, const std::vector<Patch>& faces,
                                const std::vector<std::vector<RimFrame>>& runs, const SweepLedgesSettings& settings,
                                Workers& workers) {
  constexpr double section_reach_mm = 60.0;
  const PatchIndex index(faces, section_reach_mm);
  std::vector<Patch> all;
  for (const std::vector<RimFrame>& frames : runs) {
    std::vector<std::vector<Patch>> found(frames.size());
    workers.for_chunks(frames.size(), 4, [&](std::size_t begin, std::size_t end, std::size_t) {
      for (std::size_t i = begin; i < end; ++i) {
        const RimFrame& frame = frames[i];
        std::vector<Seen> above, outside;
        index.for_near(frame.corner_mm, [&](std::size_t n) {
          const InSection at = in_section(frame, faces[n].at_sheet_mm);
          if (std::abs(at.along_mm) > settings.section_mm) return;
          if (faces[n].normal_sheet.dot(frame.up) > 0.3) above.push_back({at.out_mm, at.up_mm});
          if (faces[n].normal_sheet.dot(frame.out) > 0.3) outside.push_back({at.up_mm, at.out_mm});
        });
        for (const bool from_above : {true, false}) {
          const std::vector<Seen>& seen = from_above ? above : outside;
          const auto last = std::max_element(seen.begin(), seen.end(),
                                             [](const Seen& a, const Seen& b) { return a.across_mm < b.across_mm; });
          if (last == seen.end()) continue;
          const double end_mm = from_above ? frame.side_out_per_up * last->height_mm : 0.0;
          for (const Line& line : lines_in_gaps(seen, end_mm, settings)) {
            if (std::abs(line.across_mm) > frame.reach_mm) continue;
            if (auto patch = sweep(stack, frame, line, from_above, settings)) found[i].push_back(std::move(*patch));
          }
        }
      }
    });
    std::vector<Patch> of_run;
    for (auto& patches : found) of_run.insert(of_run.end(), patches.begin(), patches.end());
    const std::vector<Patch> kept = keep_with_neighbours(of_run, settings);
    all.insert(all.end(), kept.begin(), kept.end());
  }
  return all;
}

}  // namespace rimwright
