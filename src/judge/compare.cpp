#include "judge/compare.h"

#include <algorithm>
#include <cmath>
#include <string>

namespace rimwright {

Verdict verdict_of(double value, double u95, double lower, double upper) {
  if (value - u95 >= lower && value + u95 <= upper) return Verdict::pass;
  if (value + u95 < lower || value - u95 > upper) return Verdict::fail;
  return Verdict::undecided;  // also when value or u95 is not a number
}

FullestStretch find_fullest(const std::vector<BevelStation>& stations, double upper_limit_mm) {
  struct Drop {
    double station_mm, value, u95;
  };
  std::vector<Drop> drops;
  for (const BevelStation& station : stations) {
    if (station.drop_mm.is_measured()) {
      drops.push_back({station.station_mm, station.drop_mm.value, station.drop_mm.u95()});
    }
  }
  constexpr std::size_t fewest = 5;  // fewer cannot show a level
  if (drops.size() < fewest) return {};

  std::vector<double> sorted;
  for (const Drop& drop : drops) sorted.push_back(drop.value);
  std::sort(sorted.begin(), sorted.end());
  const double near_largest = sorted[sorted.size() * 95 / 100];

  std::vector<double> spreads;
  for (const Drop& drop : drops) spreads.push_back(drop.u95);
  std::nth_element(spreads.begin(), spreads.begin() + spreads.size() / 2, spreads.end());
  const double bandwidth = std::max(spreads[spreads.size() / 2], 0.05);

  // A drop beyond the upper limit is a defect of its own and must not set the level.
  double level = 0.0, best_density = -1.0;
  for (const double candidate : sorted) {
    if (candidate < near_largest / 2 || candidate > std::max(upper_limit_mm, near_largest / 2)) continue;
    constexpr double reach = 8.0;  // bandwidths; what lies farther off adds less than 1e-13
    double density = 0.0;
    for (auto other = std::lower_bound(sorted.begin(), sorted.end(), candidate - reach * bandwidth);
         other != sorted.end() && *other < candidate + reach * bandwidth; ++other)
      density += std::exp(-0.5 * std::pow((candidate - *other) / bandwidth, 2));
    if (density > best_density) {
      best_density = density;
      level = candidate;
    }
  }
  if (best_density < 0) return {};

  // A badly seen station deep in a run-out may reach the level by its uncertainty alone: a station counts only where
  // the middle one of five neighbours reaches it as well.
  const auto attains = [&](const Drop& drop) {
    if (drop.value < level - std::clamp(drop.u95, bandwidth, 2.0 * bandwidth)) return false;
    const auto here = static_cast<std::size_t>(&drop - drops.data());
    std::vector<double> around;
    for (std::size_t k = here >= 2 ? here - 2 : 0; k <= std::min(drops.size() - 1, here + 2); ++k)
      around.push_back(drops[k].value);
    std::nth_element(around.begin(), around.begin() + around.size() / 2, around.end());
    return around[around.size() / 2] >= level - bandwidth;
  };
  const auto first = std::find_if(drops.begin(), drops.end(), attains);
  const auto last = std::find_if(drops.rbegin(), drops.rend(), attains);
  if (first == drops.end() || last == drops.rend()) return {};

  // Still growing where the scan ends: the fullest part lies beyond. Two hundredths a millimetre is the slope of a
  // run-out ten times longer than any in use.
  constexpr double growing_slope = 0.02;
  constexpr double end_length_mm = 12.0;
  const auto slope_over = [&](double from_mm, double to_mm) {
    double n = 0, s = 0, ss = 0, v = 0, sv = 0;
    for (const Drop& drop : drops) {
      if (drop.station_mm < from_mm || drop.station_mm > to_mm) continue;
      const double x = drop.station_mm - from_mm;
      n += 1, s += x, ss += x * x, v += drop.value, sv += x * drop.value;
    }
    const double determinant = n * ss - s * s;
    return determinant > 0 ? (n * sv - s * v) / determinant : 0.0;
  };
  const double begin_mm = drops.front().station_mm, end_mm = drops.back().station_mm;
  const bool grows_at_end =
      end_mm - last->station_mm < end_length_mm / 4 && slope_over(end_mm - end_length_mm, end_mm) > growing_slope;
  const bool grows_at_begin = first->station_mm - begin_mm < end_length_mm / 4 &&
                              slope_over(begin_mm, begin_mm + end_length_mm) < -growing_slope;
  if (grows_at_end || grows_at_begin) return {};
  return {first->station_mm, last->station_mm};
}

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

void add_station(JudgedSeries& series, double station_mm, const Measured& measured) {
  if (!measured.is_measured()) return;
  JudgedStation judged;
  judged.station_mm = station_mm;
  judged.value = measured.value;
  judged.u95 = measured.u95();
  judged.standard_u = measured.standard_u;
  judged.degrees_of_freedom = measured.degrees_of_freedom;
  judged.lower = series.lower;
  judged.upper = series.upper;
  judged.verdict = verdict_of(judged.value, judged.u95, judged.lower, judged.upper);
  series.stations.push_back(judged);
}

JudgedSeries series_of(std::string feature, std::string quantity, QuantityKind kind, double nominal, double lower,
                       double upper) {
  JudgedSeries series;
  series.feature = std::move(feature);
  series.quantity = std::move(quantity);
  series.kind = kind;
  series.nominal = nominal;
  series.lower = lower;
  series.upper = upper;
  return series;
}

void add_bevel(const PlannedBevel& planned, const BevelMeasures& bevel, const CompareSettings& settings,
               std::vector<JudgedSeries>& all) {
  const auto is_narrow = [&](const BevelStation& station) {
    return station.drop_mm.is_measured() && station.drop_mm.value < settings.least_drop_mm;
  };
  JudgedSeries angle = series_of("bevel", "angle", QuantityKind::angle, planned.angle_deg.nominal,
                                 planned.angle_deg.lower_limit(), planned.angle_deg.upper_limit());
  for (const BevelStation& station : bevel.stations) {
    if (!is_narrow(station)) add_station(angle, station.station_mm, station.angle_deg);
  }
  all.push_back(std::move(angle));

  // Too deep is wrong anywhere; too shallow only where the bevel is meant to be full, not in its run-outs.
  const FullestStretch fullest = find_fullest(bevel.stations, planned.drop_mm.upper_limit());
  JudgedSeries drop = series_of("bevel", "drop", QuantityKind::drop, planned.drop_mm.nominal,
                                planned.drop_mm.lower_limit(), planned.drop_mm.upper_limit());
  for (const BevelStation& station : bevel.stations) add_station(drop, station.station_mm, station.drop_mm);
  for (JudgedStation& judged : drop.stations) {
    if (fullest.is_known() && judged.station_mm >= fullest.from_mm && judged.station_mm <= fullest.to_mm) continue;
    judged.lower = -infinity;
    judged.verdict = verdict_of(judged.value, judged.u95, judged.lower, judged.upper);
  }
  all.push_back(std::move(drop));

  if (planned.straightness_mm) {
    JudgedSeries straightness =
        series_of("bevel", "straightness", QuantityKind::straightness, 0.0, -infinity, *planned.straightness_mm);
    for (const BevelStation& station : bevel.stations) {
      if (!is_narrow(station)) add_station(straightness, station.station_mm, station.straightness_mm);
    }
    all.push_back(std::move(straightness));
  }

  const auto add_whole = [&](const char* quantity, QuantityKind kind, const Measured& measured, double limit) {
    JudgedSeries series = series_of("bevel", quantity, kind, 0.0, -infinity, limit);
    const double middle_mm =
        bevel.stations.empty() ? 0.0 : (bevel.stations.front().station_mm + bevel.stations.back().station_mm) / 2;
    add_station(series, middle_mm, measured);
    all.push_back(std::move(series));
  };
  if (planned.waviness) {
    add_whole("waviness", QuantityKind::waviness, bevel.waviness_mm, planned.waviness->limit_mm);
  }
  if (planned.edge_fairness) {
    add_whole("lower edge fairness", QuantityKind::lower_edge_fairness, bevel.lower_edge_fairness_mm,
              planned.edge_fairness->limit_mm);
    add_whole("upper edge fairness", QuantityKind::upper_edge_fairness, bevel.upper_edge_fairness_mm,
              planned.edge_fairness->limit_mm);
  }
}

void add_block(const PlannedBlock& planned, const std::vector<BlockStation>& block, std::vector<JudgedSeries>& all) {
  JudgedSeries top = series_of("block", "top left", QuantityKind::top_left, planned.keep_mm, planned.keep_mm, infinity);
  JudgedSeries side =
      series_of("block", "side left", QuantityKind::side_left, planned.keep_mm, planned.keep_mm, infinity);
  for (const BlockStation& station : block) {
    add_station(top, station.station_mm, station.top_left_mm);
    add_station(side, station.station_mm, station.side_left_mm);
  }
  all.push_back(std::move(top));
  all.push_back(std::move(side));
}

// Whether each station lies within `end_mm` of an end of its unbroken run of stations.
std::vector<bool> stations_near_ends(const std::vector<ChannelStation>& stations, double end_mm) {
  constexpr double break_mm = 5.0;  // stations are at most 2 mm apart where the channel is seen
  std::vector<bool> near(stations.size(), false);
  for (std::size_t from = 0; from < stations.size();) {
    std::size_t to = from;
    while (to + 1 < stations.size() && stations[to + 1].station_mm - stations[to].station_mm < break_mm) ++to;
    for (std::size_t i = from; i <= to; ++i) {
      near[i] = stations[i].station_mm - stations[from].station_mm < end_mm ||
                stations[to].station_mm - stations[i].station_mm < end_mm;
    }
    from = to + 1;
  }
  return near;
}

void add_channel(const PlannedChannel& planned, const ChannelMeasures& measured, const CompareSettings& settings,
                 std::vector<JudgedSeries>& all) {
  const std::vector<bool> near_end = stations_near_ends(measured.stations, settings.channel_end_mm);
  for (std::size_t step = 0; step < planned.steps.size(); ++step) {
    const std::string name = "step " + std::to_string(step + 1) + " ";
    const double width_mm = planned.steps[step].width_mm;
    const double depth_mm = planned.steps[step].depth_mm;
    JudgedSeries width =
        series_of(planned.name, name + "width", QuantityKind::step_width, width_mm,
                  width_mm + planned.width_tolerance_mm.lower, width_mm + planned.width_tolerance_mm.upper);
    JudgedSeries depth =
        series_of(planned.name, name + "depth", QuantityKind::step_depth, depth_mm,
                  depth_mm + planned.depth_tolerance_mm.lower, depth_mm + planned.depth_tolerance_mm.upper);
    width.channel = depth.channel = measured.planned_channel;
    width.step = depth.step = step;
    for (std::size_t i = 0; i < measured.stations.size(); ++i) {
      const ChannelStation& station = measured.stations[i];
      if (step >= station.steps.size() || near_end[i]) continue;
      add_station(width, station.station_mm, station.steps[step].width_mm);
      add_station(depth, station.station_mm, station.steps[step].depth_mm);
    }
    all.push_back(std::move(width));
    all.push_back(std::move(depth));
  }
}

}  // namespace

std::vector<JudgedSeries> compare(const Plan& plan, const Measures& measures, const CompareSettings& settings) {
  std::vector<JudgedSeries> all;
  if (plan.bevel) add_bevel(*plan.bevel, measures.bevel, settings, all);
  if (plan.block) add_block(*plan.block, measures.block, all);
  for (const ChannelMeasures& channel : measures.channels) {
    if (channel.planned_channel < plan.channels.size()) {
      add_channel(plan.channels[channel.planned_channel], channel, settings, all);
    }
  }
  return all;
}

}  // namespace rimwright
