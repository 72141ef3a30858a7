#include "judge/face_first.h"

#include <algorithm>

#include "judge/words.h"

namespace rimwright {

namespace {

bool is_width_from_bevel(const Plan& plan, const Finding& finding) {
  return std::any_of(plan.channels.begin(), plan.channels.end(), [&](const PlannedChannel& channel) {
    return channel.name == finding.feature && channel.corner != ChannelCorner::top_side &&
           finding.quantity.find("width") != std::string::npos;
  });
}

}  // namespace

bool waits_for_face(const Finding& finding, const Finding& face) {
  if (face.feature != "bevel" || face.quantity != "straightness" || face.verdict != Verdict::fail) return false;
  if (finding.verdict != Verdict::undecided) return false;
  const double shared = std::min(finding.to_mm, face.to_mm) - std::max(finding.from_mm, face.from_mm);
  const bool is_of_bevel = finding.feature == "bevel";
  if (is_of_bevel && finding.quantity == "waviness") return shared >= 0.0;
  const bool hangs_on_it =
      is_of_bevel ? finding.quantity == "angle" : finding.quantity.find("width") != std::string::npos;
  return hangs_on_it && shared >= 0.5 * (finding.to_mm - finding.from_mm);
}

bool settle_face_first(const Plan& plan, Finding& finding, const Finding& face) {
  const bool is_width = is_width_from_bevel(plan, finding);
  if (!is_width && finding.feature != "bevel") return false;
  Finding open = finding;
  if (is_width) open.verdict = Verdict::undecided;
  if (!waits_for_face(open, face)) return false;
  finding.verdict = Verdict::undecided;
  finding.advice = (is_width ? "width here is measured from" : finding.quantity + " hangs on") +
                   " the bevel face, which is " + length_words(face.worst.value, plan.units) + " out of straight " +
                   stretch_words(face.from_mm, face.to_mm, plan.units) + ": put the face right first, then scan again";
  return true;
}

}  // namespace rimwright
