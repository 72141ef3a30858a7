#include "rim/gather_cells.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "core/median.h"

namespace rimwright {

namespace {

// Count, first and second moments about the centre of the grid cell.
struct Moments {
  double count = 0.0;
  Vector3 sum = Vector3::Zero();
  std::array<double, 6> products{};  // xx xy xz yy yz zz
  Vector3 facing = Vector3::Zero();
  double facing_count = 0.0;

  void add(const Vector3& p) {
    count += 1.0;
    sum += p;
    products[0] += p.x() * p.x();
    products[1] += p.x() * p.y();
    products[2] += p.x() * p.z();
    products[3] += p.y() * p.y();
    products[4] += p.y() * p.z();
    products[5] += p.z() * p.z();
  }

  // Adds another cell's moments, whose centre lies at `offset` from ours.
  void add_shifted(const Moments& other, const Vector3& offset) {
    count += other.count;
    facing += other.facing;
    facing_count += other.facing_count;
    sum += other.sum + other.count * offset;
    const auto product = [&](std::size_t k, int a, int b) {
      products[k] +=
          other.products[k] + other.sum[a] * offset[b] + other.sum[b] * offset[a] + other.count * offset[a] * offset[b];
    };
    product(0, 0, 0);
    product(1, 0, 1);
    product(2, 0, 2);
    product(3, 1, 1);
    product(4, 1, 2);
    product(5, 2, 2);
  }

  [[nodiscard]] Matrix3 covariance() const {
    const Vector3 mean = sum / count;
    Matrix3 second;
    second << products[0], products[1], products[2], products[1], products[3], products[4], products[2], products[4],
        products[5];
    return second / count - mean * mean.transpose();
  }
};

// A mixing function with no pattern in common with scan rows (SplitMix64 finaliser), for choosing the sample.
std::uint64_t mixed(std::uint64_t x) {
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31);
}

constexpr std::int64_t grid_middle = std::int64_t{1} << (SurfaceCells::bits - 1);

struct Grid {
  double cell_mm;

  [[nodiscard]] std::int64_t coordinate(double value_mm) const {
    const double cells = std::floor(value_mm / cell_mm);
    const double limit = static_cast<double>(grid_middle - 2);
    return static_cast<std::int64_t>(std::clamp(cells, -limit, limit)) + grid_middle;
  }
  [[nodiscard]] std::uint64_t key(double x, double y, double z) const {
    return static_cast<std::uint64_t>(coordinate(x)) | static_cast<std::uint64_t>(coordinate(y)) << SurfaceCells::bits |
           static_cast<std::uint64_t>(coordinate(z)) << (2 * SurfaceCells::bits);
  }
  [[nodiscard]] Vector3 centre(std::uint64_t key) const {
    constexpr std::uint64_t mask = (std::uint64_t{1} << SurfaceCells::bits) - 1;
    const auto middle = [&](int axis) {
      const auto c = static_cast<std::int64_t>((key >> (axis * SurfaceCells::bits)) & mask) - grid_middle;
      return (static_cast<double>(c) + 0.5) * cell_mm;
    };
    return {middle(0), middle(1), middle(2)};
  }
};

// The cells of one part of the cloud, in the order in which their first points come.
struct PartCells {
  std::unordered_map<std::uint64_t, std::uint32_t> lookup;
  std::vector<std::uint64_t> keys;
  std::vector<Moments> moments;

  Moments& at(std::uint64_t key) {
    const auto [found, is_new] = lookup.try_emplace(key, static_cast<std::uint32_t>(moments.size()));
    if (is_new) {
      moments.emplace_back();
      keys.push_back(key);
    }
    return moments[found->second];
  }
};

// What the file's own normals say of the cells that points [begin, end) lie in. Few tell which side the air is on.
void add_facing(PartCells& part, const Cloud& cloud, const Grid& grid, std::size_t begin, std::size_t end) {
  constexpr std::size_t enough = 40'000;
  const std::size_t step = cloud.normals.size() / enough + 1;
  for (std::size_t k = 0; k < cloud.normals.size(); k += step) {
    const auto& [point, times_127] = cloud.normals[k];
    if (point < begin || point >= end) continue;
    const auto known = part.lookup.find(grid.key(cloud.x[point], cloud.y[point], cloud.z[point]));
    if (known == part.lookup.end()) continue;
    Moments& cell = part.moments[known->second];
    cell.facing += Vector3(times_127[0], times_127[1], times_127[2]) / 127.0;
    cell.facing_count += 1.0;
  }
}

// One point of every `one_in`, at no place in step with scan rows.
PartCells gather_part(const Cloud& cloud, const Grid& grid, std::size_t one_in, std::size_t begin, std::size_t end) {
  PartCells part;
  std::uint64_t last_key = ~std::uint64_t{0};
  Moments* cell = nullptr;
  for (std::size_t first = begin; first < end; first += one_in) {
    const std::size_t i = first + (one_in > 1 ? mixed(first) % one_in : 0);
    if (i >= end) break;
    const Vector3 p(cloud.x[i], cloud.y[i], cloud.z[i]);
    const std::uint64_t key = grid.key(p.x(), p.y(), p.z());
    if (key != last_key) cell = &part.at(key);
    last_key = key;
    cell->add(p - grid.centre(key));
  }
  add_facing(part, cloud, grid, begin, end);
  return part;
}

SurfaceCells gather_at(const Cloud& cloud, double cell_mm, std::size_t sampled_points, Workers& workers) {
  const Grid grid{cell_mm};
  const std::size_t count = cloud.size();
  const std::size_t one_in = std::max<std::size_t>(1, (count + sampled_points - 1) / sampled_points);
  // Few parts, as each may meet most of the cells; as many for any number of threads, as sums depend on their order.
  constexpr std::size_t parts = 4;
  const std::size_t part_points = count / parts + 1;
  std::vector<PartCells> part_cells(parts);
  workers.for_chunks(count, part_points, [&](std::size_t begin, std::size_t end, std::size_t part) {
    part_cells[part] = gather_part(cloud, grid, one_in, begin, end);
  });
  for (std::size_t part = 1; part < parts; ++part)
    for (std::size_t i = 0; i < part_cells[part].keys.size(); ++i)
      part_cells[0].at(part_cells[part].keys[i]).add_shifted(part_cells[part].moments[i], Vector3::Zero());

  SurfaceCells result;
  result.cell_mm = cell_mm;
  result.lookup = std::move(part_cells[0].lookup);
  result.keys = std::move(part_cells[0].keys);
  const std::vector<Moments> moments = std::move(part_cells[0].moments);

  result.cells.resize(moments.size());
  workers.for_chunks(moments.size(), 4096, [&](std::size_t begin, std::size_t end, std::size_t) {
    constexpr double fewest_for_a_plane = 8.0;
    for (std::size_t i = begin; i < end; ++i) {
      const auto index = static_cast<std::uint32_t>(i);
      const Vector3 centre = grid.centre(result.keys[i]);
      Moments around = moments[i];
      result.for_neighbours(index, [&](std::uint32_t neighbour) {
        around.add_shifted(moments[neighbour], grid.centre(result.keys[neighbour]) - centre);
      });
      SurfaceCell& cell = result.cells[i];
      cell.count = static_cast<std::uint32_t>(moments[i].count);
      cell.mean_mm = (centre + moments[i].sum / moments[i].count).cast<float>();
      cell.facing = (moments[i].facing / std::max(1.0, moments[i].facing_count)).cast<float>();
      if (around.count < fewest_for_a_plane) continue;
      Eigen::SelfAdjointEigenSolver<Matrix3> eigen;
      eigen.computeDirect(around.covariance());
      cell.normal = eigen.eigenvectors().col(0).cast<float>();
      cell.spread_mm = static_cast<float>(std::sqrt(std::max(0.0, eigen.eigenvalues()[0])));
      cell.second_spread_mm = static_cast<float>(std::sqrt(std::max(0.0, eigen.eigenvalues()[1])));
    }
  });
  return result;
}

// Median over cells that have a plane; zero if none has.
double median_spread(const SurfaceCells& cells) {
  std::vector<float> spreads;
  for (const auto& cell : cells.cells)
    if (cell.normal.squaredNorm() > 0.5F) spreads.push_back(cell.spread_mm);
  return median_of(std::move(spreads));
}

double share_with_plane(const SurfaceCells& cells) {
  double with_plane = 0.0, all = 0.0;
  for (const auto& cell : cells.cells) {
    all += cell.count;
    if (cell.normal.squaredNorm() > 0.5F) with_plane += cell.count;
  }
  return all > 0.0 ? with_plane / all : 0.0;
}

}  // namespace

Outcome<SurfaceCells> gather_cells(const Cloud& cloud, const GatherSettings& settings, Workers& workers) {
  // A plane seen through noise needs a neighbourhood (three cells) well wider than the noise is high.
  constexpr double widest_spread_in_cells = 0.25;
  constexpr double enough_share = 0.8;
  for (double cell_mm = settings.smallest_cell_mm;; cell_mm *= 1.5) {
    SurfaceCells cells = gather_at(cloud, cell_mm, settings.sampled_points, workers);
    const bool fine =
        share_with_plane(cells) >= enough_share && median_spread(cells) < widest_spread_in_cells * cell_mm;
    if (fine || cell_mm * 1.5 > settings.largest_cell_mm) {
      if (share_with_plane(cells) < 0.5)
        return refuse(RefusalReason::too_few_points,
                      "the scan's " + std::to_string(cloud.size()) + " points lie too far apart to form surfaces",
                      "scan more densely: at least one point a square millimetre near the rim");
      return cells;
    }
  }
}

}  // namespace rimwright
