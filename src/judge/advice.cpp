#include "judge/advice.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "core/frames.h"
#include "judge/face_place.h"
#include "judge/words.h"

namespace rimwright {
namespace {

// The bevel leans from the line of the side by the supplement of its angle; the router base tilts by as much.
double lean_rad(const PlannedBevel& bevel) { return radians_from_degrees(180.0 - bevel.angle_deg.nominal); }

double face_width_mm(const PlannedBevel& bevel) {
  const double lean = lean_rad(bevel);
  return std::cos(lean) > 0.05 ? bevel.drop_mm.nominal / std::cos(lean) : bevel.drop_mm.nominal;
}

// Least room left to the block between two stations, NaN when none was measured.
double least_block_left_mm(const Measures& measures, double from_mm, double to_mm) {
  double least = std::numeric_limits<double>::quiet_NaN();
  constexpr double nearby_mm = 3.0;
  for (const BlockStation& station : measures.block) {
    if (station.station_mm < from_mm - nearby_mm || station.station_mm > to_mm + nearby_mm) continue;
    for (const Measured* left : {&station.top_left_mm, &station.side_left_mm}) {
      if (left->is_measured() && !(left->value >= least)) least = left->value;
    }
  }
  return least;
}

std::string block_left_words(const Measures& measures, const Stretch& stretch, LengthUnit units) {
  const double left_mm = least_block_left_mm(measures, stretch.from_mm, stretch.to_mm);
  if (std::isnan(left_mm)) return "";
  return left_mm > 0 ? ", " + length_words(left_mm, units) + " of block left there"
                     : ", nothing of the block is left there";
}

struct Context {
  const Plan& plan;
  const Measures& measures;
  const JudgedSeries& series;
  const Stretch& stretch;
  LengthUnit units;
  double value;       // at the worst station
  double off;         // value minus nominal
  std::string where;  // "from 20 to 61 mm"
  [[nodiscard]] std::string length(double mm) const { return length_words(mm, units); }
};

std::string advise_depth(const Context& c) {
  const std::string amount = c.length(std::abs(c.off));
  if (!c.stretch.above) {
    return "floor " + amount + " high " + c.where + ": lower the cutter " + amount + " and re-run that stretch";
  }
  return "floor " + amount + " too deep " + c.where + ": glue a " + amount +
         " shim of the same wood to the floor there, or the strips will sit " + amount + " low";
}

std::string advise_width(const Context& c) {
  const std::string amount = c.length(std::abs(c.off));
  if (!c.stretch.above) {
    return "wall stands " + amount + " too far out " + c.where + ": set the guide " + amount +
           " farther in and re-run that stretch";
  }
  return "wall " + amount + " too far in " + c.where + ": fill behind the strips with " + amount +
         " of wood there, or the joint will show a gap of " + amount;
}

std::string advise_angle(const Context& c) {
  const PlannedBevel& bevel = *c.plan.bevel;
  const std::string tilt = angle_words(std::abs(c.off));
  const std::string amount = c.length(face_width_mm(bevel) * std::sin(radians_from_degrees(std::abs(c.off))));
  if (c.stretch.above) {
    // Too steep: pivot on the lower edge and take wood off towards the top.
    return "face " + tilt + " too steep " + c.where + ": tilt the base " + tilt +
           " more and take off nothing at the lower edge, rising to " + amount + " at the upper edge";
  }
  return "face " + tilt + " too flat " + c.where + ": tilt the base " + tilt +
         " less and take off nothing at the upper edge, rising to " + amount + " at the lower edge" +
         block_left_words(c.measures, c.stretch, c.units);
}

std::string advise_drop(const Context& c) {
  const double square_to_face_mm = std::abs(c.off) * std::sin(lean_rad(*c.plan.bevel));
  if (!c.stretch.above) {
    return "lower edge " + c.length(std::abs(c.off)) + " too high " + c.where + ": take " +
           c.length(square_to_face_mm) + " off the face, square to it, and re-check";
  }
  return c.length(std::abs(c.off)) + " too deep " + c.where + ": take no more there; fair the neighbours down to it" +
         block_left_words(c.measures, c.stretch, c.units);
}

std::string advise_straightness(const Context& c) {
  FacePlace high, low;
  const double from_mm = c.stretch.from_mm - 2.0, to_mm = c.stretch.to_mm + 2.0;
  const bool has_high = find_face_place(c.measures.map, from_mm, to_mm, +1, high);
  const bool has_low = find_face_place(c.measures.map, from_mm, to_mm, -1, low);
  const bool is_hollow = has_low && (!has_high || -low.deviation_mm > high.deviation_mm);
  if (is_hollow) {
    return c.length(-low.deviation_mm) + " too deep around " + station_words(low.station_mm, c.units) + ", " +
           low.words() + ": fair the neighbours down to it" + block_left_words(c.measures, c.stretch, c.units);
  }
  if (has_high && high.deviation_mm > 0) {
    return c.length(high.deviation_mm) + " to take off around " + station_words(high.station_mm, c.units) + ", " +
           high.words() + "; the face is " + c.length(c.value) + " out of straight " + c.where;
  }
  return "face " + c.length(c.value) + " out of straight across " + c.where +
         ": work it with a flat block held square to the rim";
}

std::string advise_waviness(const Context& c) {
  FacePlace high;
  std::string advice = "face waves by " + c.length(c.value) + " along the rim (" + c.length(c.series.upper) +
                       " allowed): sand lengthwise with a long flat block";
  if (find_face_place(c.measures.map, c.stretch.from_mm, c.stretch.to_mm, +1, high) && high.deviation_mm > 0) {
    advice += ", first the crest around " + station_words(high.station_mm, c.units) + " (" +
              c.length(high.deviation_mm) + " to take off)";
  }
  return advice;
}

std::string advise_edge(const Context& c, const char* edge) {
  return std::string(edge) + " edge wanders by " + c.length(c.value) + " (" + c.length(c.series.upper) +
         " allowed): spring a flat batten along it, mark the high places and take the face down to the mark";
}

std::string advise_block(const Context& c, const char* direction) {
  return "only " + c.length(c.value) + " of block left " + direction + " " + c.where + " (" + c.length(c.series.lower) +
         " to keep): take no more wood there; glue backing inside before going on";
}

}  // namespace

std::string advise_failing(const Plan& plan, const Measures& measures, const JudgedSeries& series,
                           const Stretch& stretch) {
  const double value = series.stations[stretch.worst].value;
  const Context c{plan,
                  measures,
                  series,
                  stretch,
                  plan.units,
                  value,
                  value - series.nominal,
                  stretch_words(stretch.from_mm, stretch.to_mm, plan.units)};
  switch (series.kind) {
    case QuantityKind::angle: return advise_angle(c);
    case QuantityKind::drop: return advise_drop(c);
    case QuantityKind::straightness: return advise_straightness(c);
    case QuantityKind::top_left: return advise_block(c, "along the top");
    case QuantityKind::side_left: return advise_block(c, "down the side");
    case QuantityKind::step_width: return advise_width(c);
    case QuantityKind::step_depth: return advise_depth(c);
    case QuantityKind::waviness: return advise_waviness(c);
    case QuantityKind::lower_edge_fairness: return advise_edge(c, "lower");
    case QuantityKind::upper_edge_fairness: return advise_edge(c, "upper");
  }
  return "";
}

std::string advise_undecided(const Plan& plan, const JudgedSeries& series, const Stretch& stretch) {
  const JudgedStation& station = series.stations[stretch.worst];
  const bool is_angle = series.kind == QuantityKind::angle;
  const auto amount = [&](double x) { return is_angle ? angle_words(x) : length_words(x, plan.units); };
  const double limit = stretch.above ? station.upper : station.lower;
  const double margin = std::abs(station.value - limit);
  const std::string where = stretch_words(stretch.from_mm, stretch.to_mm, plan.units);
  std::string advice = series.quantity + " " + amount(station.value) + " ± " + amount(station.u95) + " " + where +
                       " against a limit of " + amount(limit) + ": ";

  double total_squared = 0.0;
  for (const double u : station.standard_u) total_squared += u * u;
  const auto largest = static_cast<UncertaintySource>(
      std::max_element(station.standard_u.begin(), station.standard_u.end()) - station.standard_u.begin());
  const double k = total_squared > 0 ? station.u95 / std::sqrt(total_squared) : 1.96;
  // The estimate sits on the limit: no realistic scan splits it.
  if (margin < 0.1 * station.u95) {
    return advice +
           "it lies on the limit, which no scan will split; decide it with a gauge at the bench, or take off a "
           "little more wood and scan again";
  }
  advice += "decided once the uncertainty is below " + amount(margin) + "; it is mostly " +
            std::string(plain_words_for(largest)) + "; ";

  const double noise = station.standard_u[static_cast<std::size_t>(UncertaintySource::point_noise)];
  const double other_squared = total_squared - noise * noise;
  const double room_squared = margin * margin / (k * k) - other_squared;
  if (room_squared > 0 && noise > 0) {
    const double factor = noise * noise / room_squared;
    constexpr double most_times = 10.0;  // nobody goes over a stretch more often
    if (factor <= most_times) {
      char times[32];
      std::snprintf(times, sizeof times, "%.1f", std::max(1.1, factor));
      return advice + "scan that stretch with " + times + " times the points, or go over it " + times + " times";
    }
  }
  switch (largest) {
    case UncertaintySource::point_noise:
    case UncertaintySource::correlated: {
      char times[32];
      std::snprintf(times, sizeof times, "%.1f", std::max(1.1, station.u95 / margin));
      return advice + "more points alone will hardly do it: use a scanner or distance with noise " + times +
             " times smaller, or gauge it by hand";
    }
    case UncertaintySource::scale:
      return advice + "measure the check bar of the target with callipers and give it as --bar";
    case UncertaintySource::reference_faces: return advice + "scan a wider strip of top and side beside that stretch";
    case UncertaintySource::face_form:
      return advice + "clean the corners there of dust and fuzz and scan again, or gauge it by hand";
    case UncertaintySource::capture: return advice + "capture it again closer and from more sides, or gauge it by hand";
  }
  return advice;
}

}  // namespace rimwright
