// The unit of a scan file: told, or judged from the size of what it shows; and the points brought to millimetres.
//
// Judging: an instrument body, or a piece of its rim long enough to be measured, is 60 to 1500 mm in its largest
// extent (strays aside). Where several units fit, those remain in which a cloud holds 0.6 to 400 points a square
// millimetre (not asked of meshes, whose vertices may lie anywhere). Where exactly one unit is left it is taken and
// the report says so; else the scan is refused with the flag to give: a wrong unit would be a wrong cutter.
#pragma once

#include <string_view>

#include "capture/scan_file.h"
#include "core/parallel.h"
#include "core/refusal.h"

namespace rimwright {

enum class FileUnits { automatic, mm, cm, m, inch };
[[nodiscard]] std::string_view name_of(FileUnits units);  // as on the command line: "auto", "mm" ...
[[nodiscard]] double millimetres_per(FileUnits units);    // 1 for automatic

struct UnitsSettings {
  FileUnits units = FileUnits::automatic;
  double least_extent_mm = 60.0;     // a shorter piece holds too few independent sections to measure
  double most_extent_mm = 1500.0;    // longest body, with what it lies on
  double least_density = 0.6;        // points a mm2; coarser scans do not show a strip
  double most_density = 400.0;       // points a mm2: 0.05 mm apart, finer than scanners of whole bodies
  double relative_standard_u = 0.0;  // of the scanner's own scale, dimensionless, when its certificate tells it
  // Likewise its slow warp, which no scan shows by itself (CaptureError::warp_mm).
  double warp_mm = 0.0;
  double warp_length_mm = 250.0;
};

// Scales coordinates (and sigma) to millimetres and sets Cloud::scale. Refusals: units_doubtful, shape_degenerate
// (no extent at all), too_few_points (no finite point).
[[nodiscard]] Outcome<ScanFile> to_millimetres(ScanFile scan, const UnitsSettings& settings, Workers& workers);

}  // namespace rimwright
