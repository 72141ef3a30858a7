#include "capture/photos/match_features.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace rimwright {
namespace {

constexpr int cell_px = Features::cell_px;

// The stretch of the ray through a pixel between the heights where wood may be, as pixels of the other photo.
std::vector<Vector2> epipolar_line(const View& from, const View& to, const Vector2& pixel,
                                   const MatchFeaturesSettings& settings) {
  const Vector3 centre = from.centre_sheet_mm();
  const Vector3 direction = from.T_camera_sheet.linear().transpose() * ray_through(from.lens, pixel);
  std::vector<Vector2> line;
  if (direction.z() > -0.02) return line;  // looks up, or along the top
  const double start = (settings.highest_mm - centre.z()) / direction.z();
  const double end = (settings.lowest_mm - centre.z()) / direction.z();
  constexpr int steps = 12;
  for (int i = 0; i <= steps; ++i) {
    const Vector3 p = to.T_camera_sheet * (centre + (start + (end - start) * i / steps) * direction);
    if (p.z() < 10.0) continue;
    line.push_back(project_camera_point(to.lens, p));
  }
  return line;
}

double distance_to_line(const std::vector<Vector2>& line, const Vector2& p) {
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 1; i < line.size(); ++i) {
    const Vector2 d = line[i] - line[i - 1];
    const double t = std::clamp((p - line[i - 1]).dot(d) / std::max(d.squaredNorm(), 1e-12), 0.0, 1.0);
    least = std::min(least, (line[i - 1] + t * d - p).squaredNorm());
  }
  return std::sqrt(least);
}

// Index of the best match of each feature of `a` in `b`, or -1.
std::vector<int> match_one_way(const Features& a, const Features& b, const View& view_a, const View& view_b,
                               const MatchFeaturesSettings& settings) {
  std::vector<int> best(a.pixels.size(), -1);
  const double within_px = settings.line_distance_share * std::max(view_b.width, view_b.height);
  std::vector<int> visited(b.cells.size(), -1);
  for (std::size_t i = 0; i < a.pixels.size(); ++i) {
    const std::vector<Vector2> line = epipolar_line(view_a, view_b, a.pixels[i], settings);
    int first = std::numeric_limits<int>::max(), second = first;
    const auto try_cell = [&](int column, int row) {
      if (column < 0 || row < 0 || column >= b.cells_across || row >= b.cells_down) return;
      const std::size_t cell =
          static_cast<std::size_t>(row) * static_cast<std::size_t>(b.cells_across) + static_cast<std::size_t>(column);
      if (visited[cell] == static_cast<int>(i)) return;
      visited[cell] = static_cast<int>(i);
      for (int j : b.cells[cell]) {
        if (distance_to_line(line, b.pixels[static_cast<std::size_t>(j)]) > within_px) continue;
        const int d = squared_distance(a.descriptor(i), b.descriptor(static_cast<std::size_t>(j)));
        if (d < first) {
          second = first;
          first = d;
          best[i] = j;
        } else {
          second = std::min(second, d);
        }
      }
    };
    for (std::size_t k = 1; k < line.size(); ++k) {
      const int steps = 1 + static_cast<int>((line[k] - line[k - 1]).norm() / cell_px * 2.0);
      if (steps > 2000) continue;
      for (int s = 0; s <= steps; ++s) {
        const Vector2 p = line[k - 1] + (line[k] - line[k - 1]) * s / steps;
        if (!(std::abs(p.x()) < 1e6) || !(std::abs(p.y()) < 1e6)) continue;
        const int column = static_cast<int>(std::floor(p.x() / cell_px)),
                  row = static_cast<int>(std::floor(p.y() / cell_px));
        for (int dy = -1; dy <= 1; ++dy) {
          for (int dx = -1; dx <= 1; ++dx) try_cell(column + dx, row + dy);
        }
      }
    }
    const double ratio = settings.ratio * settings.ratio;
    if (best[i] >= 0 && second < std::numeric_limits<int>::max() &&
        static_cast<double>(first) > ratio * static_cast<double>(second))
      best[i] = -1;
    if (first > Features::unit * Features::unit / 2) best[i] = -1;  // about 41 degrees apart
  }
  return best;
}

// Pairs of photos worth matching: for each its nearest neighbours by angle.
std::vector<std::pair<std::size_t, std::size_t>> choose_pairs(const CameraNetwork& network, const Vector3& middle,
                                                              const MatchFeaturesSettings& settings) {
  std::vector<std::pair<std::size_t, std::size_t>> pairs;
  const std::size_t n = network.lens_of.size();
  std::vector<Vector3> sights(n);
  for (std::size_t i = 0; i < n; ++i) {
    if (network.placed[i]) sights[i] = (network.view(i).centre_sheet_mm() - middle).normalized();
  }
  for (std::size_t i = 0; i < n; ++i) {
    if (!network.placed[i]) continue;
    std::vector<std::pair<double, std::size_t>> others;
    for (std::size_t j = 0; j < n; ++j) {
      if (j == i || !network.placed[j]) continue;
      const double angle = std::acos(std::clamp(sights[i].dot(sights[j]), -1.0, 1.0));
      if (angle < radians_from_degrees(settings.widest_angle_deg)) others.emplace_back(angle, j);
    }
    std::sort(others.begin(), others.end());
    if (others.size() > settings.neighbours) others.resize(settings.neighbours);
    for (const auto& [angle, j] : others) pairs.emplace_back(std::min(i, j), std::max(i, j));
  }
  std::sort(pairs.begin(), pairs.end());
  pairs.erase(std::unique(pairs.begin(), pairs.end()), pairs.end());
  return pairs;
}

class Groups {  // union-find
 public:
  explicit Groups(std::size_t count) : parent_(count) { std::iota(parent_.begin(), parent_.end(), std::size_t{0}); }
  std::size_t root(std::size_t i) {
    while (parent_[i] != i) i = parent_[i] = parent_[parent_[i]];
    return i;
  }
  void join(std::size_t i, std::size_t j) {
    i = root(i), j = root(j);
    parent_[std::max(i, j)] = std::min(i, j);
  }

 private:
  std::vector<std::size_t> parent_;
};

}  // namespace

bool intersect_rays(const std::vector<View>& views, const std::vector<Sighting>& sightings, Vector3& point) {
  Matrix3 normal = Matrix3::Zero();
  Vector3 right = Vector3::Zero();
  for (const Sighting& s : sightings) {
    const View& view = views[s.photo];
    const Vector3 d = view.T_camera_sheet.linear().transpose() * ray_through(view.lens, s.pixel);
    const Matrix3 across = Matrix3::Identity() - d * d.transpose();
    normal += across;
    right += across * view.centre_sheet_mm();
  }
  const Eigen::LDLT<Matrix3> solver(normal);
  if (solver.rcond() < 1e-4) return false;
  point = solver.solve(right);
  for (int round = 0; round < 3; ++round) {  // pixel residuals, Gauss-Newton
    Matrix3 a = Matrix3::Zero();
    Vector3 b = Vector3::Zero();
    for (const Sighting& s : sightings) {
      const View& view = views[s.photo];
      if ((view.T_camera_sheet * point).z() < 10.0) return false;
      const Vector2 r = project(view, point) - s.pixel;
      Eigen::Matrix<double, 2, 3> j;
      for (int k = 0; k < 3; ++k) {
        j.col(k) = (project(view, point + 0.01 * Vector3::Unit(k)) - project(view, point)) / 0.01;
      }
      a += j.transpose() * j;
      b += j.transpose() * r;
    }
    point -= a.ldlt().solve(b);
  }
  return point.allFinite();
}

std::size_t match_features(const std::vector<Features>& features, const MatchFeaturesSettings& settings,
                           Workers& workers, CameraNetwork& network) {
  const std::size_t n = features.size();
  const std::vector<View> views = network.views();
  Vector3 middle = Vector3::Zero();
  for (const NetworkPoint& p : network.points) middle += p.at_sheet_mm / static_cast<double>(network.points.size());
  const auto pairs = choose_pairs(network, middle, settings);
  std::vector<std::vector<std::pair<int, int>>> matches(pairs.size());
  workers.for_chunks(pairs.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t p = begin; p < end; ++p) {
      const auto [a, b] = pairs[p];
      const auto there = match_one_way(features[a], features[b], views[a], views[b], settings);
      const auto back = match_one_way(features[b], features[a], views[b], views[a], settings);
      for (std::size_t i = 0; i < there.size(); ++i) {
        const int j = there[i];
        if (j >= 0 && back[static_cast<std::size_t>(j)] == static_cast<int>(i))
          matches[p].emplace_back(static_cast<int>(i), j);
      }
    }
  });

  std::vector<std::size_t> first(n + 1, 0);
  for (std::size_t i = 0; i < n; ++i) first[i + 1] = first[i] + features[i].pixels.size();
  Groups groups(first[n]);
  for (std::size_t p = 0; p < pairs.size(); ++p) {
    for (const auto& [i, j] : matches[p]) {
      groups.join(first[pairs[p].first] + static_cast<std::size_t>(i),
                  first[pairs[p].second] + static_cast<std::size_t>(j));
    }
  }
  std::vector<std::vector<Sighting>> tracks(first[n]);
  for (std::size_t photo = 0; photo < n; ++photo) {
    for (std::size_t i = 0; i < features[photo].pixels.size(); ++i) {
      tracks[groups.root(first[photo] + i)].push_back(
          {static_cast<std::uint32_t>(photo), 0, features[photo].pixels[i]});
    }
  }
  std::size_t added = 0;
  for (std::vector<Sighting>& track : tracks) {
    if (track.size() < 3) continue;
    bool twice = false;
    for (std::size_t i = 1; i < track.size(); ++i) twice = twice || track[i].photo == track[i - 1].photo;
    Vector3 at;
    if (twice || !intersect_rays(views, track, at)) continue;
    const bool close = std::all_of(track.begin(), track.end(), [&](const Sighting& s) {
      return (project(views[s.photo], at) - s.pixel).norm() <
             settings.keep_within_share * std::max(views[s.photo].width, views[s.photo].height);
    });
    if (!close) continue;
    const auto point = static_cast<std::uint32_t>(network.points.size());
    network.points.push_back({at, at, Vector3::Zero(), false});
    for (Sighting s : track) {
      s.point = point;
      network.sightings.push_back(s);
    }
    ++added;
  }
  return added;
}

}  // namespace rimwright
