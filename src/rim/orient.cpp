#include "rim/orient.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <optional>

#include "rim/fit_top.h"
#include "rim/plan_occupancy.h"
#include "rim/square_up.h"

namespace rimwright {

namespace {

bool has_plane(const SurfaceCell& cell) { return cell.normal.squaredNorm() > 0.5F; }

// A cell is flat when its points spread within the plane at least three times as far as across it.
bool is_flat(const SurfaceCell& cell) { return has_plane(cell) && 3.0F * cell.spread_mm < cell.second_spread_mm; }

// Directions to which many flat cells' normals point, strongest first, at least 12 degrees apart.
std::vector<Vector3> common_directions(const SurfaceCells& cells, double within_deg, Workers& workers) {
  std::vector<Eigen::Vector3f> normals;
  for (const auto& cell : cells.cells)
    if (is_flat(cell)) normals.push_back(cell.normal);
  constexpr std::size_t tried = 400, sampled = 6000, kept = 8;
  const std::size_t candidate_step = std::max<std::size_t>(1, normals.size() / tried);
  const std::size_t sample_step = std::max<std::size_t>(1, normals.size() / sampled);
  const auto close = static_cast<float>(std::cos(radians_from_degrees(within_deg)));
  struct Candidate {
    Vector3 direction;
    std::size_t votes;
  };
  std::vector<Candidate> candidates((normals.size() + candidate_step - 1) / candidate_step);
  workers.for_chunks(candidates.size(), 16, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t k = begin; k < end; ++k) {
      std::size_t votes = 0;
      Vector3 mean = Vector3::Zero();
      for (std::size_t j = 0; j < normals.size(); j += sample_step) {
        const float cosine = normals[k * candidate_step].dot(normals[j]);
        if (std::abs(cosine) < close) continue;
        ++votes;
        mean += (cosine > 0 ? 1.0 : -1.0) * normals[j].cast<double>();
      }
      candidates[k] = {mean.normalized(), votes};
    }
  });
  std::erase_if(candidates, [](const Candidate& candidate) { return candidate.votes == 0; });
  std::stable_sort(candidates.begin(), candidates.end(),
                   [](const auto& a, const auto& b) { return a.votes > b.votes; });
  std::vector<Vector3> directions;
  const double apart = std::cos(radians_from_degrees(12.0));
  for (const auto& candidate : candidates) {
    const bool is_new = std::all_of(directions.begin(), directions.end(),
                                    [&](const Vector3& d) { return std::abs(d.dot(candidate.direction)) < apart; });
    if (is_new) directions.push_back(candidate.direction);
    if (directions.size() == kept) break;
  }
  return directions;
}

// Connected sets of flat cells that face along `direction`, largest first.
std::vector<std::vector<std::uint32_t>> connected_flats(const SurfaceCells& cells, const Vector3& direction,
                                                        double within_deg) {
  const auto close = static_cast<float>(std::cos(radians_from_degrees(within_deg)));
  const Eigen::Vector3f d = direction.cast<float>();
  std::vector<char> waiting(cells.cells.size(), 0);
  for (std::size_t i = 0; i < cells.cells.size(); ++i)
    waiting[i] = is_flat(cells.cells[i]) && std::abs(cells.cells[i].normal.dot(d)) > close;
  std::vector<std::vector<std::uint32_t>> components;
  for (std::uint32_t seed = 0; seed < waiting.size(); ++seed) {
    if (!waiting[seed]) continue;
    std::vector<std::uint32_t> component{seed};
    waiting[seed] = 0;
    for (std::size_t head = 0; head < component.size(); ++head)
      cells.for_neighbours(component[head], [&](std::uint32_t neighbour) {
        if (!waiting[neighbour]) return;
        waiting[neighbour] = 0;
        component.push_back(neighbour);
      });
    components.push_back(std::move(component));
  }
  std::stable_sort(components.begin(), components.end(),
                   [](const auto& a, const auto& b) { return a.size() > b.size(); });
  return components;
}

// A frame with the given origin and z; x along `along` as far as square to z allows.
Transform frame_with(const Vector3& origin, const Vector3& up, const Vector3& along) {
  const Vector3 x = (along - along.dot(up) * up).normalized();
  Transform T_scan_body = Transform::Identity();
  T_scan_body.linear() << x, up.cross(x), up;
  T_scan_body.translation() = origin;
  return T_scan_body.inverse();
}

// A frame whose z is the normal of the best plane through the cells, signed like `direction`.
Transform frame_on(const SurfaceCells& cells, const std::vector<std::uint32_t>& members, const Vector3& direction) {
  Vector3 mean = Vector3::Zero();
  for (const auto i : members) mean += cells.cells[i].mean_mm.cast<double>();
  mean /= static_cast<double>(members.size());
  Matrix3 covariance = Matrix3::Zero();
  for (const auto i : members) {
    const Vector3 d = cells.cells[i].mean_mm.cast<double>() - mean;
    covariance += d * d.transpose();
  }
  const Eigen::SelfAdjointEigenSolver<Matrix3> eigen(covariance);
  Vector3 up = eigen.eigenvectors().col(0);
  if (up.dot(direction) < 0) up = -up;
  return frame_with(mean, up, eigen.eigenvectors().col(2));
}

struct Hypothesis {
  Orientation orientation;
  double score = 0.0;
  double rim_length_mm = 0.0;
};

// Mean bend of the wall in plan, 1/mm, positive where the body bulges outward: the chord of two wall places at
// distance d leaves the tangent by d^2/2 times the curvature.
double mean_bulge(const std::vector<Vector2>& places, const std::vector<Vector2>& out) {
  double sum = 0.0, weight = 0.0;
  const std::size_t step = std::max<std::size_t>(1, places.size() / 400);
  for (std::size_t i = 0; i < places.size(); i += step)
    for (std::size_t j = 0; j < places.size(); j += step) {
      const Vector2 d = places[j] - places[i];
      const double squared = d.squaredNorm();
      if (squared < 225.0 || squared > 10000.0 || out[i].dot(out[j]) < 0.5) continue;
      sum -= 2.0 * d.dot(out[i]);
      weight += squared;
    }
  return weight > 0.0 ? sum / weight : 0.0;
}

Hypothesis hold_as_top(const SurfaceCells& cells, const std::vector<std::uint32_t>& members,
                       const Transform& T_body_scan, const OrientSettings& settings) {
  Hypothesis hypothesis;
  Orientation& o = hypothesis.orientation;
  o.T_body_scan = T_body_scan;
  const auto fit = fit_top(cells, members, o.T_body_scan);
  if (!fit || fit->tightest_radius_mm < settings.tightest_dome_radius_mm) return hypothesis;
  o.top = fit->surface;

  // All flat cells on the same surface belong to the top, also where a hole or a clamp parts it.
  const double near_mm = std::max(0.5, 4.0 * fit->rms_mm);
  const auto facing_up = static_cast<float>(std::cos(radians_from_degrees(settings.flat_within_deg)));
  const auto facing_out = static_cast<float>(std::sin(radians_from_degrees(settings.wall_within_deg)));
  const auto steepest_slope = static_cast<float>(std::cos(radians_from_degrees(70.0)));
  const auto least_slope = static_cast<float>(std::cos(radians_from_degrees(20.0)));
  const Eigen::Vector3f up_scan = (o.T_body_scan.linear().transpose() * Vector3::UnitZ()).cast<float>();
  PlanOccupancy top_plan(std::max(4.0, cells.cell_mm));
  float facing = 0.0F;
  std::vector<std::uint32_t> steep, oblique;
  double top_points = 0.0;
  for (std::uint32_t i = 0; i < cells.cells.size(); ++i) {
    const SurfaceCell& cell = cells.cells[i];
    if (!is_flat(cell)) continue;
    const float cosine = std::abs(cell.normal.dot(up_scan));
    if (cosine < facing_out) steep.push_back(i);
    if (cosine > steepest_slope && cosine < least_slope) oblique.push_back(i);
    if (cosine < facing_up) continue;
    const Vector3 p = o.T_body_scan * cell.mean_mm.cast<double>();
    if (std::abs(p.z() - o.top.height_mm(p.x(), p.y())) > near_mm) continue;
    o.top_cells.push_back(i);
    top_plan.mark(p.head<2>());
    facing += cell.facing.dot(up_scan);
    top_points += cell.count;
  }

  // Which side of each steep cell the top lies on, and whether the cell hangs below it.
  PlanOccupancy rim_plan(5.0);
  std::vector<Vector2> places;
  std::size_t above = 0;
  double wall_points = 0.0;
  const double shallowest_mm = std::max(1.5, cells.cell_mm / 2);
  for (const auto i : steep) {
    const Vector3 p = o.T_body_scan * cells.cells[i].mean_mm.cast<double>();
    const double height_mm = p.z() - o.top.height_mm(p.x(), p.y());
    if (std::abs(height_mm) < shallowest_mm || std::abs(height_mm) > settings.deepest_side_mm) continue;
    Vector2 across = (o.T_body_scan.linear() * cells.cells[i].normal.cast<double>()).head<2>().normalized();
    int inside = 0, outside = 0;
    for (double reach = 4.0; reach <= settings.widest_bevel_mm; reach += 4.0) {
      inside += top_plan.holds(p.head<2>() - reach * across);
      outside += top_plan.holds(p.head<2>() + reach * across);
    }
    if (inside < outside) {
      std::swap(inside, outside);
      across = -across;
    }
    if (inside < 2 || outside * 4 > inside) continue;
    if (height_mm > 0) {
      ++above;
      continue;
    }
    o.wall_cells.push_back(i);
    o.wall_out.push_back(across);
    places.push_back(p.head<2>());
    rim_plan.mark(p.head<2>());
    wall_points += cells.cells[i].count;
  }

  // A table on which the body stands makes the same picture upside down: flat, a wall at its border, a flat beyond.
  // What tells them apart: the rim bulges outward, the work (a sloping face) lies at the top's edge, not at the foot of
  // the side, and the top is scanned as densely as the side is.
  PlanOccupancy work_plan(5.0);
  for (const auto i : oblique) {
    const Vector3 p = o.T_body_scan * cells.cells[i].mean_mm.cast<double>();
    const double height_mm = p.z() - o.top.height_mm(p.x(), p.y());
    constexpr double deepest_work_mm = 30.0;
    if (height_mm < -shallowest_mm && height_mm > -deepest_work_mm) work_plan.mark(p.head<2>());
  }
  if (above > o.wall_cells.size()) return hypothesis;  // a table with the body standing on it
  const double top_area = static_cast<double>(top_plan.size()) * std::pow(std::max(4.0, cells.cell_mm), 2);
  if (top_area < settings.smallest_top_mm2) return hypothesis;
  // A wall in plan marks one or two 5 mm squares for each 5 mm of its length.
  hypothesis.rim_length_mm = static_cast<double>(rim_plan.size()) * 5.0 / 1.4;
  const double bulge = mean_bulge(places, o.wall_out);
  const double flatness = fit->tightest_radius_mm / (fit->tightest_radius_mm + 1000.0);
  const double bulge_factor = 1.0 + std::clamp(100.0 * bulge, -0.3, 0.3);
  const double work_factor = 1.0 + 0.5 * std::min(1.0, static_cast<double>(work_plan.size()) /
                                                           std::max(1.0, static_cast<double>(rim_plan.size())));
  const double density = top_points / std::max(1.0, static_cast<double>(o.top_cells.size()));
  const double wall_density = wall_points / std::max(1.0, static_cast<double>(o.wall_cells.size()));
  const double density_factor = density < 0.4 * wall_density ? 0.8 : 1.0;
  const double facing_factor = facing < 0.0F ? 0.2 : 1.0;
  hypothesis.score = hypothesis.rim_length_mm * flatness * bulge_factor * work_factor * density_factor * facing_factor;
  return hypothesis;
}

// The same hypothesis with up as the side tells it; twice, since the side's own cells are chosen better once up is
// known better. turned: how far that is from the flat's own normal.
struct SquaredUp {
  Hypothesis hypothesis;
  double turned_rad = 0.0;
};

SquaredUp squared_up(const SurfaceCells& cells, const Hypothesis& flat, const OrientSettings& settings) {
  SquaredUp result{flat, 0.0};
  Hypothesis& hypothesis = result.hypothesis;
  for (int round = 0; round < 2; ++round) {
    const SquareUp square = square_up(cells, hypothesis.orientation, settings);
    result.turned_rad += std::acos(std::min(1.0, square.up_body.z()));
    hypothesis.orientation.tilt_u_rad = square.tilt_u_rad;
    const Transform T_scan_body = hypothesis.orientation.T_body_scan.inverse();
    Hypothesis squared = hold_as_top(
        cells, hypothesis.orientation.top_cells,
        frame_with(T_scan_body.translation(), T_scan_body.linear() * square.up_body, T_scan_body.linear().col(0)),
        settings);
    if (squared.score <= 0.0) break;
    squared.orientation.tilt_u_rad = square.tilt_u_rad;
    hypothesis = std::move(squared);
  }
  return result;
}

struct Flat {
  Vector3 direction;  // that its cells face, but for the sign
  std::vector<std::uint32_t> members;
};

// The largest connected flats of each common direction that may be a top.
std::vector<Flat> large_flats(const SurfaceCells& cells, const OrientSettings& settings, Workers& workers) {
  constexpr std::size_t most_a_direction = 3;
  const auto fewest_cells = static_cast<std::size_t>(settings.smallest_top_mm2 / (cells.cell_mm * cells.cell_mm));
  const auto directions = common_directions(cells, settings.flat_within_deg / 2, workers);
  std::vector<std::vector<std::vector<std::uint32_t>>> components(directions.size());
  workers.for_chunks(directions.size(), 1, [&](std::size_t i, std::size_t, std::size_t) {
    components[i] = connected_flats(cells, directions[i], settings.flat_within_deg);
  });
  std::vector<Flat> flats;
  for (std::size_t i = 0; i < directions.size(); ++i)
    for (std::size_t k = 0; k < std::min(most_a_direction, components[i].size()); ++k)
      if (components[i][k].size() >= fewest_cells / 2 + 3)
        flats.push_back({directions[i], std::move(components[i][k])});
  return flats;
}

}  // namespace

Outcome<Orientation> orient(const SurfaceCells& cells, const OrientSettings& settings, Workers& workers) {
  const std::vector<Flat> flats = large_flats(cells, settings, workers);
  std::vector<Hypothesis> hypotheses(2 * flats.size());  // each flat as it faces and turned over
  workers.for_chunks(hypotheses.size(), 1, [&](std::size_t i, std::size_t, std::size_t) {
    const Flat& flat = flats[i / 2];
    const Vector3 up = i % 2 == 0 ? flat.direction : Vector3(-flat.direction);
    hypotheses[i] = hold_as_top(cells, flat.members, frame_on(cells, flat.members, up), settings);
  });
  std::erase_if(hypotheses, [](const Hypothesis& hypothesis) { return !(hypothesis.score > 0.0); });
  if (flats.empty())
    return refuse(RefusalReason::no_top_found, "no flat or gently domed surface was found that could be the top",
                  "scan the top at least 40 mm in from the rim, together with the side");
  if (hypotheses.empty())
    return refuse(RefusalReason::no_side_found, "no steep wall was found below the edge of a flat surface",
                  "scan the side at least 30 mm down, together with the top beside it");
  const auto scores_less = [](const Hypothesis& a, const Hypothesis& b) { return a.score < b.score; };
  const Hypothesis& best_found = *std::max_element(hypotheses.begin(), hypotheses.end(), scores_less);
  if (best_found.rim_length_mm < settings.shortest_rim_mm)
    return refuse(RefusalReason::no_rim_found,
                  "top and side are seen together along " + std::to_string(static_cast<int>(best_found.rim_length_mm)) +
                      " mm of rim only",
                  "scan at least 60 mm of rim with both faces in view");
  // Facets of a round side, held tilted, can score like the top does; but the side then says that up is elsewhere. What
  // has to be turned less than half as far as a flat's cells may lean comes first.
  const double least_score = settings.least_share_of_best * best_found.score;
  std::erase_if(hypotheses, [&](const Hypothesis& hypothesis) { return hypothesis.score < least_score; });
  std::vector<SquaredUp> tops(hypotheses.size());
  workers.for_chunks(tops.size(), 1, [&](std::size_t i, std::size_t, std::size_t) {
    tops[i] = squared_up(cells, hypotheses[i], settings);
  });
  const double little_rad = radians_from_degrees(0.5 * settings.flat_within_deg);
  const auto best = std::max_element(tops.begin(), tops.end(), [&](const SquaredUp& a, const SquaredUp& b) {
    const bool a_is_square = a.turned_rad < little_rad, b_is_square = b.turned_rad < little_rad;
    return a_is_square != b_is_square ? b_is_square : a.hypothesis.score < b.hypothesis.score;
  });
  return std::move(best->hypothesis.orientation);
}

}  // namespace rimwright
