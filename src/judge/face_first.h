// A bevel face out of straight comes first: what is measured from it cannot be settled before it is put right.
#pragma once

#include "judge/inspection.h"

namespace rimwright {

// Whether an undecided finding hangs on a piece of bevel face that fails for being out of straight: a ledge's width or
// the angle along most of it, the waviness anywhere along it.
[[nodiscard]] bool waits_for_face(const Finding& finding, const Finding& face);

// Where it does, says so as advice. The width of a ledge at the bevel's edge is measured from the corner of that face:
// one that fails is undecided too. True if the finding was settled so.
bool settle_face_first(const Plan& plan, Finding& finding, const Finding& face);

}  // namespace rimwright
