#include "measure/find_torn.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include "core/median.h"

namespace rimwright {

namespace {

// Height of each cell over its station's face as it would be without pit or hump, NaN where empty: the line of least
// sum of absolute departures (by reweighting) instead of the fitted one, which a pit drags down and a hump lifts.
std::vector<double> heights_over_sound_face(const FaceGrid& grid, const FaceFits& face, double noise_mm) {
  std::vector<double> heights(grid.rows * grid.columns, std::numeric_limits<double>::quiet_NaN());
  constexpr int rounds = 12;
  const double least_mm = std::max(0.2 * noise_mm, 1e-3);  // departures smaller than this weigh alike
  for (std::size_t c = 0; c < grid.columns; ++c) {
    const FaceFit& fit = face.at[c];
    if (!fit.measured) continue;
    double level = fit.a_mm, slope = fit.b;
    for (int round = 0; round < rounds; ++round) {
      double w0 = 0, w1 = 0, w2 = 0, y0 = 0, y1 = 0;
      for (std::size_t r = 0; r < grid.rows; ++r) {
        const std::size_t cell = grid.index(r, c);
        if (grid.count[cell] <= 0.0F) continue;
        const double t = grid.t(r) - fit.t0_mm, y = static_cast<double>(grid.mean_mm[cell]);
        const double w = static_cast<double>(grid.count[cell]) / std::max(least_mm, std::abs(y - level - slope * t));
        w0 += w, w1 += w * t, w2 += w * t * t, y0 += w * y, y1 += w * t * y;
      }
      const double determinant = w0 * w2 - w1 * w1;
      if (!(determinant > 1e-9 * w0 * w2)) break;
      level = (w2 * y0 - w1 * y1) / determinant;
      slope = (w0 * y1 - w1 * y0) / determinant;
    }
    for (std::size_t r = 0; r < grid.rows; ++r) {
      const std::size_t cell = grid.index(r, c);
      if (grid.count[cell] > 0.0F)
        heights[cell] = static_cast<double>(grid.mean_mm[cell]) - level - slope * (grid.t(r) - fit.t0_mm);
    }
  }
  return heights;
}

// How far each station's face stands proud of that: nine tenths of the way up its cells, so that noise does not set it.
std::vector<double> proud_of_sound_face(const FaceGrid& grid, const std::vector<double>& heights) {
  std::vector<double> proud(grid.columns, 0.0), seen;
  for (std::size_t c = 0; c < grid.columns; ++c) {
    seen.clear();
    for (std::size_t r = 0; r < grid.rows; ++r)
      if (const double h = heights[grid.index(r, c)]; std::isfinite(h)) seen.push_back(h);
    if (seen.empty()) continue;
    const auto high = seen.begin() + static_cast<std::ptrdiff_t>(seen.size() * 9 / 10);
    std::nth_element(seen.begin(), high, seen.end());
    proud[c] = *high;
  }
  return proud;
}

// Median of the cells within 16 mm along and 9 mm across; NaN where few are seen.
double neighbourhood_median(const FaceGrid& grid, const std::vector<double>& heights, std::size_t row,
                            std::size_t column) {
  const auto along = static_cast<std::ptrdiff_t>(std::lround(16.0 / grid.station_step_mm));
  const auto across = static_cast<std::ptrdiff_t>(std::lround(9.0 / grid.t_step_mm));
  const auto r0 = static_cast<std::ptrdiff_t>(row), c0 = static_cast<std::ptrdiff_t>(column);
  std::vector<double> seen;
  for (std::ptrdiff_t r = std::max<std::ptrdiff_t>(0, r0 - across);
       r <= std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(grid.rows) - 1, r0 + across); ++r)
    for (std::ptrdiff_t c = std::max<std::ptrdiff_t>(0, c0 - along);
         c <= std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(grid.columns) - 1, c0 + along); ++c) {
      const double h = heights[grid.index(static_cast<std::size_t>(r), static_cast<std::size_t>(c))];
      if (std::isfinite(h)) seen.push_back(h);
    }
  constexpr std::size_t fewest = 40;
  if (seen.size() < fewest) return std::numeric_limits<double>::quiet_NaN();
  return median_of(std::move(seen));
}

}  // namespace

std::vector<TornPlace> find_torn(const FaceGrid& grid, const FaceFits& face, const NoiseModel& noise,
                                 const TornSettings& settings) {
  const std::vector<double> heights = heights_over_sound_face(grid, face, noise.white_sigma_mm);
  const std::vector<double> proud = proud_of_sound_face(grid, heights);
  std::vector<double> pit(heights.size(), 0.0);  // depth below the neighbourhood where it counts, else 0
  for (std::size_t r = 0; r < grid.rows; ++r)
    for (std::size_t c = 0; c < grid.columns; ++c) {
      const std::size_t cell = grid.index(r, c);
      const double needed = std::max(settings.least_depth_mm, settings.sigmas * noise.white_sigma_mm /
                                                                  std::sqrt(std::max(1.0F, grid.count[cell])));
      if (!(heights[cell] < -needed)) continue;
      const double depth = neighbourhood_median(grid, heights, r, c) - heights[cell];
      if (depth > needed) pit[cell] = depth;
    }

  std::vector<TornPlace> places;
  for (std::size_t seed = 0; seed < pit.size(); ++seed) {
    if (pit[seed] <= 0.0) continue;
    std::vector<std::size_t> joined{seed};
    std::vector<double> depths{pit[seed]};
    pit[seed] = 0.0;
    std::size_t c0 = seed % grid.columns, c1 = c0, r0 = seed / grid.columns, r1 = r0;
    for (std::size_t head = 0; head < joined.size(); ++head) {
      const auto r = static_cast<std::ptrdiff_t>(joined[head] / grid.columns),
                 c = static_cast<std::ptrdiff_t>(joined[head] % grid.columns);
      for (std::ptrdiff_t dr = -2; dr <= 2; ++dr)
        for (std::ptrdiff_t dc = -1; dc <= 1; ++dc) {
          const std::ptrdiff_t nr = r + dr, nc = c + dc;
          if (nr < 0 || nc < 0 || nr >= static_cast<std::ptrdiff_t>(grid.rows) ||
              nc >= static_cast<std::ptrdiff_t>(grid.columns))
            continue;
          const std::size_t next = grid.index(static_cast<std::size_t>(nr), static_cast<std::size_t>(nc));
          if (pit[next] <= 0.0) continue;
          joined.push_back(next);
          depths.push_back(pit[next]);
          pit[next] = 0.0;
          c0 = std::min(c0, static_cast<std::size_t>(nc)), c1 = std::max(c1, static_cast<std::size_t>(nc));
          r0 = std::min(r0, static_cast<std::size_t>(nr)), r1 = std::max(r1, static_cast<std::size_t>(nr));
        }
    }
    const double length = static_cast<double>(c1 - c0 + 1) * grid.station_step_mm,
                 width = static_cast<double>(r1 - r0 + 1) * grid.t_step_mm;
    const double area = static_cast<double>(joined.size()) * grid.station_step_mm * grid.t_step_mm;
    if (length > settings.longest_mm || width > settings.widest_mm || area < settings.smallest_mm2) continue;
    // Its depth: the mean of the deepest square millimetre, so that no single cell sets it.
    const auto deepest =
        std::min(depths.size(),
                 static_cast<std::size_t>(std::max(1.0, std::round(1.0 / (grid.station_step_mm * grid.t_step_mm)))));
    std::partial_sort(depths.begin(), depths.begin() + static_cast<std::ptrdiff_t>(deepest), depths.end(),
                      std::greater<>());
    double depth = 0.0, points = 0.0;
    for (std::size_t k = 0; k < deepest; ++k) depth += depths[k] / static_cast<double>(deepest);
    // A hump as wide as the face is the face, to any line: what is beside it would seem to lie below. A pit is deeper
    // than anything stands proud.
    const auto column = [&](std::size_t c) { return proud.begin() + static_cast<std::ptrdiff_t>(c); };
    if (depth < *std::max_element(column(c0), column(c1 + 1))) continue;
    for (const std::size_t cell : joined)
      points += static_cast<double>(grid.count[cell]) / static_cast<double>(joined.size());
    TornPlace place;
    place.face = kind_of(face.track->name);
    place.from_mm = grid.station(c0) - 0.5 * grid.station_step_mm;
    place.to_mm = grid.station(c1) + 0.5 * grid.station_step_mm;
    const FaceFit& fit = face.at[(c0 + c1) / 2];
    const double middle_t = 0.5 * (grid.t(r0) + grid.t(r1));
    place.across_share =
        fit.measured ? std::clamp((middle_t - fit.from_t_mm) / (fit.to_t_mm - fit.from_t_mm), 0.0, 1.0) : 0.5;
    place.depth_mm.value = depth;
    place.depth_mm.u(UncertaintySource::point_noise) =
        noise.white_sigma_mm / std::sqrt(std::max(1.0, points * static_cast<double>(deepest)));
    place.depth_mm.u(UncertaintySource::correlated) = noise.correlated_sigma_mm;
    // The deepest of several noisy cells lies a little too deep, and a pit is no plane: a tenth of it.
    place.depth_mm.u(UncertaintySource::face_form) = 0.05 * depth;
    places.push_back(place);
  }
  return places;
}

std::vector<TornPlace> find_torn_places(const UnrolledRim& rim, const FittedRim& fitted, const NoiseModel& noise,
                                        const TornSettings& settings, Workers& workers) {
  constexpr double cell_mm = 0.5, edge_margin_mm = 0.0, gate_mm = 1.5;  // points farther off are not the face's
  // A cell of a very dense scan needs no more points than show the shallowest pit.
  constexpr double fewest = 25.0;
  const double enough = std::max(fewest, std::pow(settings.sigmas * noise.white_sigma_mm / settings.least_depth_mm, 2));
  std::vector<const FaceFits*> faces;
  std::vector<FaceGrid> grids;
  for (const FaceName name : {FaceName::side, FaceName::bevel, FaceName::top})
    if (const FaceFits* face = fitted.find(name)) {
      faces.push_back(face);
      grids.push_back(grid_face(rim, fitted, *face, cell_mm, edge_margin_mm, gate_mm, workers, enough));
    }
  std::vector<std::vector<TornPlace>> torn(faces.size());
  workers.for_chunks(faces.size(), 1, [&](std::size_t k, std::size_t, std::size_t) {
    torn[k] = find_torn(grids[k], *faces[k], noise, settings);
  });
  std::vector<TornPlace> all;
  for (const auto& of_face : torn) all.insert(all.end(), of_face.begin(), of_face.end());
  return all;
}

}  // namespace rimwright
