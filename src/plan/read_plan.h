// Reads the plan file. Strict: unknown, missing or repeated keys, wrong types and impossible sizes are refused with
// line, column and the nearest known key; nothing is guessed.
//
// Required: instrument, units, and at least one of bevel and channels. A bevel requires angle, drop, straightness and
// waviness; edge_fairness is optional. A channel requires name, corner, strips, glue, proud and tolerance.
//
// Optional, beside the keys every plan knows:
//   top: {thickness: 2.8}              how thick the top is, for the checks of plan_warnings
//   router:                            what the shop has, for the set-up sheet; diameters, each list optional
//     cutters:   [6.0, 9.5]
//     bearings:  [4.0, 5.0, 6.35]
//     followers: [11.1, 16.0]
//   later: true                        on a strip: glued in later, its slot must stay open
//
// Limits: file 64 KiB, 20 channels, 12 strips a channel, 100 entries a router list; lengths 0 to 2000 mm, a stack at
// most 50 mm wide (wider than any top's rim can carry).
#pragma once

#include <string>
#include <string_view>

#include "core/refusal.h"
#include "plan/plan.h"

namespace rimwright {

[[nodiscard]] Outcome<Plan> read_plan(const std::string& path);

// The same from text; `name` stands for the file in messages.
[[nodiscard]] Outcome<Plan> read_plan_text(std::string_view text, std::string_view name);

}  // namespace rimwright
