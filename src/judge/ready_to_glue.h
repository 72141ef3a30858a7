// Ready to glue? A checklist before the pot is opened: what passes, what must be mended, what is undecided, what was
// never measured, end grain to seal, and cautions. Nothing here claims to be measured that was not.
#pragma once

#include <string>
#include <vector>

#include "judge/dry_fit.h"
#include "judge/inspection.h"

namespace rimwright {

enum class GlueCheckKind { passes, mend_first, undecided, not_measured, seal_first, caution };
[[nodiscard]] std::string_view name_of(GlueCheckKind kind);  // "passes", "mend first", ...

struct GlueCheckItem {
  GlueCheckKind kind = GlueCheckKind::not_measured;
  std::string feature;  // "bevel", "block", a channel's name, or "" for the whole job
  std::string text;     // one sentence
};

struct GlueCheck {
  // pass = nothing to mend and nothing undecided or unmeasured; fail = something to mend first.
  Verdict ready = Verdict::undecided;
  std::vector<GlueCheckItem> items;  // in the order of GlueCheckKind
};

// `fits`: one dry fit for each planned channel, in the plan's order (dry_fit).
[[nodiscard]] GlueCheck ready_to_glue(const Inspection& inspection, const std::vector<DryFit>& fits);

}  // namespace rimwright
