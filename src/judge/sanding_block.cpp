#include "judge/sanding_block.h"

#include <algorithm>
#include <cmath>
#include <deque>

#include "core/frames.h"
#include "judge/words.h"

namespace rimwright {
namespace {

// Extreme over a sliding window of `half` samples either way, within [from, to); monotone queue, one pass.
template <class Better>
void slide(const std::vector<double>& in, std::size_t from, std::size_t to, std::size_t half, Better&& better,
           std::vector<double>& out) {
  std::deque<std::size_t> queue;
  std::size_t next = from;
  for (std::size_t i = from; i < to; ++i) {
    for (; next < to && next <= i + half; ++next) {
      while (!queue.empty() && !better(in[queue.back()], in[next])) queue.pop_back();
      queue.push_back(next);
    }
    while (queue.front() + half < i) queue.pop_front();
    out[i] = in[queue.front()];
  }
}

// Calls piece(from, to) for each run of numbers.
template <class Piece>
void for_pieces(const std::vector<double>& line, Piece&& piece) {
  for (std::size_t from = 0; from < line.size();) {
    if (std::isnan(line[from])) {
      ++from;
      continue;
    }
    std::size_t to = from;
    while (to < line.size() && !std::isnan(line[to])) ++to;
    piece(from, to);
    from = to;
  }
}

std::vector<double> row_of(const UnrolledMap& map, std::size_t row, double smooth_mm) {
  const auto half = static_cast<std::ptrdiff_t>(smooth_mm / 2 / map.station_step_mm);
  const auto columns = static_cast<std::ptrdiff_t>(map.columns);
  std::vector<double> line(map.columns, std::numeric_limits<double>::quiet_NaN());
  for (std::ptrdiff_t column = 0; column < columns; ++column) {
    if (std::isnan(map.deviation_mm[row * map.columns + column])) continue;
    double sum = 0.0;
    int count = 0;
    for (std::ptrdiff_t k = std::max<std::ptrdiff_t>(0, column - half); k <= std::min(columns - 1, column + half);
         ++k) {
      const double deviation = map.deviation_mm[row * map.columns + k];
      if (std::isnan(deviation)) continue;
      sum += deviation;
      ++count;
    }
    line[column] = sum / count;
  }
  return line;
}

// Least removal into tolerance: in each column nothing may stand more than the straightness limit above the column's
// lowest place, and along the rim no column's mean more than the waviness limit above the lowest within half the
// longest wavelength of the band. A bound, not the optimum: hollows are taken as they are.
void take_off_into_tolerance(const Plan& plan, const UnrolledMap& map, const std::vector<std::vector<double>>& rows,
                             SandingBlock& sanded) {
  const double straight_mm = plan.bevel && plan.bevel->straightness_mm ? *plan.bevel->straightness_mm
                                                                       : std::numeric_limits<double>::infinity();
  std::vector<double> mean(map.columns, std::numeric_limits<double>::quiet_NaN());
  std::vector<double> take(map.columns, 0.0);
  for (std::size_t column = 0; column < map.columns; ++column) {
    double low = std::numeric_limits<double>::infinity(), high = -low, sum = 0.0;
    std::size_t count = 0;
    for (const std::vector<double>& row : rows) {
      if (std::isnan(row[column])) continue;
      low = std::min(low, row[column]);
      high = std::max(high, row[column]);
    }
    if (!(low <= high)) continue;
    for (const std::vector<double>& row : rows) {
      if (std::isnan(row[column])) continue;
      sum += std::min(row[column], low + straight_mm);
      ++count;
    }
    mean[column] = sum / static_cast<double>(count);
    take[column] = std::max(0.0, high - low - straight_mm);
  }
  if (plan.bevel && plan.bevel->waviness) {
    const auto half = static_cast<std::size_t>(plan.bevel->waviness->band.longest_mm / 2 / map.station_step_mm);
    std::vector<double> lowest(map.columns, 0.0);
    for_pieces(mean, [&](std::size_t from, std::size_t to) {
      slide(
          mean, from, to, half, [](double a, double b) { return a < b; }, lowest);
    });
    for (std::size_t column = 0; column < map.columns; ++column) {
      if (std::isnan(mean[column])) continue;
      take[column] += std::max(0.0, mean[column] - lowest[column] - plan.bevel->waviness->limit_mm);
    }
  }
  for (SandedStation& station : sanded.stations) {
    const auto column =
        static_cast<std::size_t>(std::lround((station.station_mm - map.first_station_mm) / map.station_step_mm));
    station.to_take_off_fair_mm = take[column];
    if (take[column] > sanded.most_fair_mm) {
      sanded.most_fair_mm = take[column];
      sanded.most_fair_station_mm = station.station_mm;
    }
  }
}

// Wood taken square to the face moves its lower edge down the side by 1 / sin(lean) and its upper edge in by
// 1 / cos(lean) of it, lean being the face's from the line of the side.
void hold_against_block(const Plan& plan, const Measures& measures, SandingBlock& sanded) {
  if (!plan.block || !plan.bevel) return;
  const double lean = radians_from_degrees(180.0 - plan.bevel->angle_deg.nominal);
  if (std::sin(lean) < 0.05 || std::cos(lean) < 0.05) return;
  std::size_t next = 0;
  for (const SandedStation& station : sanded.stations) {
    while (next + 1 < measures.block.size() && measures.block[next].station_mm < station.station_mm) ++next;
    if (next >= measures.block.size() || std::abs(measures.block[next].station_mm - station.station_mm) > 2.0) continue;
    const BlockStation& block = measures.block[next];
    const auto consider = [&](const Measured& left, double moves) {
      if (!left.is_measured()) return;
      const double room = left.value - plan.block->keep_mm - station.to_take_off_fair_mm * moves;
      if (room >= sanded.room_left_mm) return;  // false while it is NaN
      sanded.room_left_mm = room;
      sanded.room_left_station_mm = station.station_mm;
    };
    consider(block.side_left_mm, 1.0 / std::sin(lean));
    consider(block.top_left_mm, 1.0 / std::cos(lean));
  }
}

std::vector<std::string> in_words(const Plan& plan, const SandingBlock& sanded, double pencil_mm) {
  const LengthUnit units = plan.units;
  std::vector<std::string> sentences;
  const std::string block = "a flat block of " + station_words(sanded.block_length_mm, units) +
                            ", held at the planned angle and run along the rim";
  if (sanded.most_to_take_off_mm <= pencil_mm) {
    sentences.push_back("Under " + block + ", no pencil mark deeper than " + length_words(pencil_mm, units) +
                        " stays.");
  } else {
    const int percent = std::max(1, static_cast<int>(std::lround(100 * sanded.marked_share)));
    sentences.push_back("Under " + block + ", pencil marks stay on " + std::to_string(percent) +
                        " % of the face after one pass; until none do, up to " +
                        length_words(sanded.most_to_take_off_mm, units) + " comes off, most around " +
                        station_words(sanded.most_to_take_off_station_mm, units) + ".");
  }
  if (sanded.most_fair_mm <= 0.005) {
    sentences.emplace_back("For straightness and waviness nothing has to come off.");
  } else {
    sentences.push_back("To bring the face within straightness and waviness, take off at least " +
                        length_words(sanded.most_fair_mm, units) + " around " +
                        station_words(sanded.most_fair_station_mm, units) + ", less elsewhere.");
  }
  if (!std::isnan(sanded.room_left_mm)) {
    sentences.push_back(sanded.room_left_mm >= 0
                            ? "That leaves the block " + length_words(sanded.room_left_mm, units) +
                                  " more than must be kept, least around " +
                                  station_words(sanded.room_left_station_mm, units) + "."
                            : "That would go " + length_words(-sanded.room_left_mm, units) +
                                  " into the wood of the block that must be kept, around " +
                                  station_words(sanded.room_left_station_mm, units) + ": build up inside first.");
  }
  return sentences;
}

}  // namespace

std::vector<double> closing(const std::vector<double>& line, std::size_t half) {
  std::vector<double> dilated = line, closed = line;
  for_pieces(line, [&](std::size_t from, std::size_t to) {
    slide(
        line, from, to, half, [](double a, double b) { return a > b; }, dilated);
    slide(
        dilated, from, to, half, [](double a, double b) { return a < b; }, closed);
  });
  return closed;
}

std::vector<double> sanded_down(const std::vector<double>& line, std::size_t half, double pencil) {
  const std::vector<double> closed = closing(line, half);
  // Only places the block does not reach pull their surroundings down, to the segment's length round them.
  std::vector<double> hollow = line;
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (!std::isnan(line[i]) && !(closed[i] - line[i] > pencil)) hollow[i] = std::numeric_limits<double>::infinity();
  }
  std::vector<double> widened = line;
  for_pieces(line, [&](std::size_t from, std::size_t to) {
    slide(
        hollow, from, to, half, [](double a, double b) { return a < b; }, widened);
  });
  std::vector<double> result = line;
  for (std::size_t i = 0; i < line.size(); ++i) {
    // A mark as deep as a pencil line may stay.
    if (!std::isnan(line[i])) result[i] = std::min(line[i], widened[i] + pencil);
  }
  return result;
}

SandingBlock sand_with_block(const Plan& plan, const Measures& measures, const SandingSettings& settings) {
  const UnrolledMap& map = measures.map;
  SandingBlock sanded;
  sanded.block_length_mm = std::clamp(settings.block_length_mm, 10.0, 400.0);
  if (map.columns == 0 || map.rows == 0 || map.deviation_mm.size() != map.columns * map.rows) return sanded;
  const auto half =
      static_cast<std::size_t>(std::max(1.0, std::round(sanded.block_length_mm / 2 / map.station_step_mm)));

  std::vector<std::vector<double>> rows;
  std::vector<double> deepest(map.columns, 0.0), take(map.columns, 0.0);
  std::size_t cells = 0, marked = 0;
  for (std::size_t row = 0; row < map.rows; ++row) {
    rows.push_back(row_of(map, row, settings.smooth_mm));
    const std::vector<double>& line = rows.back();
    const std::vector<double> closed = closing(line, half);
    const std::vector<double> down = sanded_down(line, half, settings.pencil_mm);
    for (std::size_t column = 0; column < map.columns; ++column) {
      if (std::isnan(line[column])) continue;
      ++cells;
      const double depth = closed[column] - line[column];
      if (depth > settings.pencil_mm) {
        ++marked;
        deepest[column] = std::max(deepest[column], depth);
      }
      take[column] = std::max(take[column], line[column] - down[column]);
      sanded.wood_mm3 += (line[column] - down[column]) * map.station_step_mm * map.across_step_mm;
    }
  }
  for (std::size_t column = 0; column < map.columns; ++column) {
    const bool seen = std::any_of(rows.begin(), rows.end(), [&](const auto& row) { return !std::isnan(row[column]); });
    if (!seen) continue;
    SandedStation station;
    station.station_mm = map.first_station_mm + static_cast<double>(column) * map.station_step_mm;
    station.deepest_mark_mm = deepest[column];
    station.to_take_off_mm = take[column];
    if (take[column] > sanded.most_to_take_off_mm) {
      sanded.most_to_take_off_mm = take[column];
      sanded.most_to_take_off_station_mm = station.station_mm;
    }
    sanded.stations.push_back(station);
  }
  sanded.marked_share = cells > 0 ? static_cast<double>(marked) / static_cast<double>(cells) : 0.0;
  take_off_into_tolerance(plan, map, rows, sanded);
  hold_against_block(plan, measures, sanded);
  sanded.sentences = in_words(plan, sanded, settings.pencil_mm);
  return sanded;
}

}  // namespace rimwright
