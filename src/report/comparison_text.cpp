#include <array>
#include <cmath>
#include <cstdarg>
#include <cstdio>

#include "core/safe_text.h"
#include "report/comparison_report.h"

namespace rimwright {
namespace {

[[gnu::format(printf, 1, 2)]] std::string line(const char* format, ...) {
  std::array<char, 1200> text{};
  va_list values;
  va_start(values, format);
  std::vsnprintf(text.data(), text.size(), format, values);
  va_end(values);
  return safe_text(text.data(), text.size()) + "\n";
}

const char* name_of_face(FaceKind kind) {
  switch (kind) {
    case FaceKind::side: return "side";
    case FaceKind::top: return "top";
    case FaceKind::bevel: return "bevel";
    case FaceKind::floor: return "channel floor";
    case FaceKind::wall: return "channel wall";
  }
  return "face";
}

std::string removal_lines(const PassComparison& comparison) {
  std::string text = line("%s", "What came off (mean over 10 mm of rim; +- is U95):");
  bool any = false;
  for (const RemovalStretch& stretch : comparison.stretches) {
    if (!stretch.came_off()) continue;
    const bool plain = stretch.kind == FaceKind::top || stretch.kind == FaceKind::side;
    constexpr double worth_telling_mm = 0.05;  // plain faces are the reference: only clear loss is told
    if (plain && stretch.removed_mm - stretch.u95_mm < worth_telling_mm) continue;
    any = true;
    text += line("  %-13s %5.0f to %4.0f mm   %6.2f +- %.2f mm, at most %.2f", name_of_face(stretch.kind),
                 stretch.from_mm, stretch.to_mm, stretch.removed_mm, stretch.u95_mm, stretch.most_removed_mm);
  }
  if (!any)
    text += line("  nothing that both scans can tell; a change below %.2f mm would not show", comparison.tell_mm);
  return text;
}

}  // namespace

std::string comparison_text(const Pass& before, const Pass& after, const PassComparison& comparison) {
  std::string text = line("%s", after.instrument.c_str());
  text += line("before  %s  %s  (%s)", before.folder.c_str(), before.measured_at.c_str(),
               std::string(name_of(before.verdict)).c_str());
  text += line("after   %s  %s  (%s)", after.folder.c_str(), after.measured_at.c_str(),
               std::string(name_of(after.verdict)).c_str());
  for (const std::string& note : comparison.notes) text += line("note: %s", note.c_str());
  text += "\n";
  if (comparison.alignment) {
    text += line("aligned on %zu patches of untouched top and side, which agree to %.3f mm",
                 comparison.alignment->patches, comparison.alignment->rms_mm);
    text += line("one cell of the map tells %.2f mm and more", comparison.tell_mm);
    text += removal_lines(comparison);
  } else {
    text += line("no map: %s", comparison.no_map_because.c_str());
  }
  text += "\n" + line("%s", "Findings:");
  if (comparison.progress.empty()) text += line("%s", "  none, before or after");
  for (const FindingProgress& progress : comparison.progress) {
    text += line("  %s %s, %.0f to %.0f mm: %s", progress.finding.feature.c_str(), progress.finding.quantity.c_str(),
                 progress.finding.from_mm, progress.finding.to_mm, progress.sentence.c_str());
  }
  text += "\n";
  if (comparison.passes_left) {
    const PassesLeft& left = *comparison.passes_left;
    text += line("%.2f mm are left at the fullest places; the last pass took %.2f mm off where it worked: %s",
                 left.left_mm, left.last_pass_mm,
                 left.passes == 0 ? "nothing worth another pass"
                                  : ("about " + std::to_string(left.passes) + " more like it").c_str());
  } else if (!comparison.passes_left_note.empty()) {
    text += line("passes left: %s", comparison.passes_left_note.c_str());
  }
  return text;
}

}  // namespace rimwright
