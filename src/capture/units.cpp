#include "capture/units.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <string>
#include <vector>

#include "capture/robust_box.h"

namespace rimwright {

namespace {

constexpr std::array<FileUnits, 4> judged_units = {FileUnits::mm, FileUnits::cm, FileUnits::m, FileUnits::inch};
constexpr double trimmed_share = 0.005;
constexpr std::size_t scaling_chunk = std::size_t{1} << 16;

std::string in_words(FileUnits units) {
  switch (units) {
    case FileUnits::mm: return "millimetres";
    case FileUnits::cm: return "centimetres";
    case FileUnits::m: return "metres";
    case FileUnits::inch: return "inches";
    case FileUnits::automatic: break;
  }
  return "units to be judged";
}

std::string short_number(double value) {
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%.3g", value);
  return text.data();
}

// Points a square unit of surface, as the middle point sees it: the count of its cell of a grid over the robust box.
// Zero when the points are too few to tell.
double points_per_square_unit(const Cloud& cloud, const RobustBox& box) {
  constexpr int cells_along = 64;
  constexpr std::size_t most_points = std::size_t{1} << 20;
  constexpr std::uint32_t least_in_cell = 4;
  const double cell = box.largest_extent() / cells_along;
  const std::size_t step = std::max<std::size_t>(1, cloud.size() / most_points);
  std::vector<std::uint32_t> counts(std::size_t{cells_along} * cells_along * cells_along, 0);
  std::uint64_t counted = 0;
  for (std::size_t i = 0; i < cloud.size(); i += step) {
    const Vector3 at = (Vector3(cloud.x[i], cloud.y[i], cloud.z[i]) - box.low) / cell;
    const bool inside = (at.array() >= 0.0).all() && (at.array() < double{cells_along}).all();
    if (!inside) continue;  // outside, or not finite
    const auto index = [&](int axis) { return static_cast<std::size_t>(at[axis]); };
    ++counts[(index(0) * cells_along + index(1)) * cells_along + index(2)];
    ++counted;
  }
  std::erase(counts, 0U);
  std::sort(counts.begin(), counts.end());
  std::uint64_t below = 0;
  for (const std::uint32_t count : counts) {
    below += count;
    if (2 * below >= counted) {
      return count < least_in_cell ? 0.0 : static_cast<double>(count) * static_cast<double>(step) / (cell * cell);
    }
  }
  return 0.0;
}

std::string listed(const std::vector<FileUnits>& units) {
  std::string text;
  for (std::size_t i = 0; i < units.size(); ++i) {
    if (i > 0) text += i + 1 == units.size() ? " or " : ", ";
    text += in_words(units[i]);
  }
  return text;
}

std::string flags(const std::vector<FileUnits>& units) {
  std::string text = "say which with ";
  for (std::size_t i = 0; i < units.size(); ++i) {
    if (i > 0) text += i + 1 == units.size() ? " or " : ", ";
    text += "--units " + std::string(name_of(units[i]));
  }
  return text;
}

Outcome<FileUnits> judge_units(const ScanFile& scan, const RobustBox& box, const UnitsSettings& settings) {
  const double extent = box.largest_extent();
  std::vector<FileUnits> fitting;
  for (const FileUnits units : judged_units) {
    const double extent_mm = extent * millimetres_per(units);
    if (extent_mm >= settings.least_extent_mm && extent_mm <= settings.most_extent_mm) fitting.push_back(units);
  }
  if (fitting.empty()) {
    return refuse(RefusalReason::units_doubtful,
                  "the scan is " + short_number(extent) + " across, which is no instrument's size in any unit (" +
                      short_number(settings.least_extent_mm) + " to " + short_number(settings.most_extent_mm) + " mm)",
                  "check the scan, and if it is right say its unit with --units mm, cm, m or inch");
  }
  if (fitting.size() == 1) return fitting.front();
  std::vector<FileUnits> plausible = fitting;
  if (scan.triangles.empty()) {
    const double per_square_unit = points_per_square_unit(scan.cloud, box);
    if (per_square_unit > 0.0) {
      std::erase_if(plausible, [&](FileUnits units) {
        const double density = per_square_unit / (millimetres_per(units) * millimetres_per(units));
        return density < settings.least_density || density > settings.most_density;
      });
    }
  }
  if (plausible.size() == 1) return plausible.front();
  if (plausible.empty()) plausible = fitting;
  return refuse(RefusalReason::units_doubtful,
                "the scan is " + short_number(extent) + " across, which may be " + listed(plausible), flags(plausible));
}

}  // namespace

std::string_view name_of(FileUnits units) {
  switch (units) {
    case FileUnits::automatic: return "auto";
    case FileUnits::mm: return "mm";
    case FileUnits::cm: return "cm";
    case FileUnits::m: return "m";
    case FileUnits::inch: return "inch";
  }
  return "unknown";
}

double millimetres_per(FileUnits units) {
  switch (units) {
    case FileUnits::cm: return 10.0;
    case FileUnits::m: return 1000.0;
    case FileUnits::inch: return 25.4;
    case FileUnits::automatic:
    case FileUnits::mm: break;
  }
  return 1.0;
}

Outcome<ScanFile> to_millimetres(ScanFile scan, const UnitsSettings& settings, Workers& workers) {
  const RobustBox box = robust_box(scan.cloud, trimmed_share);
  if (box.sampled == 0) {
    return refuse(RefusalReason::too_few_points, "the scan holds no point with finite coordinates",
                  "export the scan again");
  }
  if (scan.cloud.size() == 1) {
    return refuse(RefusalReason::too_few_points, "the scan holds one point", "give a scan that shows the rim");
  }
  if (!(box.largest_extent() > 0.0)) {
    return refuse(RefusalReason::shape_degenerate, "the points of the scan all lie at one place",
                  "give a scan that shows the rim");
  }
  FileUnits units = settings.units;
  if (units == FileUnits::automatic) {
    const auto judged = judge_units(scan, box, settings);
    if (!judged) return tl::unexpected(judged.error());
    units = *judged;
    scan.cloud.scale.source = "units judged as " + in_words(units) + " from the size of the scan (" +
                              short_number(box.largest_extent() * millimetres_per(units)) + " mm across)";
  } else {
    scan.cloud.scale.source = "units given as " + in_words(units);
  }
  scan.cloud.scale.factor = millimetres_per(units);
  scan.cloud.scale.relative_standard_u = settings.relative_standard_u;
  scan.cloud.capture_error.warp_mm = settings.warp_mm;
  scan.cloud.capture_error.warp_length_mm = settings.warp_length_mm;
  if (units == FileUnits::mm) return scan;

  scan.cloud.origin_mm *= scan.cloud.scale.factor;
  const auto factor = static_cast<float>(scan.cloud.scale.factor);
  for (auto* values : {&scan.cloud.x, &scan.cloud.y, &scan.cloud.z, &scan.cloud.sigma_mm}) {
    workers.for_chunks(values->size(), scaling_chunk, [&](std::size_t begin, std::size_t end, std::size_t) {
      for (std::size_t i = begin; i < end; ++i) (*values)[i] *= factor;
    });
  }
  return scan;
}

}  // namespace rimwright
