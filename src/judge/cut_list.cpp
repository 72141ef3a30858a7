#include "judge/cut_list.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>

#include "judge/words.h"
#include "plan/derive_steps.h"

namespace rimwright {
namespace {

constexpr double sample_step_mm = 4.0;    // chord error of a curve of 50 mm radius: 0.03 %
constexpr double tangent_reach_mm = 8.0;  // each way; noise of the rim must not turn the normal visibly

// The rim in plan as a function of station, with tangents; wraps when the rim is closed.
class MeasuredRim {
 public:
  explicit MeasuredRim(const Measures& measures)
      : station_(measures.rim_station_mm), plan_(measures.rim_plan_mm), closed_(measures.scan.rim_closed) {
    const std::size_t count = std::min(station_.size(), plan_.size());
    station_.resize(count);
    plan_.resize(count);
    length_ = std::max(measures.scan.rim_length_mm, count > 0 ? station_.back() : 0.0);
  }
  [[nodiscard]] bool usable() const { return station_.size() >= 3; }
  [[nodiscard]] bool closed() const { return closed_; }
  [[nodiscard]] double length_mm() const { return length_; }

  [[nodiscard]] Vector2 at(double station_mm) const {
    double s = station_mm;
    if (closed_) s -= length_ * std::floor((s - station_.front()) / length_);
    const auto after = std::upper_bound(station_.begin(), station_.end(), s);
    if (after == station_.begin()) return plan_.front();
    const std::size_t i = static_cast<std::size_t>(after - station_.begin()) - 1;
    const bool last = i + 1 == station_.size();
    if (last && !closed_) return plan_.back();
    const double next_station = last ? station_.front() + length_ : station_[i + 1];
    const Vector2& next = last ? plan_.front() : plan_[i + 1];
    const double span = next_station - station_[i];
    return span > 0.0 ? Vector2(plan_[i] + (next - plan_[i]) * ((s - station_[i]) / span)) : plan_[i];
  }

  [[nodiscard]] Vector2 inwards(double station_mm) const {
    const Vector2 chord = at(station_mm + tangent_reach_mm) - at(station_mm - tangent_reach_mm);
    if (chord.norm() < 1e-9) return Vector2::Zero();
    return Vector2(-chord.y(), chord.x()).normalized();  // the body lies on the left
  }

 private:
  std::vector<double> station_;
  std::vector<Vector2> plan_;
  bool closed_;
  double length_ = 0.0;
};

// Where the bevel's edges lie, by station, held constant beyond the ends.
double interpolated(const std::vector<std::pair<double, double>>& table, double station_mm) {
  if (table.empty()) return 0.0;
  const auto after = std::lower_bound(table.begin(), table.end(), std::pair{station_mm, -1e300});
  if (after == table.begin()) return table.front().second;
  if (after == table.end()) return table.back().second;
  const auto before = std::prev(after);
  const double share = (station_mm - before->first) / (after->first - before->first);
  return before->second + share * (after->second - before->second);
}

struct Run {
  double from_mm = 0.0, to_mm = 0.0, unseen_mm = 0.0;
  bool closed = false;
};

bool bevel_between(const Measures& measures, double from_mm, double to_mm) {
  return std::any_of(measures.bevel.stations.begin(), measures.bevel.stations.end(), [&](const BevelStation& station) {
    return station.station_mm > from_mm && station.station_mm < to_mm;
  });
}

// Whether the strip goes on across a stretch without stations: the bevel ends a top-side strip and carries the others.
bool goes_on(ChannelCorner corner, const Measures& measures, double from_mm, double to_mm,
             const CutListSettings& settings) {
  if (to_mm - from_mm <= settings.join_within_mm) return true;
  if (to_mm - from_mm > settings.longest_unseen_mm) return false;
  return bevel_between(measures, from_mm, to_mm) == (corner != ChannelCorner::top_side);
}

std::vector<Run> runs_of(const ChannelMeasures& channel, ChannelCorner corner, const Measures& measures,
                         const MeasuredRim& rim, const CutListSettings& settings) {
  std::vector<Run> runs;
  const auto unseen = [&](double gap_mm) { return gap_mm > settings.join_within_mm ? gap_mm : 0.0; };
  for (const ChannelStation& station : channel.stations) {
    if (runs.empty() || !goes_on(corner, measures, runs.back().to_mm, station.station_mm, settings)) {
      runs.push_back({station.station_mm, station.station_mm});
    }
    runs.back().unseen_mm += unseen(station.station_mm - runs.back().to_mm);
    runs.back().to_mm = station.station_mm;
  }
  if (!rim.closed() || runs.empty()) return runs;
  // Past the end of a closed rim comes its start.
  const double gap_mm = runs.front().from_mm + rim.length_mm() - runs.back().to_mm;
  const bool crossed =
      corner == ChannelCorner::top_side && (bevel_between(measures, runs.back().to_mm, rim.length_mm() + 1.0) ||
                                            bevel_between(measures, -1.0, runs.front().from_mm));
  if (gap_mm > settings.join_within_mm && (crossed || gap_mm > settings.longest_unseen_mm)) return runs;
  if (runs.size() == 1) {
    runs.front().closed = true;
    runs.front().to_mm = runs.front().from_mm + rim.length_mm();
  } else {
    runs.back().to_mm = runs.front().to_mm + rim.length_mm();
    runs.back().unseen_mm += runs.front().unseen_mm;
    runs.erase(runs.begin());
  }
  runs.back().unseen_mm += unseen(gap_mm);
  return runs;
}

// Length of the line that lies inwards_mm(s) inside the rim and down_mm(s) below it.
template <class Inwards, class Down>
double length_along(const MeasuredRim& rim, const Run& run, const Inwards& inwards_mm, const Down& down_mm) {
  const double span = run.to_mm - run.from_mm;
  const auto pieces = static_cast<std::size_t>(std::max(1.0, std::ceil(span / sample_step_mm)));
  double length = 0.0;
  Vector3 before = Vector3::Zero();
  for (std::size_t i = 0; i <= pieces; ++i) {
    const double s = run.from_mm + span * static_cast<double>(i) / static_cast<double>(pieces);
    const Vector2 plan = rim.at(s) + inwards_mm(s) * rim.inwards(s);
    const Vector3 here(plan.x(), plan.y(), -down_mm(s));
    if (i > 0) length += (here - before).norm();
    before = here;
  }
  return length;
}

}  // namespace

CutList cut_list(const Plan& plan, const Measures& measures, const Scale& scale, const CutListSettings& settings) {
  CutList list;
  const MeasuredRim rim(measures);
  if (!rim.usable()) {
    list.notes.emplace_back("the rim was not measured as a curve, so no strip lengths can be given");
    return list;
  }
  std::vector<std::pair<double, double>> reach, drop;
  for (const BevelStation& station : measures.bevel.stations) {
    if (station.top_reach_mm.is_measured()) reach.emplace_back(station.station_mm, station.top_reach_mm.value);
    if (station.drop_mm.is_measured()) drop.emplace_back(station.station_mm, station.drop_mm.value);
  }
  for (const ChannelMeasures& channel : measures.channels) {
    if (channel.planned_channel >= plan.channels.size()) continue;
    const PlannedChannel& planned = plan.channels[channel.planned_channel];
    if (channel.stations.empty()) list.notes.push_back("'" + planned.name + "' was not found, so it is not listed");
    for (std::size_t strip = 0; strip < planned.strips.size(); ++strip) {
      const double middle_mm =
          stack_width_mm(planned, strip) - planned.glue_mm - 0.5 * planned.strips[strip].thickness_mm;
      for (const Run& run : runs_of(channel, planned.corner, measures, rim, settings)) {
        CutPiece piece;
        piece.planned_channel = channel.planned_channel;
        piece.strip = strip;
        piece.from_mm = run.from_mm;
        piece.to_mm = rim.closed() && run.to_mm > rim.length_mm() ? run.to_mm - rim.length_mm() : run.to_mm;
        piece.closed = run.closed;
        const bool along_edge = planned.corner == ChannelCorner::top_bevel;
        const auto wrapped = [&](double s) { return rim.closed() && s > rim.length_mm() ? s - rim.length_mm() : s; };
        const auto inwards_mm = [&](double s) {
          if (planned.corner == ChannelCorner::side_bevel) return 0.0;
          return middle_mm + (along_edge ? interpolated(reach, wrapped(s)) : 0.0);
        };
        const auto down_mm = [&](double s) {
          return planned.corner == ChannelCorner::side_bevel ? interpolated(drop, wrapped(s)) + middle_mm : 0.0;
        };
        piece.length_mm.value = length_along(rim, run, inwards_mm, down_mm);
        piece.length_mm.u(UncertaintySource::scale) = piece.length_mm.value * scale.relative_standard_u;
        // Where a run ends is known to a station: a rectangular distribution of that width at each end.
        const double station_step_mm = channel.stations.size() > 1
                                           ? std::abs(channel.stations[1].station_mm - channel.stations[0].station_mm)
                                           : 2.0;
        piece.length_mm.u(UncertaintySource::face_form) = run.closed ? 0.0 : station_step_mm / std::sqrt(6.0);
        piece.cut_mm = std::ceil(piece.length_mm.value + piece.length_mm.u95() + 2.0 * settings.allowance_mm);
        if (run.unseen_mm > 0.0) {
          piece.note = station_words(run.unseen_mm, plan.units) + " of it was not seen";
        }
        list.pieces.push_back(std::move(piece));
      }
    }
  }
  return list;
}

}  // namespace rimwright
