#include "judge/ready_to_glue.h"

#include <algorithm>
#include <cstdio>
#include <set>
#include <vector>

#include "judge/findings.h"
#include "judge/words.h"

namespace rimwright {

std::string_view name_of(GlueCheckKind kind) {
  switch (kind) {
    case GlueCheckKind::passes: return "passes";
    case GlueCheckKind::mend_first: return "mend first";
    case GlueCheckKind::undecided: return "undecided";
    case GlueCheckKind::not_measured: return "not measured";
    case GlueCheckKind::seal_first: return "seal first";
    case GlueCheckKind::caution: return "caution";
  }
  return "unknown";
}

namespace {

class Checklist {
 public:
  void add(GlueCheckKind kind, const std::string& feature, const std::string& text) {
    check_.items.push_back({kind, feature, text});
    noted_.insert(feature);
  }
  [[nodiscard]] bool noted(const std::string& feature) const { return noted_.count(feature) > 0; }

  GlueCheck finish() {
    std::stable_sort(check_.items.begin(), check_.items.end(),
                     [](const GlueCheckItem& a, const GlueCheckItem& b) { return a.kind < b.kind; });
    const auto any = [&](GlueCheckKind kind) {
      return std::any_of(check_.items.begin(), check_.items.end(), [&](const auto& item) { return item.kind == kind; });
    };
    if (any(GlueCheckKind::mend_first)) {
      check_.ready = Verdict::fail;
    } else if (any(GlueCheckKind::undecided) || any(GlueCheckKind::not_measured)) {
      check_.ready = Verdict::undecided;
    } else {
      check_.ready = Verdict::pass;
    }
    return std::move(check_);
  }

 private:
  GlueCheck check_;
  std::set<std::string> noted_;
};

void add_findings(const Inspection& inspection, Checklist& list) {
  for (const Finding& finding : inspection.findings) {
    const GlueCheckKind kind = finding.verdict == Verdict::fail ? GlueCheckKind::mend_first : GlueCheckKind::undecided;
    std::string text = finding.quantity + " " + stretch_words(finding.from_mm, finding.to_mm, inspection.plan.units);
    if (!finding.advice.empty()) text += ": " + finding.advice;
    list.add(kind, finding.feature, text);
  }
}

void add_dry_fit(const PlannedChannel& planned, const DryFit& fit, LengthUnit units, Checklist& list) {
  for (const Mend& mend : fit.mends) {
    // Depth and width out of tolerance are findings already; the dry fit adds what the strips need.
    if (mend.kind == MendKind::leave || mend.kind == MendKind::look_again) continue;
    list.add(GlueCheckKind::mend_first, planned.name,
             stretch_words(mend.from_mm, mend.to_mm, units) + ": " + mend.sentence);
  }
  if (fit.slots_open == Verdict::fail) {
    list.add(GlueCheckKind::mend_first, planned.name,
             "the slot for a later strip is too tight; widen it before glue-up");
  } else if (fit.slots_open == Verdict::undecided) {
    list.add(GlueCheckKind::undecided, planned.name,
             "the scan cannot tell whether the later strip will go in; try the strip itself in its slot");
  }
  if (fit.goes_in == Verdict::undecided && !fit.stations.empty() && !list.noted(planned.name)) {
    list.add(GlueCheckKind::undecided, planned.name, "the scan cannot tell whether the stack goes in; lay it in dry");
  }
}

// What the plan asks for and the scan never showed.
void add_unmeasured(const Inspection& inspection, Checklist& list) {
  const Measures& measures = inspection.measures;
  if (inspection.plan.bevel && measures.bevel.stations.empty()) {
    list.add(GlueCheckKind::not_measured, "bevel", "no bevel was measured; look at it yourself");
  }
  if (inspection.plan.block && measures.block.empty()) {
    list.add(GlueCheckKind::not_measured, "block", "the wood left on the block was not measured");
  }
  for (std::size_t i = 0; i < inspection.plan.channels.size(); ++i) {
    const bool measured = std::any_of(measures.channels.begin(), measures.channels.end(), [&](const auto& channel) {
      return channel.planned_channel == i && !channel.stations.empty();
    });
    if (!measured) {
      list.add(GlueCheckKind::not_measured, inspection.plan.channels[i].name, "this channel was not found in the scan");
    }
  }
  // One line for all the stretches of a feature that share a reason, or a long rim would have dozens.
  struct Unseen {
    std::string feature, what, stretches;
  };
  std::vector<Unseen> all;
  for (const Gap& gap : measures.gaps) {
    const std::string stretch = stretch_words(gap.from_mm, gap.to_mm, inspection.plan.units);
    const auto same = std::find_if(all.begin(), all.end(), [&](const Unseen& unseen) {
      return unseen.feature == gap.feature && unseen.what == gap.why.what;
    });
    if (same == all.end()) {
      all.push_back({gap.feature, gap.why.what, stretch});
    } else {
      same->stretches += ", " + stretch;
    }
  }
  for (const Unseen& unseen : all) {
    list.add(GlueCheckKind::not_measured, planned_name_of(inspection.plan, unseen.feature),
             unseen.stretches + ": " + unseen.what + "; look there yourself");
  }
}

// Common practice, no source: thin adhesives wick along end grain and stain or starve the joint.
void add_standing_advice(const Plan& plan, Checklist& list) {
  const auto has = [&](ChannelCorner corner) {
    return std::any_of(plan.channels.begin(), plan.channels.end(),
                       [&](const PlannedChannel& channel) { return channel.corner == corner; });
  };
  if (has(ChannelCorner::top_side) || has(ChannelCorner::top_bevel)) {
    list.add(
        GlueCheckKind::seal_first, "",
        "where the rim runs across the top's grain (towards neck and tail) the ledge shows end grain; seal it with a "
        "thin coat of shellac before a thin, wicking adhesive; the scan does not show grain");
  }
  if (plan.bevel) {
    list.add(
        GlueCheckKind::seal_first, "bevel",
        "the bevel cuts the block and the top across their fibres; seal that end grain too before a thin adhesive");
  }
  list.add(GlueCheckKind::caution, "",
           "wood moves with the air: this holds for the humidity of the day of the scan; glue up in the same");
  list.add(GlueCheckKind::caution, "",
           "adhesive and solvent fumes and fine dust harm: ventilate, wear what the maker's safety sheet asks for, and "
           "follow local codes and licensed practice");
  list.add(GlueCheckKind::caution, "",
           "lay the strips in dry and clamp up once without glue; the numbers do not replace it");
}

}  // namespace

GlueCheck ready_to_glue(const Inspection& inspection, const std::vector<DryFit>& fits) {
  Checklist list;
  add_findings(inspection, list);
  for (const DryFit& fit : fits) {
    if (fit.planned_channel < inspection.plan.channels.size()) {
      add_dry_fit(inspection.plan.channels[fit.planned_channel], fit, inspection.plan.units, list);
    }
  }
  add_unmeasured(inspection, list);
  const Measures& measures = inspection.measures;
  if (inspection.plan.bevel && !measures.bevel.stations.empty() && !list.noted("bevel")) {
    list.add(GlueCheckKind::passes, "bevel", "every measured quantity lies within the plan");
  }
  if (inspection.plan.block && !measures.block.empty() && !list.noted("block")) {
    list.add(GlueCheckKind::passes, "block", "enough wood is left");
  }
  for (const DryFit& fit : fits) {
    if (fit.planned_channel >= inspection.plan.channels.size() || fit.stations.empty()) continue;
    const std::string& name = inspection.plan.channels[fit.planned_channel].name;
    if (!list.noted(name)) list.add(GlueCheckKind::passes, name, "the strips go in and sit as planned");
  }
  add_standing_advice(inspection.plan, list);
  return list.finish();
}

}  // namespace rimwright
