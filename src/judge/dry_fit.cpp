#include "judge/dry_fit.h"

#include <algorithm>
#include <cmath>

#include "judge/mend.h"
#include "plan/derive_steps.h"

namespace rimwright {
namespace {

// offset + sign * m, with the same uncertainty.
Measured shifted(double offset, double sign, const Measured& m) {
  Measured result = m;
  if (m.is_measured()) result.value = offset + sign * m.value;
  return result;
}

// One-sided: the whole interval below the limit passes, the whole above fails (ISO 14253-1 read both ways).
Verdict at_most(const Measured& m, double limit) {
  if (!m.is_measured()) return Verdict::undecided;
  if (m.value + m.u95() <= limit) return Verdict::pass;
  return m.value - m.u95() > limit ? Verdict::fail : Verdict::undecided;
}

Verdict at_least(const Measured& m, double limit) { return at_most(shifted(0.0, -1.0, m), -limit); }

// The smallest of several, so long as all are measured: a wall that was not seen might be the nearest.
Measured smallest(const std::vector<Measured>& all) {
  if (all.empty()) return {};
  for (const Measured& m : all) {
    if (!m.is_measured()) return m;
  }
  return *std::min_element(all.begin(), all.end(),
                           [](const Measured& a, const Measured& b) { return a.value < b.value; });
}

SlotFit fit_slot(const PlannedChannel& planned, const ChannelStation& station, std::size_t strip) {
  SlotFit slot;
  slot.strip = strip;
  slot.needed_mm = planned.strips[strip].thickness_mm + planned.glue_mm;
  std::vector<Measured> rooms;
  Measured depth;
  for (std::size_t k = 0; k < planned.steps.size(); ++k) {
    const PlannedStep& step = planned.steps[k];
    if (strip > step.last_strip) continue;
    // All strips up to this wall but the one that comes later.
    const double others_mm = stack_width_mm(planned, step.last_strip) - slot.needed_mm;
    rooms.push_back(shifted(-others_mm, 1.0, station.steps[k].width_mm));
    if (strip >= step.first_strip) depth = station.steps[k].depth_mm;
  }
  slot.width_left_mm = smallest(rooms);
  slot.depth_mm = depth;
  slot.open = at_least(slot.width_left_mm, slot.needed_mm + planned.width_tolerance_mm.lower);
  return slot;
}

StationFit fit_station(const PlannedChannel& planned, const ChannelStation& station) {
  StationFit fit;
  fit.station_mm = station.station_mm;
  std::vector<Measured> gaps;
  for (std::size_t k = 0; k < planned.steps.size(); ++k) {
    const PlannedStep& step = planned.steps[k];
    const StepMeasures& measured = station.steps[k];
    const double seated_mm = planned.strips[step.first_strip].height_mm + planned.glue_mm;
    StepFit step_fit;
    step_fit.proud_mm = shifted(seated_mm, -1.0, measured.depth_mm);
    step_fit.gap_under_mm = shifted(planned.proud_mm - seated_mm, 1.0, measured.depth_mm);
    step_fit.gap_behind_mm = shifted(-stack_width_mm(planned, step.last_strip), 1.0, measured.width_mm);
    gaps.push_back(step_fit.gap_behind_mm);
    fit.steps.push_back(std::move(step_fit));
  }
  // The wall that comes first is the one with the smallest gap behind.
  fit.stands_out_mm = shifted(0.0, -1.0, smallest(gaps));
  fit.goes_in = at_most(fit.stands_out_mm, std::max(planned.proud_mm, -planned.width_tolerance_mm.lower));
  for (std::size_t i = 0; i < planned.strips.size(); ++i) {
    if (planned.strips[i].later) fit.slots.push_back(fit_slot(planned, station, i));
  }
  return fit;
}

// Fail where anything fails; pass only where everything that was measured passes and something was.
class Overall {
 public:
  void add(Verdict verdict, bool measured) {
    if (!measured) return;
    any_ = true;
    fail_ = fail_ || verdict == Verdict::fail;
    undecided_ = undecided_ || verdict == Verdict::undecided;
  }
  [[nodiscard]] Verdict verdict() const {
    if (fail_) return Verdict::fail;
    return !any_ || undecided_ ? Verdict::undecided : Verdict::pass;
  }

 private:
  bool any_ = false, fail_ = false, undecided_ = false;
};

std::string summarise(const PlannedChannel& planned, const DryFit& fit) {
  if (fit.stations.empty()) return "'" + planned.name + "' was not found, so nothing can be laid in";
  const auto mends = static_cast<std::size_t>(std::count_if(fit.mends.begin(), fit.mends.end(), [](const Mend& mend) {
    return mend.kind != MendKind::leave && mend.kind != MendKind::look_again;
  }));
  std::string text = "'" + planned.name + "': the stack ";
  switch (fit.goes_in) {
    case Verdict::pass: text += "goes in"; break;
    case Verdict::fail: text += "does not go in everywhere"; break;
    case Verdict::undecided: text += "may or may not go in; the scan cannot tell"; break;
  }
  if (mends > 0) text += ", " + std::to_string(mends) + (mends == 1 ? " stretch to mend" : " stretches to mend");
  if (fit.slots_open == Verdict::fail) text += ", and a slot for a later strip is too tight";
  return text;
}

}  // namespace

DryFit dry_fit(const PlannedChannel& planned, const ChannelMeasures& measured, const DryFitSettings& settings) {
  DryFit fit;
  fit.planned_channel = measured.planned_channel;
  Overall goes_in, slots;
  bool any_slot = false;
  for (const ChannelStation& station : measured.stations) {
    if (station.steps.size() != planned.steps.size()) continue;  // not of this plan
    fit.stations.push_back(fit_station(planned, station));
    const StationFit& added = fit.stations.back();
    goes_in.add(added.goes_in, added.stands_out_mm.is_measured());
    for (const SlotFit& slot : added.slots) slots.add(slot.open, slot.width_left_mm.is_measured());
  }
  for (const Strip& strip : planned.strips) any_slot = any_slot || strip.later;
  fit.goes_in = goes_in.verdict();
  fit.slots_open = any_slot ? slots.verdict() : Verdict::pass;
  fit.mends = cheapest_mends(planned, fit.stations, settings);
  fit.summary = summarise(planned, fit);
  return fit;
}

}  // namespace rimwright
