// The dry fit: the planned strips laid, on paper, into the measured channel, before any glue.
//
// For step k with measured width w and depth d, planned strips of height h on it, glue line g, and c the sum of
// thickness + g over all strips from the outside in to the last one on the step (formulas common practice, no source):
//   proud      = h + g - d      pressed down onto one glue line; negative = the strips sit under the face
//   gap under  = d - (h + g - planned proud)   held at the planned height; negative = they stand higher than planned
//   gap behind = w - c          the outermost strip held flush with the channel's second face; negative = they stand
//   out
// A channel cut exactly to plan gives proud = planned proud, gap under = gap behind = 0 everywhere.
// Strips are taken as planned; the uncertainty carried is that of the measured channel.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "judge/inspection.h"

namespace rimwright {

struct DryFitSettings {
  LengthUnit units = LengthUnit::mm;  // of the sentences: the plan's
  // More than this standing out is not levelled with a scraper but mended first, mm. Strips are commonly left 0.1 to
  // 0.3 proud and scraped level (common practice, no source); twice the usual remains an evening's work.
  double level_at_most_mm = 0.5;
  // Stretches closer than this are one mend, mm: two station steps and the width of a scraper's corner.
  double join_within_mm = 6.0;
  // A stretch shorter than this is a nick and not a mend, mm.
  double shortest_stretch_mm = 3.0;
  // A single strip may be made thinner or thicker by this share of its own thickness before the design shows it.
  double strip_change_share = 0.35;
  // A mend on the strips (made at the bench once) beats one on the wood when it serves this share of the channel.
  double strip_mend_share = 0.5;
};

// How the strips of one step sit. Null quantities carry their reason.
struct StepFit {
  Measured proud_mm;
  Measured gap_under_mm;
  Measured gap_behind_mm;
};

// The slot that must stay open for a strip marked `later`.
struct SlotFit {
  std::size_t strip = 0;   // index into PlannedChannel::strips
  Measured width_left_mm;  // for the strip and its glue line, once all the others are in
  double needed_mm = 0.0;  // its thickness + one glue line
  Measured depth_mm;       // of the slot's floor
  Verdict open = Verdict::undecided;
};

struct StationFit {
  double station_mm = 0.0;
  std::vector<StepFit> steps;  // as PlannedChannel::steps
  // Pushed against whichever wall comes first, the outermost strip stands out of the channel's second face by this;
  // negative = it stays inside. Null when a step's width is.
  Measured stands_out_mm;
  Verdict goes_in = Verdict::undecided;  // stands out no more than the plan's proud or width tolerance allows
  std::vector<SlotFit> slots;
};

enum class MendKind {
  leave,         // within what levelling takes off anyway
  rerun_deeper,  // lower the cutter
  pare_wall,     // take wood off the wall
  shim_under,    // veneer on the floor
  shim_behind,   // veneer on the wall
  thinner_line,  // plane one strip thinner
  thicker_line,  // make one strip thicker
  look_again,    // undecided: only a better scan tells
};
[[nodiscard]] std::string_view name_of(MendKind kind);

// The cheapest mend of one stretch and one step, with its number.
struct Mend {
  MendKind kind = MendKind::leave;
  std::size_t step = 0;  // index into PlannedChannel::steps
  double from_mm = 0.0, to_mm = 0.0;
  double amount_mm = 0.0;  // how much deeper, thicker, thinner; always positive
  double u95_mm = 0.0;     // of the amount
  std::string sentence;    // for the bench
};

struct DryFit {
  std::size_t planned_channel = 0;
  std::vector<StationFit> stations;
  Verdict goes_in = Verdict::undecided;     // fail when it fails anywhere; undecided when never measured
  Verdict slots_open = Verdict::undecided;  // pass when there are none
  std::vector<Mend> mends;                  // in order of station; empty when everything sits as planned
  std::string summary;                      // one sentence
};

[[nodiscard]] DryFit dry_fit(const PlannedChannel& planned, const ChannelMeasures& measured,
                             const DryFitSettings& settings = {});

}  // namespace rimwright
