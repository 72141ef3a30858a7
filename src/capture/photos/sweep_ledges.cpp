#include "capture/photos/sweep_ledges.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "capture/photos/patch_grid_index.h"
#include "capture/photos/patch_samples.h"

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

// How well the photos agree on a patch: the mean of the better half of their pairwise correlations, so that photos
// whose sight is blocked by the wood beside the ledge do not count. `agreeing`: photos that go with the better half.
class Agreement {
 public:
  Agreement(const PhotoStack& stack, std::vector<std::uint16_t> photos) : stack_(stack), photos_(std::move(photos)) {
    samples_.resize(photos_.size());
  }

  double at(const Patch& patch, const PatchGrid& grid) {
    held_.clear();
    for (std::size_t k = 0; k < photos_.size(); ++k) {
      if (sample_patch(stack_.views[photos_[k]], stack_.photos[photos_[k]], patch, grid, false, samples_[k]) &&
          samples_[k].contrast > 1.0) {
        held_.push_back(k);
      }
    }
    if (held_.size() < 3) return -1.0;
    pairs_.clear();
    for (std::size_t i = 0; i < held_.size(); ++i) {
      for (std::size_t j = i + 1; j < held_.size(); ++j) pairs_.push_back(correlation(held_[i], held_[j]));
    }
    const std::size_t half = (pairs_.size() + 1) / 2;
    std::nth_element(pairs_.begin(), pairs_.begin() + static_cast<std::ptrdiff_t>(half - 1), pairs_.end(),
                     std::greater<>());
    double sum = 0.0;
    for (std::size_t i = 0; i < half; ++i) sum += pairs_[i];
    return sum / static_cast<double>(half);
  }

  // Of the last place asked for: photos that agree with at least two others.
  [[nodiscard]] std::vector<std::uint16_t> agreeing(double least) const {
    std::vector<std::uint16_t> photos;
    for (std::size_t i : held_) {
      const auto friends =
          std::count_if(held_.begin(), held_.end(), [&](std::size_t j) { return j != i && correlation(i, j) > least; });
      if (friends >= 2) photos.push_back(photos_[i]);
    }
    return photos;
  }

 private:
  [[nodiscard]] double correlation(std::size_t i, std::size_t j) const {
    return static_cast<double>((samples_[i].value * samples_[j].value).mean());
  }

  const PhotoStack& stack_;
  std::vector<std::uint16_t> photos_;
  std::vector<PhotoSamples> samples_;
  std::vector<std::size_t> held_;
  std::vector<double> pairs_;
};

// The best-matched place on a line; nothing where the photos agree nowhere.
std::optional<Patch> sweep(const PhotoStack& stack, const RimFrame& frame, const Line& line, bool from_above,
                           const SweepLedgesSettings& settings) {
  const Vector3 normal = from_above ? frame.up : frame.out;
  const Vector3 across = from_above ? frame.out : frame.up;
  Patch patch;
  patch.normal_sheet = normal;
  patch.along_sheet = frame.along;
  const auto place = [&](double height_mm) {
    return Vector3(frame.corner_mm + line.across_mm * across + height_mm * normal);
  };
  patch.at_sheet_mm = place(0.5 * (line.from_mm + line.to_mm));
  RefinePatchSettings refine = settings.refine;
  refine.half_along_mm = settings.half_along_mm;
  refine.half_across_mm = settings.half_across_mm;
  auto photos = choose_photos(stack, patch.at_sheet_mm, normal, refine);
  if (photos.size() < refine.fewest_photos) return std::nullopt;
  RefinePatchSettings coarse = refine;
  coarse.sample_spacing_px = 1.5;
  const PatchGrid grid = grid_for(stack.views[photos[0]], patch, coarse);
  Agreement agreement(stack, std::move(photos));
  const auto count = static_cast<std::size_t>((line.from_mm - line.to_mm) / settings.sweep_step_mm) + 1;
  std::vector<double> score(count);
  for (std::size_t i = 0; i < count; ++i) {
    patch.at_sheet_mm = place(line.from_mm - static_cast<double>(i) * settings.sweep_step_mm);
    score[i] = agreement.at(patch, grid);
  }
  std::vector<std::size_t> peaks;
  for (std::size_t i = 1; i + 1 < count; ++i) {
    if (score[i] > settings.least_agreement && score[i] >= score[i - 1] && score[i] > score[i + 1]) peaks.push_back(i);
  }
  std::sort(peaks.begin(), peaks.end(), [&](std::size_t a, std::size_t b) { return score[a] > score[b]; });
  if (peaks.size() > 2) peaks.resize(2);
  std::optional<Patch> best;
  for (std::size_t peak : peaks) {
    patch.at_sheet_mm = place(line.from_mm - static_cast<double>(peak) * settings.sweep_step_mm);
    agreement.at(patch, grid);
    Patch refined = patch;
    const auto agreeing = agreement.agreeing(settings.least_agreement);
    if (refine_patch(stack, agreeing, refine, refined) != PatchFate::good) continue;
    if (refined.correlation < settings.least_correlation) continue;
    if (!best || refined.correlation > best->correlation) best = refined;
  }
  // A flat patch on a round wall lies behind the wall's middle by the mean of the bulge over its length.
  if (best && !from_above) {
    best->at_sheet_mm += frame.curvature_per_mm * settings.half_along_mm * settings.half_along_mm / 6.0 * normal;
  }
  return best;
}

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
      if (std::abs(d.dot(patch.along_sheet)) > settings.support_along_mm ||
          std::abs(beside) > settings.support_across_mm ||
          std::abs(d.dot(patch.normal_sheet)) > settings.support_off_mm) {
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

}  // namespace

std::vector<Patch> sweep_ledges(const PhotoStack& stack, const std::vector<Patch>& faces,
                                const std::vector<std::vector<RimFrame>>& runs, const SweepLedgesSettings& settings,
                                Workers& workers) {
  std::vector<RimFrame> frames;
  for (const auto& run : runs) frames.insert(frames.end(), run.begin(), run.end());
  constexpr double section_reach_mm = 60.0;
  const PatchIndex index(faces, section_reach_mm);
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
          if (auto patch = sweep(stack, frame, line, from_above, settings)) found[i].push_back(std::move(*patch));
        }
      }
    }
  });
  std::vector<Patch> all;
  for (auto& patches : found) all.insert(all.end(), patches.begin(), patches.end());
  return keep_with_neighbours(all, settings);
}

}  // namespace rimwright
