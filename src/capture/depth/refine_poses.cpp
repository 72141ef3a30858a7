#include "capture/depth/refine_poses.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "capture/depth/patch_map.h"

namespace rimwright {

namespace {

using Vector6 = Eigen::Matrix<double, 6, 1>;
using Matrix6 = Eigen::Matrix<double, 6, 6>;
using Matrix63 = Eigen::Matrix<double, 6, 3>;

// A patch as placed by its frame's pose.
struct Placed {
  std::uint64_t cell = 0;
  std::uint32_t frame = 0;
  std::uint32_t patch = 0;
  Vector3 point = Vector3::Zero(), normal = Vector3::Zero();
  double weight = 0.0;  // 1 / variance of its point along the normal, from pixel noise and the bias found so far
};

// Consecutive patches of one cell and one direction: what one plane of the model rests on.
struct Group {
  std::size_t begin = 0, end = 0;
};

struct Plane {
  Vector3 centre, normal, along, across;
};

std::vector<Placed> all_patches(const std::vector<const std::vector<DepthPatch>*>& patches) {
  std::vector<Placed> placed;
  for (std::size_t f = 0; f < patches.size(); ++f) {
    for (std::size_t k = 0; k < patches[f]->size(); ++k) {
      Placed p;
      p.frame = static_cast<std::uint32_t>(f);
      p.patch = static_cast<std::uint32_t>(k);
      placed.push_back(p);
    }
  }
  return placed;
}

// Patches sorted by cell, then by direction (clusters in the order of frames), so that groups are ranges.
std::vector<Group> group_patches(std::vector<Placed>& placed) {
  std::sort(placed.begin(), placed.end(), [](const Placed& a, const Placed& b) {
    return std::tie(a.cell, a.frame, a.patch) < std::tie(b.cell, b.frame, b.patch);
  });
  std::vector<Group> groups;
  std::vector<Placed> cell;
  for (std::size_t begin = 0; begin < placed.size();) {
    std::size_t end = begin;
    while (end < placed.size() && placed[end].cell == placed[begin].cell) ++end;
    cell.assign(placed.begin() + static_cast<std::ptrdiff_t>(begin), placed.begin() + static_cast<std::ptrdiff_t>(end));
    std::size_t write = begin;
    constexpr double agreement = 0.95;  // cosine, as where the model grows
    while (!cell.empty()) {
      Vector3 direction = cell.front().normal;
      // The mean direction of those near the first, then those near the mean.
      Vector3 sum = Vector3::Zero();
      for (const Placed& patch : cell) {
        if (patch.normal.dot(direction) > agreement) sum += patch.normal;
      }
      direction = sum.normalized();
      Group group{write, write};
      std::vector<Placed> rest;
      for (const Placed& patch : cell) {
        if (patch.normal.dot(direction) > agreement) {
          placed[write++] = patch;
        } else {
          rest.push_back(patch);
        }
      }
      if (write == group.begin) break;  // directions all apart: no plane here
      group.end = write;
      groups.push_back(group);
      cell.swap(rest);
    }
    begin = end;
  }
  return groups;
}

// A group serves when three frames or more share it.
bool shared(const std::vector<Placed>& placed, const Group& group) {
  std::size_t frames = 1;
  for (std::size_t i = group.begin + 1; i < group.end && frames < 3; ++i) {
    if (placed[i].frame != placed[i - 1].frame) ++frames;
  }
  return frames >= 3 && group.end - group.begin >= 6;
}

Plane plane_of(const std::vector<Placed>& placed, const Group& group) {
  Plane plane;
  Vector3 normal = Vector3::Zero(), point = Vector3::Zero();
  double weight = 0.0;
  for (std::size_t i = group.begin; i < group.end; ++i) {
    normal += placed[i].weight * placed[i].normal;
    point += placed[i].weight * placed[i].point;
    weight += placed[i].weight;
  }
  plane.normal = normal.normalized();
  plane.centre = point / weight;
  plane.along = plane.normal.unitOrthogonal();
  plane.across = plane.normal.cross(plane.along);
  return plane;
}

double biweight(double residual, double gate) {
  const double ratio = residual / gate;
  if (std::abs(ratio) >= 1.0) return 0.0;
  return (1.0 - ratio * ratio) * (1.0 - ratio * ratio);
}

// Height and slopes of the group's plane over (along, across), in units of the cell, with weights as given.
struct PlaneFit {
  Matrix3 inverse = Matrix3::Zero();
  Vector3 solution = Vector3::Zero();
};

struct System {
  Eigen::MatrixXd normal_matrix;
  Eigen::VectorXd right_side;
};

struct Tally {
  double residual_square = 0.0, expected_square = 0.0;
  std::size_t patches = 0;
  std::vector<float> normalised;  // residual by its standard deviation, for the gate
};

// What the patches of one plane leave beyond their noise. A curved side bows within a cell, which is no error of the
// camera: a paraboloid takes it up.
void count_excess(const std::vector<double>& residual, const std::vector<double>& weight,
                  const std::vector<Vector3>& design, const Placed* patches, Tally& tally) {
  const auto terms_of = [](const Vector3& d) {
    Vector6 terms;
    terms << d[0], d[1], d[2], d[1] * d[1], d[1] * d[2], d[2] * d[2];
    return terms;
  };
  Matrix6 matrix = Matrix6::Zero();
  Vector6 right = Vector6::Zero();
  std::size_t used = 0;
  for (std::size_t k = 0; k < design.size(); ++k) {
    if (weight[k] <= 0.0) continue;
    const Vector6 terms = terms_of(design[k]);
    matrix += weight[k] * terms * terms.transpose();
    right += weight[k] * residual[k] * terms;
    ++used;
  }
  constexpr std::size_t fewest = 12;  // twice the terms
  if (used < fewest) return;
  matrix.diagonal() += 1e-6 * Vector6::Constant(matrix(0, 0));
  const Matrix6 inverse = matrix.inverse();
  const Vector6 solution = inverse * right;
  for (std::size_t k = 0; k < design.size(); ++k) {
    if (weight[k] <= 0.0) continue;
    const Vector6 terms = terms_of(design[k]);
    const double left = residual[k] - terms.dot(solution);
    tally.residual_square += left * left;
    tally.expected_square += std::max(0.0, 1.0 - weight[k] * terms.dot(inverse * terms)) / patches[k].weight;
    ++tally.patches;
  }
}

// Adds one plane: poses' own terms, less what the plane itself can take up.
void add_plane(const std::vector<Placed>& placed, const Group& group, double cell_mm, double gate,
               const std::vector<Vector3>& pivots, System* system, Tally& tally) {
  const Plane plane = plane_of(placed, group);
  const std::size_t count = group.end - group.begin;
  std::vector<double> residual(count), weight(count);
  std::vector<Vector3> design(count);
  for (std::size_t k = 0; k < count; ++k) {
    const Placed& patch = placed[group.begin + k];
    const Vector3 offset = patch.point - plane.centre;
    design[k] = Vector3(1.0, plane.along.dot(offset) / cell_mm, plane.across.dot(offset) / cell_mm);
    residual[k] = plane.normal.dot(offset);
    weight[k] = patch.weight;
  }
  // The plane's own fit, twice, so that stray patches lose their say.
  PlaneFit fit;
  for (int pass = 0; pass < 3; ++pass) {
    Matrix3 matrix = Matrix3::Zero();
    Vector3 right = Vector3::Zero();
    for (std::size_t k = 0; k < count; ++k) {
      matrix += weight[k] * design[k] * design[k].transpose();
      right += weight[k] * residual[k] * design[k];
    }
    // Slopes lean on the mean direction of the patches where their places alone do not fix them.
    matrix(1, 1) += 1e-3 * matrix(0, 0);
    matrix(2, 2) += 1e-3 * matrix(0, 0);
    if (!(matrix(0, 0) > 0.0)) return;
    fit.inverse = matrix.inverse();
    fit.solution = fit.inverse * right;
    if (pass == 2) break;
    for (std::size_t k = 0; k < count; ++k) {
      const double left = residual[k] - design[k].dot(fit.solution);
      weight[k] = placed[group.begin + k].weight * biweight(left * std::sqrt(placed[group.begin + k].weight), gate);
    }
  }
  for (std::size_t k = 0; k < count; ++k) {
    const double left = residual[k] - design[k].dot(fit.solution);
    tally.normalised.push_back(static_cast<float>(left * std::sqrt(placed[group.begin + k].weight)));
  }
  count_excess(residual, weight, design, placed.data() + group.begin, tally);
  if (!system) return;
  const Vector3 normal =
      (plane.normal - plane.along * fit.solution[1] / cell_mm - plane.across * fit.solution[2] / cell_mm).normalized();
  std::vector<std::pair<std::uint32_t, Matrix63>> coupling;  // by frame
  for (std::size_t k = 0; k < count; ++k) {
    if (weight[k] <= 0.0) continue;
    const Placed& patch = placed[group.begin + k];
    Vector6 jacobian;
    jacobian << (patch.point - pivots[patch.frame]).cross(normal), normal;
    const double left = residual[k] - design[k].dot(fit.solution);
    const Eigen::Index at = 6 * Eigen::Index{patch.frame};
    system->normal_matrix.block<6, 6>(at, at) += weight[k] * jacobian * jacobian.transpose();
    system->right_side.segment<6>(at) -= weight[k] * left * jacobian;
    if (coupling.empty() || coupling.back().first != patch.frame) coupling.emplace_back(patch.frame, Matrix63::Zero());
    coupling.back().second += weight[k] * jacobian * design[k].transpose();
  }
  for (const auto& [frame_a, coupling_a] : coupling) {
    const Matrix63 reduced = coupling_a * fit.inverse;
    for (const auto& [frame_b, coupling_b] : coupling) {
      if (frame_b > frame_a) break;  // lower triangle only; frames come in order
      system->normal_matrix.block<6, 6>(6 * Eigen::Index{frame_a}, 6 * Eigen::Index{frame_b}).noalias() -=
          reduced * coupling_b.transpose();
    }
  }
}

}  // namespace

Refinement refine_poses(const std::vector<const std::vector<DepthPatch>*>& patches,
                        const std::vector<Transform>& T_scan_camera, const DepthNoise& noise,
                        const AlignSettings& settings, Workers& workers) {
  Refinement result;
  result.T_scan_camera = T_scan_camera;
  const std::size_t frames = patches.size();
  std::vector<Vector3> centre_camera(frames, Vector3::Zero());
  for (std::size_t f = 0; f < frames; ++f) {
    for (const DepthPatch& patch : *patches[f]) centre_camera[f] += patch.point_mm;
    centre_camera[f] /= std::max<double>(1.0, static_cast<double>(patches[f]->size()));
  }
  const auto unknowns = static_cast<Eigen::Index>(6 * frames);
  double bias_square = 0.0;
  double gate = 64.0;  // in standard deviations; halves from step to step, so that sliding is found before strays
  std::vector<Vector3> pivots(frames);
  std::vector<Placed> placed;
  std::vector<Group> groups;

  for (std::size_t step = 0; step < settings.most_joint_steps; ++step) {
    for (std::size_t f = 0; f < frames; ++f) pivots[f] = result.T_scan_camera[f] * centre_camera[f];
    // Which patches share a plane is settled in the first rounds and then kept, or the last micrometres would be
    // chased for ever.
    const bool regroup = step < settings.regrouping_steps;
    if (regroup) placed = all_patches(patches);
    for (Placed& p : placed) {
      const DepthPatch& patch = (*patches[p.frame])[p.patch];
      const Transform& pose = result.T_scan_camera[p.frame];
      p.point = pose * patch.point_mm;
      p.normal = pose.linear() * patch.normal;
      const double sigma = noise.sigma_z_mm(patch.point_mm.z(), patch.incidence_rad) * std::cos(patch.incidence_rad);
      p.weight = 1.0 / (sigma * sigma * patch.point_variance + bias_square + 1e-8);
      if (regroup) p.cell = cell_key(p.point, settings.cell_mm);
    }
    if (regroup) {
      groups = group_patches(placed);
      std::erase_if(groups, [&placed](const Group& group) { return !shared(placed, group); });
    }
    if (groups.empty()) return result;

    // A fixed number of chunks, summed in order: the answer does not depend on the threads.
    constexpr std::size_t chunks = 6;
    const std::size_t chunk_size = (groups.size() + chunks - 1) / chunks;
    std::vector<System> systems(chunks);
    std::vector<Tally> tallies(chunks);
    workers.for_chunks(groups.size(), chunk_size, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
      systems[chunk].normal_matrix = Eigen::MatrixXd::Zero(unknowns, unknowns);
      systems[chunk].right_side = Eigen::VectorXd::Zero(unknowns);
      for (std::size_t g = begin; g < end; ++g) {
        add_plane(placed, groups[g], settings.cell_mm, gate, pivots, &systems[chunk], tallies[chunk]);
      }
    });
    System& system = systems.front();
    Tally& tally = tallies.front();
    for (std::size_t chunk = 1; chunk < chunks; ++chunk) {
      if (systems[chunk].right_side.size() == 0) continue;
      system.normal_matrix += systems[chunk].normal_matrix;
      system.right_side += systems[chunk].right_side;
      tally.residual_square += tallies[chunk].residual_square;
      tally.expected_square += tallies[chunk].expected_square;
      tally.patches += tallies[chunk].patches;
      tally.normalised.insert(tally.normalised.end(), tallies[chunk].normalised.begin(),
                              tallies[chunk].normalised.end());
    }
    // The first frame stays; a trace of damping holds directions without shape (sliding along a straight rim).
    const double scale = system.normal_matrix.diagonal().mean();
    system.normal_matrix.diagonal().head<6>().array() += 1e6 * scale;
    system.normal_matrix.diagonal().array() += 1e-7 * scale;
    const Eigen::LLT<Eigen::MatrixXd, Eigen::Lower> solver(system.normal_matrix);
    if (solver.info() != Eigen::Success) return result;
    const Eigen::VectorXd delta = solver.solve(system.right_side);
    double farthest_mm = 0.0;
    for (std::size_t f = 0; f < frames; ++f) {
      const Vector3 turn = delta.segment<3>(static_cast<Eigen::Index>(6 * f));
      const Vector3 move = delta.segment<3>(static_cast<Eigen::Index>(6 * f + 3));
      const double angle = turn.norm();
      const Matrix3 rotation =
          angle > 0.0 ? Eigen::AngleAxisd(angle, turn / angle).toRotationMatrix() : Matrix3::Identity();
      Transform& pose = result.T_scan_camera[f];
      pose.translation() = rotation * (pose.translation() - pivots[f]) + pivots[f] + move;
      pose.linear() = Eigen::Quaterniond(rotation * pose.linear()).normalized().toRotationMatrix();
      farthest_mm = std::max({farthest_mm, move.norm(), 100.0 * angle});  // a view is some 100 mm wide
    }
    result.steps = step + 1;
    result.settled = farthest_mm < std::max(settings.settled_mm, settings.settled_share * noise.sigma_mm);

    const double excess =
        (tally.residual_square - tally.expected_square) / std::max<double>(1.0, static_cast<double>(tally.patches));
    bias_square = std::max(0.0, bias_square + excess);
    result.bias_mm = std::sqrt(bias_square);
    std::vector<float>& sizes = tally.normalised;
    for (float& size : sizes) size = std::abs(size);
    const auto half = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
    std::nth_element(sizes.begin(), half, sizes.end());
    const double wanted_gate =
        std::max(4.685, 4.685 * 1.4826 * static_cast<double>(*half));  // Tukey's constant, 95 % efficient
    gate = std::max(wanted_gate, 0.5 * gate);

    if (result.settled || step + 1 == settings.most_joint_steps) {
      // Columns of the inverse that belong to translations give each frame's uncertainty relative to the first.
      for (std::size_t f = 1; f < frames; f += std::max<std::size_t>(1, frames / 12)) {
        Eigen::MatrixXd unit = Eigen::MatrixXd::Zero(unknowns, 3);
        for (int axis = 0; axis < 3; ++axis) unit(static_cast<Eigen::Index>(6 * f) + 3 + axis, axis) = 1.0;
        const Eigen::MatrixXd column = solver.solve(unit);
        const double variance = column.block<3, 3>(static_cast<Eigen::Index>(6 * f) + 3, 0).trace();
        result.weakest_u_mm = std::max(result.weakest_u_mm, std::sqrt(std::max(0.0, variance)));
      }
      break;
    }
  }
  return result;
}

}  // namespace rimwright
