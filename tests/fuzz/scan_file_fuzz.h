// Runs one input through a reader of scan files and what follows it: unit, faces, cleaning.
#pragma once

#include <sys/mman.h>
#include <unistd.h>

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <utility>

#include "capture/clean_cloud.h"
#include "capture/file/bytes.h"
#include "capture/sample_faces.h"
#include "capture/units.h"

namespace rimwright {

// `read` is called with an open FileBytes and Workers. Any refusal will do as long as it says what and what to do;
// triangles must name points that are there.
template <class Read>
int fuzz_scan_file(const std::uint8_t* data, std::size_t size, const Read& read) {
  static const int descriptor = ::memfd_create("scan", 0);
  static Workers workers(1);
  if (descriptor < 0 || ::ftruncate(descriptor, 0) != 0) std::abort();
  if (::pwrite(descriptor, data, size, 0) != static_cast<ssize_t>(size)) std::abort();
  auto file = FileBytes::open("/proc/self/fd/" + std::to_string(descriptor));
  if (!file) std::abort();
  auto scan = read(*file, workers);
  if (!scan) {
    if (scan.error().what.empty() || scan.error().what_to_do.empty()) std::abort();
    return 0;
  }
  for (const auto& triangle : scan->triangles) {
    for (const std::uint32_t corner : triangle) {
      if (corner >= scan->cloud.size()) std::abort();
    }
  }
  UnitsSettings units;
  units.units = size % 2 == 0 ? FileUnits::automatic : FileUnits::cm;
  auto scan_mm = to_millimetres(*std::move(scan), units, workers);
  if (!scan_mm) return 0;
  SampleFacesSettings faces;
  faces.most_samples = 1000;
  CleanCloudSettings clean;
  clean.fewest_points = 1;
  const auto cloud = clean_cloud(sample_faces(*std::move(scan_mm), faces), clean, workers);
  if (cloud && cloud->size() == 0) std::abort();
  return 0;
}

}  // namespace rimwright
