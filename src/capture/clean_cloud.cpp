#include "capture/clean_cloud.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <string>
#include <utility>
#include <vector>

#include "capture/duplicates.h"
#include "capture/file/cloud_arrays.h"
#include "capture/robust_box.h"
#include "core/wide_loops.h"

namespace rimwright {

namespace {

using Keep = std::vector<std::uint8_t>;

constexpr std::size_t chunk_points = std::size_t{1} << 16;
constexpr double trimmed_share = 0.005;

std::size_t drop_not_finite(const Cloud& cloud, Keep& keep, Workers& workers) {
  std::vector<std::size_t> dropped(cloud.size() / chunk_points + 1, 0);
  workers.for_chunks(cloud.size(), chunk_points, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    std::size_t here = 0;
    for (std::size_t i = begin; i < end; ++i) {
      // The sum of three floats as double is finite exactly where all three are.
      const bool finite = std::isfinite(static_cast<double>(cloud.x[i]) + static_cast<double>(cloud.y[i]) +
                                        static_cast<double>(cloud.z[i]));
      keep[i] = finite ? 1 : 0;
      here += finite ? 0 : 1;
    }
    dropped[chunk] = here;
  });
  return std::accumulate(dropped.begin(), dropped.end(), std::size_t{0});
}

// A coarse grid over the bulk and one extent around it; one more cell stands for all places beyond.
class CoarseGrid {
 public:
  CoarseGrid(const RobustBox& box, double cell_share) {
    const double extent = box.largest_extent();
    cell_ = extent * cell_share;
    low_ = box.low - Vector3::Constant(extent);
    for (int axis = 0; axis < 3; ++axis) {
      cells_[static_cast<std::size_t>(axis)] =
          static_cast<int>(std::ceil((box.high[axis] - box.low[axis] + 2.0 * extent) / cell_)) + 1;
    }
    low_f_ = low_.cast<float>();
    per_cell_ = static_cast<float>(1.0 / cell_);
  }

  [[nodiscard]] std::size_t cell_count() const {
    return static_cast<std::size_t>(cells_[0]) * static_cast<std::size_t>(cells_[1]) *
           static_cast<std::size_t>(cells_[2]);
  }
  [[nodiscard]] std::size_t beyond() const { return cell_count(); }  // fewer than 2^31: see the limits of cell_share

  // Of each point of a run its cell, worked out for several at once.
  RIMWRIGHT_WIDE_LOOPS void cells_of(const Cloud& cloud, std::size_t first, std::size_t count,
                                     std::uint32_t* cell) const {
    const float *x = &cloud.x[first], *y = &cloud.y[first], *z = &cloud.z[first];
    const float low_x = low_f_.x(), low_y = low_f_.y(), low_z = low_f_.z(), per_cell = per_cell_;
    const std::int32_t rows = cells_[0], columns = cells_[1], layers = cells_[2];
    const auto outside = static_cast<std::int32_t>(beyond());
    // Where a coordinate lies among `most` cells; at `most` what lies outside them, or is no number.
    const auto among = [](float at, std::int32_t most) {
      const auto end = static_cast<float>(most);
      return static_cast<std::int32_t>(at >= 0.0F ? (at < end ? at : end) : end);
    };
    for (std::size_t i = 0; i < count; ++i) {
      const std::int32_t a = among((x[i] - low_x) * per_cell, rows), b = among((y[i] - low_y) * per_cell, columns),
                         c = among((z[i] - low_z) * per_cell, layers);
      const std::int32_t index = (a * columns + b) * layers + c;
      cell[i] =
          static_cast<std::uint32_t>(a < rows ? (b < columns ? (c < layers ? index : outside) : outside) : outside);
    }
  }

  // Gathers the cells of every clump (occupied cells that touch, corners included) and hands them over.
  template <class UseClump>
  void for_each_clump(const std::vector<std::uint32_t>& counts, const UseClump& use_clump) const {
    std::vector<std::uint8_t> seen(cell_count(), 0);
    std::vector<std::size_t> clump;
    for (std::size_t start = 0; start < cell_count(); ++start) {
      if (counts[start] == 0 || seen[start] != 0) continue;
      clump.assign(1, start);
      seen[start] = 1;
      for (std::size_t next = 0; next < clump.size(); ++next) {
        const auto at = static_cast<int>(clump[next]);
        const int k = at % cells_[2], j = at / cells_[2] % cells_[1], i = at / cells_[2] / cells_[1];
        for (int n = 0; n < 27; ++n) {
          const int a = i + n / 9 - 1, b = j + n / 3 % 3 - 1, c = k + n % 3 - 1;
          if (a < 0 || b < 0 || c < 0 || a >= cells_[0] || b >= cells_[1] || c >= cells_[2]) continue;
          const std::size_t cell = index(a, b, c);
          if (counts[cell] == 0 || seen[cell] != 0) continue;
          seen[cell] = 1;
          clump.push_back(cell);
        }
      }
      use_clump(clump);
    }
  }

 private:
  [[nodiscard]] std::size_t index(int a, int b, int c) const {
    return (static_cast<std::size_t>(a) * static_cast<std::size_t>(cells_[1]) + static_cast<std::size_t>(b)) *
               static_cast<std::size_t>(cells_[2]) +
           static_cast<std::size_t>(c);
  }

  Vector3 low_;
  Eigen::Vector3f low_f_;
  double cell_ = 1.0;
  float per_cell_ = 1.0F;
  std::array<int, 3> cells_{};
};

constexpr std::size_t run_points = 1024;

// Calls use(i, cell) for the points of [begin, end).
template <class Use>
void for_each_point(const Cloud& cloud, const CoarseGrid& grid, std::size_t begin, std::size_t end, const Use& use) {
  std::array<std::uint32_t, run_points> cell;
  for (std::size_t first = begin; first < end; first += run_points) {
    const std::size_t count = std::min(run_points, end - first);
    grid.cells_of(cloud, first, count, cell.data());
    for (std::size_t i = 0; i < count; ++i) use(first + i, cell[i]);
  }
}

std::vector<std::uint32_t> count_by_cell(const Cloud& cloud, const CoarseGrid& grid, Workers& workers) {
  // A table a part, so that threads do not meet; small clouds are not worth many.
  constexpr std::size_t most_parts = 8, part_points_at_least = 100'000;
  const std::size_t part_points = std::max(cloud.size() / most_parts + 1, part_points_at_least);
  std::vector<std::vector<std::uint32_t>> counts(cloud.size() / part_points + 1);
  workers.for_chunks(cloud.size(), part_points, [&](std::size_t begin, std::size_t end, std::size_t part) {
    auto& here = counts[part];
    here.assign(grid.cell_count() + 1, 0);
    for_each_point(cloud, grid, begin, end, [&](std::size_t, std::uint32_t cell) { ++here[cell]; });
  });
  counts[0].resize(grid.cell_count() + 1, 0);
  for (std::size_t part = 1; part < counts.size(); ++part) {
    for (std::size_t cell = 0; cell < counts[part].size(); ++cell) counts[0][cell] += counts[part][cell];
  }
  return std::move(counts[0]);
}

struct Dropped {
  std::size_t not_finite = 0, strays = 0;
};

Dropped drop_not_finite_and_strays(const Cloud& cloud, const CleanCloudSettings& settings, Keep& keep,
                                   Workers& workers) {
  constexpr double most_beyond_share = 0.01;   // more than this is no stray but a part of the scene
  constexpr std::uint64_t clump_at_least = 3;  // points a clump of strays may always have
  const RobustBox box = robust_box(cloud, trimmed_share);
  if (!(box.largest_extent() > 0.0)) return {drop_not_finite(cloud, keep, workers), 0};
  const CoarseGrid grid(box, settings.cell_share);
  std::vector<std::uint32_t> counts = count_by_cell(cloud, grid, workers);
  // What is not finite lies in no cell: where nothing lies beyond them, all is.
  Dropped dropped;
  if (counts[grid.beyond()] > 0) dropped.not_finite = drop_not_finite(cloud, keep, workers);
  counts[grid.beyond()] -= static_cast<std::uint32_t>(dropped.not_finite);
  const double points = static_cast<double>(cloud.size());
  const auto most_in_clump = std::max(clump_at_least, static_cast<std::uint64_t>(settings.most_stray_share * points));

  Keep is_stray(grid.cell_count() + 1, 0);
  std::uint64_t strays = 0;
  grid.for_each_clump(counts, [&](const std::vector<std::size_t>& clump) {
    std::uint64_t in_clump = 0;
    for (const std::size_t cell : clump) in_clump += counts[cell];
    if (in_clump > most_in_clump) return;
    for (const std::size_t cell : clump) is_stray[cell] = 1;
    strays += in_clump;
  });
  const std::uint64_t beyond = counts[grid.beyond()];
  if (static_cast<double>(beyond) <= most_beyond_share * points) {
    is_stray[grid.beyond()] = 1;
    strays += beyond;
  }
  // Where most of the scan would be strays there is no bulk to be far from.
  if (strays == 0 || static_cast<double>(strays) > 0.5 * points) return dropped;
  workers.for_chunks(cloud.size(), chunk_points, [&](std::size_t begin, std::size_t end, std::size_t) {
    for_each_point(cloud, grid, begin, end, [&](std::size_t i, std::uint32_t cell) {
      if (is_stray[cell] != 0) keep[i] = 0;
    });
  });
  dropped.strays = strays;
  return dropped;
}

// Standard deviation across the line that fits best, as a share of that along it.
double width_over_length(const Cloud& cloud) {
  const std::size_t step = std::max<std::size_t>(1, cloud.size() / 20'000);
  Vector3 mean = Vector3::Zero();
  Matrix3 squares = Matrix3::Zero();
  double count = 0.0;
  for (int pass = 0; pass < 2; ++pass) {  // mean first, then squares about it
    for (std::size_t i = 0; i < cloud.size(); i += step) {
      const Vector3 point(cloud.x[i], cloud.y[i], cloud.z[i]);
      if (pass == 0) {
        mean += point;
        count += 1.0;
      } else {
        squares += (point - mean) * (point - mean).transpose();
      }
    }
    if (pass == 0) mean /= count;
  }
  const Vector3 variances = Eigen::SelfAdjointEigenSolver<Matrix3>(squares, Eigen::EigenvaluesOnly).eigenvalues();
  return variances[2] > 0.0 ? std::sqrt(std::max(0.0, variances[1]) / variances[2]) : 0.0;
}

}  // namespace

Outcome<Cloud> clean_cloud(Cloud cloud, const CleanCloudSettings& settings, Workers& workers) {
  Keep keep(cloud.size(), 1);
  const Dropped dropped = drop_not_finite_and_strays(cloud, settings, keep, workers);
  cloud.counts.not_finite = dropped.not_finite;
  cloud.counts.far_outliers = dropped.strays;
  cloud.counts.duplicates = drop_duplicates(cloud, keep, workers);
  const std::size_t met = cloud.size();
  if (cloud.counts.not_finite + cloud.counts.far_outliers + cloud.counts.duplicates > 0) {
    keep_marked(cloud, keep, workers);
  }
  if (cloud.size() == 1 && met > 1 && cloud.counts.duplicates > 0) {
    return refuse(RefusalReason::shape_degenerate,
                  "the " + std::to_string(met) + " points of the scan lie at one place",
                  "give a scan that shows the rim");
  }
  if (cloud.size() < std::max<std::size_t>(settings.fewest_points, 1)) {
    return refuse(RefusalReason::too_few_points,
                  "the scan has " + std::to_string(cloud.size()) + " usable points, fewer than " +
                      std::to_string(settings.fewest_points),
                  "give a scan that shows the rim");
  }
  constexpr double least_width_over_length = 1e-3;
  if (width_over_length(cloud) < least_width_over_length) {
    return refuse(RefusalReason::shape_degenerate, "the points of the scan lie on one line",
                  "give a scan that shows the rim");
  }
  return cloud;
}

}  // namespace rimwright
