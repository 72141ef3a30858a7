#include "judge/mend.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

#include "judge/words.h"

namespace rimwright {

std::string_view name_of(MendKind kind) {
  switch (kind) {
    case MendKind::leave: return "leave";
    case MendKind::rerun_deeper: return "re-run deeper";
    case MendKind::pare_wall: return "pare the wall";
    case MendKind::shim_under: return "shim under";
    case MendKind::shim_behind: return "shim behind";
    case MendKind::thinner_line: return "thinner line";
    case MendKind::thicker_line: return "thicker line";
    case MendKind::look_again: return "look again";
  }
  return "unknown";
}

namespace {

enum class Need { none, shallow, deep, narrow, wide, depth_unclear, width_unclear };

// A run of stations of one step that need the same thing.
struct Stretch {
  Need need = Need::none;
  double from_mm = 0.0, to_mm = 0.0;
  Measured worst;  // gap under (depth) or gap behind (width) where it is furthest from plan
};

Need needed(const Measured& departure, const Tolerance& tolerance, bool depth) {
  if (!departure.is_measured()) return Need::none;
  const double low = departure.value - departure.u95(), high = departure.value + departure.u95();
  if (high < tolerance.lower) return depth ? Need::shallow : Need::narrow;
  if (low > tolerance.upper) return depth ? Need::deep : Need::wide;
  if (low < tolerance.lower || high > tolerance.upper) return depth ? Need::depth_unclear : Need::width_unclear;
  return Need::none;
}

bool is_unclear(Need need) { return need == Need::depth_unclear || need == Need::width_unclear; }

std::vector<Stretch> stretches_of(const std::vector<StationFit>& stations, std::size_t step, bool depth,
                                  const Tolerance& tolerance, const DryFitSettings& settings) {
  std::vector<Stretch> found;
  for (const StationFit& station : stations) {
    const StepFit& fit = station.steps[step];
    const Measured& departure = depth ? fit.gap_under_mm : fit.gap_behind_mm;
    const Need need = needed(departure, tolerance, depth);
    if (need == Need::none) continue;
    const bool goes_on = !found.empty() && found.back().need == need &&
                         station.station_mm - found.back().to_mm <= settings.join_within_mm;
    if (!goes_on) found.push_back({need, station.station_mm, station.station_mm, departure});
    Stretch& stretch = found.back();
    stretch.to_mm = station.station_mm;
    if (std::abs(departure.value) > std::abs(stretch.worst.value)) stretch.worst = departure;
  }
  // An unclear rim round a clear stretch is part of it: the same mend serves both.
  std::vector<Stretch> kept;
  for (const Stretch& stretch : found) {
    if (stretch.to_mm - stretch.from_mm < settings.shortest_stretch_mm) continue;
    const bool beside_clear =
        is_unclear(stretch.need) && std::any_of(found.begin(), found.end(), [&](const Stretch& s) {
          return !is_unclear(s.need) && s.from_mm - stretch.to_mm <= settings.join_within_mm &&
                 stretch.from_mm - s.to_mm <= settings.join_within_mm;
        });
    if (!beside_clear) kept.push_back(stretch);
  }
  return kept;
}

// The strip that can best take a change of thickness: the thickest on or outside the step that is not the outermost,
// or the outermost when it is alone.
std::size_t adjustable_strip(const PlannedChannel& planned, std::size_t last_strip) {
  std::size_t best = last_strip;
  for (std::size_t i = 1; i <= last_strip; ++i) {
    if (planned.strips[i].thickness_mm > planned.strips[best].thickness_mm) best = i;
  }
  return best;
}

Mend mend_depth(const PlannedChannel& planned, const Stretch& stretch, const DryFitSettings& settings) {
  const double departure_mm = stretch.worst.value;  // negative = shallow
  const double proud_mm = planned.proud_mm - departure_mm;
  Mend mend;
  mend.amount_mm = std::abs(departure_mm);
  if (stretch.need == Need::shallow) {
    if (proud_mm + stretch.worst.u95() <= settings.level_at_most_mm) {
      mend.kind = MendKind::leave;
      mend.sentence =
          "stands up to " + length_words(proud_mm, settings.units) + " proud; leave it and level it with the rest";
    } else {
      mend.kind = MendKind::rerun_deeper;
      mend.sentence = "floor " + length_words(mend.amount_mm, settings.units) + " high; lower the cutter " +
                      length_words(mend.amount_mm, settings.units) + " and re-run this stretch";
    }
  } else if (proud_mm - stretch.worst.u95() >= 0.0) {
    mend.kind = MendKind::leave;
    mend.sentence =
        "stands only " + length_words(proud_mm, settings.units) + " proud; leave it, there is that much less to level";
  } else {
    mend.kind = MendKind::shim_under;
    mend.sentence = "sits " + length_words(mend.amount_mm, settings.units) + " lower than planned; lay a shim of " +
                    length_words(mend.amount_mm, settings.units) + " under it";
  }
  return mend;
}

Mend mend_width(const PlannedChannel& planned, std::size_t step, const Stretch& stretch, double channel_length_mm,
                const DryFitSettings& settings) {
  const std::size_t strip = adjustable_strip(planned, planned.steps[step].last_strip);
  Mend mend;
  mend.amount_mm = std::abs(stretch.worst.value);
  const bool serves_most = stretch.to_mm - stretch.from_mm >= settings.strip_mend_share * channel_length_mm;
  const bool strip_allows = mend.amount_mm <= settings.strip_change_share * planned.strips[strip].thickness_mm;
  const std::string& name = planned.strips[strip].name;
  if (stretch.need == Need::narrow) {
    if (serves_most && strip_allows) {
      mend.kind = MendKind::thinner_line;
      mend.sentence = "wall " + length_words(mend.amount_mm, settings.units) + " too near; plane '" + name + "' " +
                      length_words(mend.amount_mm, settings.units) + " thinner, or pare the wall that much";
    } else {
      mend.kind = MendKind::pare_wall;
      mend.sentence = "wall " + length_words(mend.amount_mm, settings.units) + " too near; pare it back " +
                      length_words(mend.amount_mm, settings.units);
    }
  } else if (serves_most && strip_allows) {
    mend.kind = MendKind::thicker_line;
    mend.sentence = "gap of " + length_words(mend.amount_mm, settings.units) + " behind; make '" + name + "' " +
                    length_words(mend.amount_mm, settings.units) + " thicker, or lay a shim that thick behind it";
  } else {
    mend.kind = MendKind::shim_behind;
    mend.sentence = "gap of " + length_words(mend.amount_mm, settings.units) + " behind; lay a shim of " +
                    length_words(mend.amount_mm, settings.units) + " behind it";
  }
  return mend;
}

}  // namespace

std::vector<Mend> cheapest_mends(const PlannedChannel& planned, const std::vector<StationFit>& stations,
                                 const DryFitSettings& settings) {
  std::vector<Mend> mends;
  if (stations.empty()) return mends;
  const double length_mm = stations.back().station_mm - stations.front().station_mm;
  for (std::size_t step = 0; step < planned.steps.size(); ++step) {
    for (const bool depth : {true, false}) {
      const Tolerance& tolerance = depth ? planned.depth_tolerance_mm : planned.width_tolerance_mm;
      for (const Stretch& stretch : stretches_of(stations, step, depth, tolerance, settings)) {
        Mend mend;
        if (is_unclear(stretch.need)) {
          mend.kind = MendKind::look_again;
          mend.amount_mm = std::abs(stretch.worst.value);
          mend.sentence = std::string(depth ? "depth" : "width") + " may be " +
                          length_words(mend.amount_mm, settings.units) + " off, give or take " +
                          length_words(stretch.worst.u95(), settings.units) +
                          "; check it with a depth gauge or scan it closer";
        } else if (depth) {
          mend = mend_depth(planned, stretch, settings);
        } else {
          mend = mend_width(planned, step, stretch, length_mm, settings);
        }
        mend.step = step;
        mend.from_mm = stretch.from_mm;
        mend.to_mm = stretch.to_mm;
        mend.u95_mm = stretch.worst.u95();
        mends.push_back(std::move(mend));
      }
    }
  }
  std::stable_sort(mends.begin(), mends.end(), [](const Mend& a, const Mend& b) { return a.from_mm < b.from_mm; });
  return mends;
}

}  // namespace rimwright
