#include "measure/face_spans.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

void steady_ends(std::vector<FaceSpan>& spans, double noise_mm, const FitSettings& settings) {
  const double share = (noise_mm - settings.noise_of_first_say_mm) /
                       std::max(1e-9, settings.noise_of_longest_say_mm - settings.noise_of_first_say_mm);
  const double reach_mm = settings.longest_say_mm * std::clamp(share, 0.0, 1.0);
  const auto reach = static_cast<std::size_t>(std::lround(reach_mm / settings.station_step_mm));
  if (reach == 0) return;
  const std::vector<FaceSpan> before = spans;
  std::vector<double> from, to;
  for (std::size_t i = 0; i < spans.size(); ++i) {
    if (!spans[i].present) continue;
    from.clear(), to.clear();
    for (std::size_t j = i >= reach ? i - reach : 0; j <= std::min(spans.size() - 1, i + reach); ++j)
      if (before[j].present) from.push_back(before[j].from_along_mm), to.push_back(before[j].to_along_mm);
    const auto shorter = static_cast<std::ptrdiff_t>(settings.share_of_shorter * static_cast<double>(from.size()));
    std::nth_element(from.begin(), from.end() - 1 - shorter, from.end());
    std::nth_element(to.begin(), to.begin() + shorter, to.end());
    spans[i].from_along_mm = std::max(spans[i].from_along_mm, *(from.end() - 1 - shorter));
    spans[i].to_along_mm = std::min(spans[i].to_along_mm, to[static_cast<std::size_t>(shorter)]);
    spans[i].present = spans[i].to_along_mm > spans[i].from_along_mm;
  }
}

}  // namespace rimwright
