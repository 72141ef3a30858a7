#include "judge/stretches.h"

#include <algorithm>
#include <cmath>

#include "judge/evidence.h"

namespace rimwright {
namespace {

constexpr double normal_95 = 1.959963984540054;

// Standard uncertainties of one station, scaled so that 1.96 of them give its U95 whatever its degrees of freedom.
struct Parts {
  double common = 0.0;  // shared by all stations: scale, capture
  double steady = 0.0;  // may differ between stations but does not average out with confidence
  double noise = 0.0;   // averages out
  double form = 0.0;    // the part of `steady` that comes of the face's own form: a defect, not chance
  [[nodiscard]] double local() const { return std::hypot(steady, noise); }
  [[nodiscard]] double by_chance() const { return std::sqrt(std::max(0.0, local() * local() - form * form)); }
  [[nodiscard]] double total() const { return std::hypot(common, local()); }
};

Parts parts_of(const JudgedStation& station) {
  const auto u = [&](UncertaintySource source) { return station.standard_u[static_cast<std::size_t>(source)]; };
  Parts parts;
  parts.common = std::hypot(u(UncertaintySource::scale), u(UncertaintySource::capture));
  parts.steady =
      std::sqrt(std::pow(u(UncertaintySource::correlated), 2) + std::pow(u(UncertaintySource::reference_faces), 2) +
                std::pow(u(UncertaintySource::face_form), 2));
  parts.noise = u(UncertaintySource::point_noise);
  parts.form = u(UncertaintySource::face_form);
  const double total = parts.total();
  if (total > 0) {
    const double scale = station.u95 / normal_95 / total;
    parts.common *= scale, parts.steady *= scale, parts.noise *= scale, parts.form *= scale;
  }
  return parts;
}

// Mean over a window with the uncertainty of that mean.
struct Pooled {
  double mean = 0.0;
  double common_u = 0.0;
  double local_u = 0.0;
  std::size_t count = 0;
};

class SeriesEvidence {
 public:
  SeriesEvidence(const JudgedSeries& series, const StretchSettings& settings)
      : stations_(series.stations), settings_(settings), count_(series.stations.size()) {
    std::vector<double> values;
    for (const JudgedStation& station : stations_) {
      values.push_back(station.value);
      parts_.push_back(parts_of(station));
    }
    correlation_ = correlation_length_in_stations(values);
    std::vector<double> gaps;
    for (std::size_t i = 1; i < count_; ++i) gaps.push_back(stations_[i].station_mm - stations_[i - 1].station_mm);
    if (!gaps.empty()) {
      std::nth_element(gaps.begin(), gaps.begin() + gaps.size() / 2, gaps.end());
      spacing_mm_ = gaps[gaps.size() / 2];
    }
  }

  // Positive outside the limit on that side; minus infinity where there is none.
  [[nodiscard]] double excess(std::size_t i, bool above) const {
    const JudgedStation& station = stations_[i];
    return above ? station.value - station.upper : station.lower - station.value;
  }
  [[nodiscard]] double correlation_length_mm() const { return correlation_ * spacing_mm_; }
  [[nodiscard]] double spacing_mm() const { return spacing_mm_; }
  [[nodiscard]] const Parts& parts(std::size_t i) const { return parts_[i]; }

  template <class Value, class Use>
  [[nodiscard]] Pooled pool(std::size_t from, std::size_t to, Value&& value, Use&& use) const {
    Pooled pooled;
    double steady = 0.0, noise_squared = 0.0;
    for (std::size_t i = from; i < to; ++i) {
      if (!use(i)) continue;
      pooled.mean += value(i);
      pooled.common_u += parts_[i].common;
      steady += parts_[i].steady;
      noise_squared += parts_[i].noise * parts_[i].noise;
      ++pooled.count;
    }
    if (pooled.count == 0) return pooled;
    const auto n = static_cast<double>(pooled.count);
    const double independent = std::max(1.0, n / correlation_);
    pooled.mean /= n;
    pooled.common_u /= n;
    pooled.local_u = std::hypot(steady / n, std::sqrt(noise_squared / n / independent));
    return pooled;
  }

  // Marks the stations of windows whose evidence fails, shortest windows first; what is already marked (with its
  // neighbours outside the limit) does not count again, so that one deep defect does not condemn its surroundings.
  [[nodiscard]] std::vector<bool> failing(bool above) {
    std::vector<bool> marked(count_, false);
    if (windows_.empty()) {
      for (std::size_t n = 1; n < count_; n *= 2) windows_.push_back({n, {}});
      windows_.push_back({count_, {}});
      const double alpha = settings_.family_alpha / static_cast<double>(windows_.size());
      for (Window& window : windows_) {
        window.factors = FamilyFactors(static_cast<double>(count_) / static_cast<double>(window.stride()), alpha);
      }
    }
    for (Window& window : windows_) {
      const std::size_t length = window.length;
      const std::size_t stride = window.stride();
      std::vector<bool> fresh(count_, false);
      for (std::size_t from = 0; from + length <= count_; from += stride) {
        const Pooled pooled = pool(
            from, from + length, [&](std::size_t i) { return excess(i, above); },
            [&](std::size_t i) { return !marked[i] && std::isfinite(excess(i, above)); });
        if (pooled.count == 0 || 2 * pooled.count < length) continue;
        if (!(pooled.mean > 0.0)) continue;  // nor is any factor below 0
        const double threshold =
            window.factors.at(pooled.common_u, pooled.local_u) * std::hypot(pooled.common_u, pooled.local_u);
        if (!(pooled.mean > threshold)) continue;
        for (std::size_t i = from; i < from + length; ++i) fresh[i] = fresh[i] || excess(i, above) > 0;
      }
      for (std::size_t i = 0; i < count_; ++i) marked[i] = marked[i] || fresh[i];
      grow(marked, above);
    }
    return marked;
  }

  // Whether the run [from, to] of stations that do not pass may be dropped as chance (rule 4 of the header).
  [[nodiscard]] bool is_chance(std::size_t from, std::size_t to) const {
    const double length_mm = stations_[to].station_mm - stations_[from].station_mm;
    if (length_mm > std::max(settings_.lone_run_mm, 2 * correlation_length_mm())) return false;
    const double half_mm = std::max(settings_.pool_half_width_mm, 4 * correlation_length_mm());
    std::size_t first = from, last = to;
    while (first > 0 && stations_[from].station_mm - stations_[first - 1].station_mm <= half_mm) --first;
    while (last + 1 < count_ && stations_[last + 1].station_mm - stations_[to].station_mm <= half_mm) ++last;
    // Weighted by how well each is known: a neighbour that says nothing must not blur those that do.
    Pooled pooled;
    double weights = 0.0, steady = 0.0, information = 0.0;
    for (std::size_t i = first; i <= last; ++i) {
      const double total = parts_[i].total();
      if ((i >= from && i <= to) || !(total > 0)) continue;
      const double weight = 1.0 / (total * total);
      weights += weight;
      pooled.mean += weight * stations_[i].value;
      pooled.common_u += weight * parts_[i].common;
      steady += weight * parts_[i].steady;
      information += 1.0 / std::max(parts_[i].noise * parts_[i].noise, 1e-12);
      ++pooled.count;
    }
    if (pooled.count < 2 * (to - from + 1)) return false;
    pooled.mean /= weights;
    pooled.common_u /= weights;
    pooled.local_u = std::hypot(steady / weights, std::sqrt(correlation_ / information));
    const double u95 = normal_95 * std::hypot(pooled.common_u, pooled.local_u);
    FamilyFactors factors(static_cast<double>(count_), settings_.family_alpha);
    for (std::size_t i = from; i <= to; ++i) {
      if (verdict_of(pooled.mean, u95, stations_[i].lower, stations_[i].upper) != Verdict::pass) return false;
      // Over a longer run the form of the face, where it is what makes a value unsure, is the defect itself.
      const double chance = length_mm > settings_.lone_run_mm ? parts_[i].by_chance() : parts_[i].local();
      if (std::abs(stations_[i].value - pooled.mean) > factors.at(0.0, chance) * chance) return false;
    }
    return true;
  }

 private:
  // A length of window, and the factor its evidence must exceed.
  struct Window {
    std::size_t length = 1;
    FamilyFactors factors;
    [[nodiscard]] std::size_t stride() const { return std::max<std::size_t>(1, length / 2); }
  };

  [[nodiscard]] double smooth_excess(std::size_t i, bool above) const {
    const std::size_t from = i > 0 ? i - 1 : 0, to = std::min(count_ - 1, i + 1);
    double sum = 0.0;
    for (std::size_t j = from; j <= to; ++j) sum += excess(j, above);
    return sum / static_cast<double>(to - from + 1);
  }

  void grow(std::vector<bool>& marked, bool above) const {
    const auto reaches = [&](std::size_t from, std::size_t to) {
      return std::abs(stations_[to].station_mm - stations_[from].station_mm) <= settings_.merge_gap_mm &&
             excess(to, above) > 0 && smooth_excess(to, above) > 0;
    };
    for (std::size_t i = 1; i < count_; ++i) marked[i] = marked[i] || (marked[i - 1] && reaches(i - 1, i));
    for (std::size_t i = count_; i-- > 1;) marked[i - 1] = marked[i - 1] || (marked[i] && reaches(i, i - 1));
  }

  const std::vector<JudgedStation>& stations_;
  const StretchSettings& settings_;
  std::size_t count_;
  std::vector<Parts> parts_;
  std::vector<Window> windows_;
  double correlation_ = 1.0;
  double spacing_mm_ = 1.0;
};

struct Run {
  std::size_t from, to;
};

template <class Member>
std::vector<Run> runs_of(const std::vector<JudgedStation>& stations, double merge_gap_mm, Member&& member,
                         double bridge_mm = 0.0) {
  std::vector<Run> runs;
  for (std::size_t i = 0; i < stations.size(); ++i) {
    if (!member(i)) continue;
    const double gap_mm = runs.empty() ? 0.0 : stations[i].station_mm - stations[runs.back().to].station_mm;
    const bool nothing_between = !runs.empty() && runs.back().to + 1 == i;
    if (!runs.empty() && gap_mm <= (nothing_between ? std::max(merge_gap_mm, bridge_mm) : merge_gap_mm)) {
      runs.back().to = i;
    } else {
      runs.push_back({i, i});
    }
  }
  return runs;
}

// Where the values cross the limit between the last station outside and its neighbour inside.
double crossing_mm(const std::vector<JudgedStation>& stations, const SeriesEvidence& evidence, std::size_t outside,
                   std::size_t inside, double merge_gap_mm, bool above) {
  const double a = evidence.excess(outside, above), b = evidence.excess(inside, above);
  const double span = stations[inside].station_mm - stations[outside].station_mm;
  if (!(a > 0) || !std::isfinite(b) || b >= 0 || std::abs(span) > merge_gap_mm) return stations[outside].station_mm;
  return stations[outside].station_mm + span * a / (a - b);
}

}  // namespace

std::vector<Stretch> find_stretches(const JudgedSeries& series, const StretchSettings& settings) {
  const std::vector<JudgedStation>& stations = series.stations;
  std::vector<Stretch> stretches;
  if (stations.empty()) return stretches;
  SeriesEvidence evidence(series, settings);
  const double merge_gap_mm = std::max(settings.merge_gap_mm, 2.5 * evidence.spacing_mm());

  std::vector<bool> taken(stations.size(), false);
  for (const bool above : {false, true}) {
    const std::vector<bool> failing = evidence.failing(above);
    for (const Run& run : runs_of(
             stations, merge_gap_mm, [&](std::size_t i) { return failing[i]; }, settings.bridge_mm)) {
      Stretch stretch;
      stretch.verdict = Verdict::fail;
      stretch.above = above;
      stretch.worst = run.from;
      for (std::size_t i = run.from; i <= run.to; ++i) {
        taken[i] = true;
        if (evidence.excess(i, above) > evidence.excess(stretch.worst, above)) stretch.worst = i;
      }
      stretch.from_mm = run.from == 0 ? stations[run.from].station_mm
                                      : crossing_mm(stations, evidence, run.from, run.from - 1, merge_gap_mm, above);
      stretch.to_mm = run.to + 1 == stations.size()
                          ? stations[run.to].station_mm
                          : crossing_mm(stations, evidence, run.to, run.to + 1, merge_gap_mm, above);
      stretches.push_back(stretch);
    }
  }

  const std::vector<Stretch> failed = stretches;
  const auto in_passage = [&](const Run& run) {
    return std::any_of(failed.begin(), failed.end(), [&](const Stretch& stretch) {
      const double from_mm = stations[run.from].station_mm, to_mm = stations[run.to].station_mm;
      return from_mm >= stretch.from_mm - settings.passage_mm && to_mm <= stretch.to_mm + settings.passage_mm;
    });
  };
  const auto open = [&](std::size_t i) { return !taken[i] && stations[i].verdict != Verdict::pass; };
  // Chance is judged on unbroken runs, before they are joined.
  std::vector<bool> stays(stations.size(), false);
  for (const Run& run : runs_of(stations, 1.5 * evidence.spacing_mm(), open)) {
    if (stations.size() > 1 && evidence.is_chance(run.from, run.to)) continue;
    for (std::size_t i = run.from; i <= run.to; ++i) stays[i] = open(i);
  }
  for (const Run& run : runs_of(stations, merge_gap_mm, [&](std::size_t i) { return stays[i]; })) {
    if (in_passage(run)) continue;
    Stretch stretch;
    stretch.verdict = Verdict::undecided;
    stretch.from_mm = stations[run.from].station_mm;
    stretch.to_mm = stations[run.to].station_mm;
    double worst = -std::numeric_limits<double>::infinity();
    for (std::size_t i = run.from; i <= run.to; ++i) {
      for (const bool above : {false, true}) {
        const double reach = evidence.excess(i, above) + stations[i].u95;
        if (taken[i] || !(reach > worst)) continue;
        worst = reach;
        stretch.worst = i;
        stretch.above = above;
      }
    }
    stretches.push_back(stretch);
  }
  std::sort(stretches.begin(), stretches.end(),
            [](const Stretch& a, const Stretch& b) { return a.from_mm < b.from_mm; });
  return stretches;
}

}  // namespace rimwright
