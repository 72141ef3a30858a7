#include "pipelines/cloud_from_large_file.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

#include "capture/read_thinned.h"
#include "rim/gather_cells.h"
#include "rim/orient.h"
#include "rim/trace_outline.h"

namespace rimwright {

namespace {

// A mixing function (SplitMix64 finaliser): an even share without a pattern of its own.
std::uint64_t mixed(std::uint64_t x) {
  x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27U)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31U);
}

// The zone as set, and in any case 10 mm beyond what sections use: the coarse rim is not yet the final one.
UnrollSettings zone_around(UnrollSettings sections, const LargeFileSettings& zone) {
  constexpr double room_mm = 10.0;
  sections.inside_mm = std::max(zone.inside_mm, sections.inside_mm + room_mm);
  sections.outside_mm = std::max(zone.outside_mm, sections.outside_mm + room_mm);
  sections.below_mm = std::max(zone.below_mm, sections.below_mm + room_mm);
  sections.above_mm = std::max(zone.above_mm, sections.above_mm + room_mm);
  return sections;
}

// Calls use(i) for the chosen points of [begin, end) that lie in the zone. A point's coordinates times `factor` and
// moved by `shift_mm` are those of the scan frame.
template <class IsChosen, class Use>
void for_each_near(const RimPlaces& zone, const Cloud& cloud, std::size_t begin, std::size_t end, double factor,
                   const Vector3& shift_mm, const IsChosen& is_chosen, const Use& use) {
  constexpr std::size_t most_at_once = 1024;
  std::array<float, most_at_once> x, y, z, station, out, up;
  std::array<std::size_t, most_at_once> index;
  for (std::size_t i = begin; i < end;) {
    std::size_t count = 0;
    for (; i < end && count < most_at_once; ++i) {
      if (!is_chosen(i)) continue;
      const Vector3 p = factor * Vector3(cloud.x[i], cloud.y[i], cloud.z[i]) + shift_mm;
      x[count] = static_cast<float>(p.x()), y[count] = static_cast<float>(p.y()), z[count] = static_cast<float>(p.z());
      index[count++] = i;
    }
    zone.find({x.data(), count}, {y.data(), count}, {z.data(), count}, {station.data(), count}, {out.data(), count},
              {up.data(), count});
    for (std::size_t k = 0; k < count; ++k)
      if (!std::isnan(station[k])) use(index[k]);
  }
}

Outcome<Cloud> coarse_cloud(const std::filesystem::path& path, std::uint64_t every, UnitsSettings units,
                            const CleanCloudSettings& clean, Workers& workers) {
  auto scan = read_thinned(path, {}, {.every = every}, workers);
  if (!scan) return tl::unexpected(scan.error());
  units.least_density /= static_cast<double>(every);
  units.most_density /= static_cast<double>(every);
  auto scan_mm = to_millimetres(*std::move(scan), units, workers);
  if (!scan_mm) return tl::unexpected(scan_mm.error());
  return clean_cloud(std::move(scan_mm->cloud), clean, workers);
}

// How many of the file's points lie near the rim, as the coarse cloud's even share tells.
double count_near(const Cloud& coarse, const RimPlaces& zone, std::uint64_t every, Workers& workers) {
  constexpr std::size_t chunk_points = std::size_t{1} << 16;
  std::vector<std::size_t> found(coarse.size() / chunk_points + 1, 0);
  workers.for_chunks(coarse.size(), chunk_points, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    for_each_near(
        zone, coarse, begin, end, 1.0, Vector3::Zero(), [](std::size_t) { return true; },
        [&](std::size_t) { ++found[chunk]; });
  });
  double sum = 0.0;
  for (const std::size_t n : found) sum += static_cast<double>(n);
  return sum * static_cast<double>(every);
}

FileUnits units_of(double factor) {
  for (const auto units : {FileUnits::mm, FileUnits::cm, FileUnits::m, FileUnits::inch})
    if (millimetres_per(units) == factor) return units;
  return FileUnits::automatic;
}

std::string note_of(std::uint64_t points, std::uint64_t every, std::uint64_t near_every) {
  const std::string near_rim = near_every == 1 ? "all" : "one in " + std::to_string(near_every);
  return "The file holds " + std::to_string(points / 1'000'000) + " million points: of those near the rim " + near_rim +
         " were read, elsewhere one in " + std::to_string(every) + ".";
}

}  // namespace

Outcome<Cloud> cloud_from_large_file(const std::filesystem::path& path, std::uint64_t points_in_file,
                                     const LargeFileSettings& settings, const FindRimSettings& find,
                                     const UnitsSettings& units, const CleanCloudSettings& clean, Workers& workers) {
  const std::uint64_t every = std::max<std::uint64_t>(1, points_in_file / settings.coarse_points);
  const auto coarse = coarse_cloud(path, every, units, clean, workers);
  if (!coarse) return tl::unexpected(coarse.error());
  const auto cells = gather_cells(*coarse, find.gather, workers);
  if (!cells) return tl::unexpected(cells.error());
  const auto orientation = orient(*cells, find.orient, workers);
  if (!orientation) return tl::unexpected(orientation.error());
  const auto outline = trace_outline(*cells, *orientation, find.outline);
  if (!outline) return tl::unexpected(outline.error());

  const RimPlaces zone(outline->curve, *orientation, zone_around(find.unroll, settings));
  const double near = count_near(*coarse, zone, every, workers);
  const auto near_every = std::max<std::uint64_t>(
      1, static_cast<std::uint64_t>(near / static_cast<double>(settings.most_near_rim) + 0.999));
  const double factor = coarse->scale.factor;
  const KeepPoints keep = [&](const Cloud& block, std::size_t begin, std::size_t end, std::uint8_t* marks) {
    const Vector3 shift = factor * block.origin_mm - coarse->origin_mm;
    for_each_near(
        zone, block, begin, end, factor, shift,
        [&](std::size_t i) { return near_every == 1 || mixed(i) % near_every == 0; },
        [&](std::size_t i) { marks[i - begin] = 1; });
  };
  auto scan = read_thinned(path, keep, {.every = every}, workers);
  if (!scan) return tl::unexpected(scan.error());
  UnitsSettings known = units;
  known.units = units_of(factor);
  auto scan_mm = to_millimetres(*std::move(scan), known, workers);
  if (!scan_mm) return tl::unexpected(scan_mm.error());
  auto cloud = clean_cloud(std::move(scan_mm->cloud), clean, workers);
  if (!cloud) return cloud;
  cloud->scale = coarse->scale;
  cloud->notes.push_back(note_of(cloud->counts.points_in_file, every, near_every));
  return cloud;
}

}  // namespace rimwright
