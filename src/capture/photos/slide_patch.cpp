#include "capture/photos/slide_patch.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include "capture/photos/patch_samples.h"

namespace rimwright {
namespace {

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

}  // namespace

std::optional<Patch> slide_patch(const PhotoStack& stack, const Patch& start, double from_mm, double to_mm,
                                 const SlidePatchSettings& settings, const RefinePatchSettings& refine) {
  Patch patch = start;
  const auto place = [&](double height_mm) { return Vector3(start.at_sheet_mm + height_mm * start.normal_sheet); };
  patch.at_sheet_mm = place(0.5 * (from_mm + to_mm));
  auto photos = choose_photos(stack, patch.at_sheet_mm, patch.normal_sheet, refine);
  if (photos.size() < refine.fewest_photos) return std::nullopt;
  RefinePatchSettings coarse = refine;
  coarse.sample_spacing_px = settings.sample_spacing_px;
  const PatchGrid grid = grid_for(stack.views[photos[0]], patch, coarse);
  Agreement agreement(stack, std::move(photos));
  const auto count = static_cast<std::size_t>((from_mm - to_mm) / settings.step_mm) + 1;
  std::vector<double> score(count);
  for (std::size_t i = 0; i < count; ++i) {
    patch.at_sheet_mm = place(from_mm - static_cast<double>(i) * settings.step_mm);
    score[i] = agreement.at(patch, grid);
  }
  std::vector<std::size_t> peaks;
  for (std::size_t i = 1; i + 1 < count; ++i) {
    if (score[i] > settings.least_agreement && score[i] >= score[i - 1] && score[i] > score[i + 1]) peaks.push_back(i);
  }
  std::sort(peaks.begin(), peaks.end(), [&](std::size_t a, std::size_t b) { return score[a] > score[b]; });
  if (peaks.size() > settings.most_peaks) peaks.resize(settings.most_peaks);
  std::optional<Patch> best;
  for (std::size_t peak : peaks) {
    patch.at_sheet_mm = place(from_mm - static_cast<double>(peak) * settings.step_mm);
    agreement.at(patch, grid);
    Patch refined = patch;
    const auto agreeing = agreement.agreeing(settings.least_agreement);
    if (refine_patch(stack, agreeing, refine, refined) != PatchFate::good) continue;
    if (refined.correlation < settings.least_correlation) continue;
    if (!best || refined.correlation > best->correlation) best = refined;
  }
  return best;
}

}  // namespace rimwright
