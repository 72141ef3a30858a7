#include "judge/finding_progress.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <limits>
#include <optional>

namespace rimwright {

std::string_view name_of(Progress progress) {
  switch (progress) {
    case Progress::gone: return "gone";
    case Progress::smaller: return "smaller";
    case Progress::unchanged: return "unchanged";
    case Progress::worse: return "worse";
    case Progress::new_here: return "new";
    case Progress::not_seen_now: return "not seen now";
  }
  return "unknown";
}

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double near_mm = 10.0;  // findings of one quantity nearer than this along the rim are one place

bool same_place(const Finding& earlier, const Finding& later, double shift_mm) {
  return earlier.feature == later.feature && earlier.quantity == later.quantity &&
         earlier.from_mm <= later.to_mm + shift_mm + near_mm && later.from_mm + shift_mm <= earlier.to_mm + near_mm;
}

// +1 when too much is the fault, -1 when too little. A finding across its limit leans to neither; its own limit
// decides.
double fault_side(const Finding& finding) { return finding.worst.value >= finding.worst.limit ? 1.0 : -1.0; }

double beyond(const Finding& finding, double side) { return side * (finding.worst.value - finding.worst.limit); }

const ReportedTable* table_of(const Pass& pass, const std::string& feature) {
  const auto found = std::find_if(pass.tables.begin(), pass.tables.end(),
                                  [&](const ReportedTable& table) { return table.feature == feature; });
  return found == pass.tables.end() ? nullptr : &*found;
}

// The measured values of one quantity within a stretch.
std::vector<Reported> measured_in(const Pass& pass, const std::string& feature, const std::string& quantity,
                                  double from_mm, double to_mm) {
  std::vector<Reported> values;
  const ReportedTable* table = table_of(pass, feature);
  if (table == nullptr) return values;
  const auto column = std::find(table->quantities.begin(), table->quantities.end(), quantity);
  if (column == table->quantities.end()) return values;
  const auto index = static_cast<std::size_t>(column - table->quantities.begin());
  for (const ReportedStation& station : table->stations) {
    if (station.station_mm < from_mm || station.station_mm > to_mm || index >= station.quantities.size()) continue;
    if (station.quantities[index].is_measured()) values.push_back(station.quantities[index]);
  }
  return values;
}

// Quantities of the whole bevel are measured or not as a whole; stations tell of the others.
bool was_measured(const Pass& pass, const Finding& finding, double from_mm, double to_mm) {
  if (finding.quantity == "waviness") return pass.waviness_mm.is_measured();
  if (finding.quantity == "lower edge fairness") return pass.lower_edge_fairness_mm.is_measured();
  if (finding.quantity == "upper edge fairness") return pass.upper_edge_fairness_mm.is_measured();
  const ReportedTable* table = table_of(pass, finding.feature);
  if (table == nullptr) return false;
  if (std::find(table->quantities.begin(), table->quantities.end(), finding.quantity) != table->quantities.end()) {
    return !measured_in(pass, finding.feature, finding.quantity, from_mm, to_mm).empty();
  }
  return std::any_of(table->stations.begin(), table->stations.end(), [&](const ReportedStation& station) {
    return station.station_mm >= from_mm && station.station_mm <= to_mm;
  });
}

// How far outside its limit the quantity was in the other pass, where that pass had no finding: the worst station.
std::optional<Reported> beyond_in(const Pass& pass, const Finding& finding, double from_mm, double to_mm, double side) {
  std::optional<Reported> worst;
  for (const Reported& value : measured_in(pass, finding.feature, finding.quantity, from_mm, to_mm)) {
    const double by = side * (value.value - finding.worst.limit);
    if (!worst || by > worst->value) worst = Reported{by, value.u95};
  }
  return worst;
}

std::string number(double value) {
  constexpr double shows_as_zero = 0.005;
  if (std::abs(value) < shows_as_zero) value = 0.0;  // never "-0.00"
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%.2f", value);
  return text.data();
}

std::string unit_of(const Finding& finding) { return finding.quantity == "angle" ? " deg" : " mm"; }

// NaN uncertainties count as none known; the difference then is only as good as the other's.
double known(double u95) { return std::isfinite(u95) ? u95 : 0.0; }

std::string size_of(double beyond_limit, const Finding& finding) {
  return finding.verdict == Verdict::fail ? number(beyond_limit) + unit_of(finding) + " beyond its limit" : "undecided";
}

void describe(FindingProgress& progress) {
  const Finding& finding = progress.finding;
  const bool presence = finding.quantity == "presence";  // what a scan did not show, as a finding of its own
  std::string& text = progress.sentence;
  switch (progress.progress) {
    case Progress::gone: text = presence ? "measured now" : "gone; it was " + size_of(progress.was_mm, finding); break;
    case Progress::smaller:
    case Progress::worse:
      text = std::string(name_of(progress.progress)) + ": " + number(progress.was_mm) + " -> " +
             number(progress.is_mm) + unit_of(finding) + " beyond its limit (change known to " +
             number(progress.u95_mm) + ")";
      break;
    case Progress::unchanged:
      text = presence
                 ? "still not measured"
                 : "no change that both scans can tell (known to " + number(progress.u95_mm) + unit_of(finding) + ")";
      break;
    case Progress::new_here:
      text = presence ? "not measured now"
                      : "new: " + size_of(progress.is_mm, finding) +
                            (std::isnan(progress.was_mm) ? "; the earlier scan does not say how it was"
                                                         : ", was within before");
      break;
    case Progress::not_seen_now: text = "the later scan does not show this place"; break;
  }
}

FindingProgress later_progress(const Pass& before, const Finding& later, const std::vector<Finding>& earlier_findings,
                               double shift_mm) {
  FindingProgress progress;
  progress.finding = later;
  const Finding* earlier = nullptr;
  for (const Finding& candidate : earlier_findings) {
    if (!same_place(candidate, later, shift_mm)) continue;
    if (earlier == nullptr || beyond(candidate, fault_side(candidate)) > beyond(*earlier, fault_side(*earlier))) {
      earlier = &candidate;
    }
  }
  if (earlier != nullptr) {
    // A failure knows its side; a finding across its limit takes the side of its counterpart at the same limit.
    const auto side_of = [](const Finding& finding, const Finding& counterpart) {
      const bool borrow = finding.verdict != Verdict::fail && finding.worst.limit == counterpart.worst.limit &&
                          counterpart.verdict == Verdict::fail;
      return fault_side(borrow ? counterpart : finding);
    };
    const double later_side = side_of(later, *earlier);
    const bool both_unsure = later.verdict != Verdict::fail && earlier->verdict != Verdict::fail &&
                             later.worst.limit == earlier->worst.limit;
    progress.is_mm = beyond(later, later_side);
    progress.was_mm = beyond(*earlier, both_unsure ? later_side : side_of(*earlier, later));
    progress.u95_mm = std::hypot(known(earlier->worst.u95), known(later.worst.u95));
  } else {
    const double side = fault_side(later);
    progress.is_mm = beyond(later, side);
    const auto was = beyond_in(before, later, later.from_mm + shift_mm, later.to_mm + shift_mm, side);
    progress.was_mm = was ? was->value : nan;
    progress.u95_mm = std::hypot(known(was ? was->u95 : nan), known(later.worst.u95));
  }
  const double change = progress.is_mm - progress.was_mm;
  if (earlier == nullptr) {
    // Without an earlier value nothing says that it is not new.
    progress.progress = std::isnan(change) || change > progress.u95_mm ? Progress::new_here : Progress::unchanged;
  } else if (change > progress.u95_mm) {
    progress.progress = Progress::worse;
  } else if (change < -progress.u95_mm) {
    progress.progress = Progress::smaller;
  }
  describe(progress);
  return progress;
}

}  // namespace

std::vector<FindingProgress> finding_progress(const Pass& before, const Pass& after, double station_shift_mm) {
  std::vector<FindingProgress> all;
  for (const Finding& later : after.findings) {
    all.push_back(later_progress(before, later, before.findings, station_shift_mm));
  }
  for (const Finding& earlier : before.findings) {
    const bool still = std::any_of(after.findings.begin(), after.findings.end(),
                                   [&](const Finding& later) { return same_place(earlier, later, station_shift_mm); });
    if (still) continue;
    FindingProgress progress;
    progress.finding = earlier;
    progress.was_mm = beyond(earlier, fault_side(earlier));
    progress.is_mm = nan;
    const bool seen =
        was_measured(after, earlier, earlier.from_mm - station_shift_mm - 1.0, earlier.to_mm - station_shift_mm + 1.0);
    progress.progress = seen ? Progress::gone : Progress::not_seen_now;
    describe(progress);
    all.push_back(std::move(progress));
  }
  return all;
}

}  // namespace rimwright
