#include "capture/depth/align_frames.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "capture/depth/patch_map.h"
#include "capture/depth/refine_poses.h"

namespace rimwright {

namespace {

using Vector6 = Eigen::Matrix<double, 6, 1>;
using Matrix6 = Eigen::Matrix<double, 6, 6>;

// Where a frame looks: moves of the pose are told as moves of this place, which is where the measuring happens.
Vector3 view_centre(const std::vector<DepthPatch>& patches) {
  Vector3 sum = Vector3::Zero();
  for (const DepthPatch& patch : patches) sum += patch.point_mm;
  return sum / std::max<double>(1.0, static_cast<double>(patches.size()));
}

// Turns by delta.head<3>() about the pivot, then moves by delta.tail<3>().
Transform moved(const Transform& pose, const Vector6& delta, const Vector3& pivot) {
  const Vector3 turn = delta.head<3>();
  const double angle = turn.norm();
  const Matrix3 rotation =
      angle > 0.0 ? Eigen::AngleAxisd(angle, turn / angle).toRotationMatrix() : Matrix3::Identity();
  Transform result = pose;
  result.linear() = Eigen::Quaterniond(rotation * pose.linear()).normalized().toRotationMatrix();
  result.translation() = rotation * (pose.translation() - pivot) + pivot + delta.tail<3>();
  return result;
}

// One frame onto the model, point to plane, with a gate that closes from first_gate_mm to what the residuals show.
FramePose lay_on_model(const std::vector<DepthPatch>& patches, const PatchMap& model, const Transform& start,
                       const DepthNoise& noise, const AlignSettings& settings) {
  FramePose frame;
  frame.T_scan_camera = start;
  const Vector3 centre_camera = view_centre(patches);
  double gate_mm = settings.first_gate_mm;
  std::vector<double> sizes;
  for (std::size_t step = 0; step < settings.most_steps; ++step) {
    const Vector3 pivot = frame.T_scan_camera * centre_camera;
    Matrix6 normal_matrix = Matrix6::Zero();
    Vector6 right_side = Vector6::Zero();
    double square_sum = 0.0, weight_sum = 0.0;
    std::size_t matched = 0;
    sizes.clear();
    for (const DepthPatch& patch : patches) {
      const Vector3 point = frame.T_scan_camera * patch.point_mm;
      const PatchMap::Plane* plane = model.find(point, frame.T_scan_camera.linear() * patch.normal);
      if (!plane) continue;
      const Vector3 normal = plane->normal();
      const double residual = normal.dot(point - plane->point_mm());
      if (std::abs(residual) > gate_mm) continue;
      ++matched;
      sizes.push_back(std::abs(residual));
      const double ratio = residual / gate_mm;
      const double biweight = (1.0 - ratio * ratio) * (1.0 - ratio * ratio);
      const double sigma = noise.sigma_z_mm(patch.point_mm.z(), patch.incidence_rad) / noise.sigma_mm;
      const double weight = biweight / (sigma * sigma);
      Vector6 jacobian;
      jacobian << (point - pivot).cross(normal), normal;
      normal_matrix += weight * jacobian * jacobian.transpose();
      right_side -= weight * residual * jacobian;
      square_sum += weight * residual * residual;
      weight_sum += weight;
    }
    frame.matched_share = static_cast<double>(matched) / std::max<double>(1.0, static_cast<double>(patches.size()));
    if (matched < settings.fewest_matched) return frame;
    frame.rms_mm = std::sqrt(square_sum / weight_sum);
    // Directions in which the view has no shape (sliding along a straight rim) keep the prediction.
    normal_matrix.diagonal() += 1e-6 * normal_matrix.diagonal() + Vector6::Constant(1e-9);
    const Vector6 delta = normal_matrix.ldlt().solve(right_side);
    if (!delta.allFinite()) return frame;
    frame.T_scan_camera = moved(frame.T_scan_camera, delta, pivot);
    const auto half = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
    std::nth_element(sizes.begin(), half, sizes.end());
    constexpr double sigma_from_median = 1.4826;  // of the size of a normal variable
    // Most of a view is blind to sliding along the rim: its residuals are small whatever the slide. The few places
    // that see the slide must not be taken for strays, so the gate never closes below narrowest_gate_mm.
    const double wanted_gate_mm = std::max(settings.narrowest_gate_mm, 5.0 * sigma_from_median * *half);
    const bool gate_open = gate_mm > 1.5 * wanted_gate_mm;
    gate_mm = std::min(gate_mm, std::max(wanted_gate_mm, 0.5 * gate_mm));
    if (!gate_open && delta.tail<3>().norm() < 1e-3 && delta.head<3>().norm() < 1e-5) break;
  }
  frame.aligned = frame.matched_share >= settings.least_matched_share;
  return frame;
}

void add_to_model(PatchMap& model, const std::vector<DepthPatch>& patches, const Transform& T_scan_camera,
                  const DepthNoise& noise) {
  for (const DepthPatch& patch : patches) {
    const double sigma = noise.sigma_z_mm(patch.point_mm.z(), patch.incidence_rad) / noise.sigma_mm;
    model.add(T_scan_camera * patch.point_mm, T_scan_camera.linear() * patch.normal, 1.0 / (sigma * sigma));
  }
}

// Products of many rotations leave the rotations by rounding, and predicting doubles what has been left each time.
Transform made_rigid(const Transform& pose) {
  Transform result = pose;
  result.linear() = Eigen::Quaterniond(pose.linear()).normalized().toRotationMatrix();
  return result;
}

// The prediction: as given relative to the last frame aligned, else as the hand moved between the last two.
Transform predicted(const DepthCapture& capture, const std::vector<FramePose>& frames, std::size_t frame,
                    bool use_given) {
  std::size_t last = frame;
  while (last > 0 && !frames[last - 1].aligned) --last;
  if (last == 0) return Transform::Identity();
  --last;
  const auto& given = capture.frames[frame].T_scan_camera;
  const auto& given_last = capture.frames[last].T_scan_camera;
  if (use_given && given && given_last) return made_rigid(frames[last].T_scan_camera * given_last->inverse() * *given);
  if (last > 0 && frames[last - 1].aligned && frame == last + 1) {
    return made_rigid(frames[last].T_scan_camera * frames[last - 1].T_scan_camera.inverse() *
                      frames[last].T_scan_camera);
  }
  return frames[last].T_scan_camera;
}

// Each frame in turn onto the model that those before it make.
std::vector<FramePose> lay_one_by_one(const DepthCapture& capture, const std::vector<std::vector<DepthPatch>>& patches,
                                      const DepthNoise& noise, const AlignSettings& settings, bool use_given) {
  std::vector<FramePose> frames(capture.frames.size());
  PatchMap model(settings.cell_mm);
  bool is_first = true;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    FramePose& frame = frames[i];
    if (patches[i].size() < settings.fewest_matched) continue;
    if (is_first) {
      if (use_given) frame.T_scan_camera = capture.frames[i].T_scan_camera.value_or(Transform::Identity());
      frame.aligned = true;
      frame.matched_share = 1.0;
      is_first = false;
    } else {
      frame = lay_on_model(patches[i], model, predicted(capture, frames, i, use_given), noise, settings);
    }
    if (frame.aligned) add_to_model(model, patches[i], frame.T_scan_camera, noise);
  }
  return frames;
}

std::size_t aligned_among(const std::vector<FramePose>& frames) {
  return static_cast<std::size_t>(
      std::count_if(frames.begin(), frames.end(), [](const FramePose& frame) { return frame.aligned; }));
}

}  // namespace

Outcome<Alignment> align_frames(const DepthCapture& capture, const std::vector<std::vector<DepthPatch>>& patches,
                                const DepthNoise& noise, const AlignSettings& settings, Workers& workers) {
  const std::size_t count = capture.frames.size();
  Alignment alignment;
  alignment.frames = lay_one_by_one(capture, patches, noise, settings, true);
  std::size_t aligned = aligned_among(alignment.frames);
  // Poses that contradict the images (of another camera, inverted, in another order) are worse than none.
  const bool has_poses = std::any_of(capture.frames.begin(), capture.frames.end(),
                                     [](const DepthFrame& frame) { return frame.T_scan_camera.has_value(); });
  if (has_poses && static_cast<double>(count - aligned) > settings.doubtful_share * static_cast<double>(count)) {
    auto without = lay_one_by_one(capture, patches, noise, settings, false);
    if (aligned_among(without) > aligned) {
      aligned = aligned_among(without);
      alignment.frames = std::move(without);
      alignment.notes.emplace_back("The poses given do not fit the depth images and were not used.");
    }
  }
  alignment.frames_left_out = count - aligned;
  if (aligned < 2 || 2 * aligned < count) {
    return refuse(RefusalReason::capture_insufficient,
                  "only " + std::to_string(aligned) + " of " + std::to_string(count) +
                      " depth images could be laid on one another",
                  "move the camera more slowly and keep the rim in view all the time");
  }

  std::vector<std::size_t> joint;  // frames adjusted together, evenly spread
  std::vector<std::size_t> all;
  for (std::size_t i = 0; i < count; ++i) {
    if (alignment.frames[i].aligned) all.push_back(i);
  }
  const std::size_t every = (all.size() + settings.most_joint_frames - 1) / settings.most_joint_frames;
  for (std::size_t k = 0; k < all.size(); k += every) joint.push_back(all[k]);
  std::vector<const std::vector<DepthPatch>*> joint_patches;
  std::vector<Transform> joint_poses;
  for (const std::size_t i : joint) {
    joint_patches.push_back(&patches[i]);
    joint_poses.push_back(alignment.frames[i].T_scan_camera);
  }
  const Refinement refinement = refine_poses(joint_patches, joint_poses, noise, settings, workers);
  alignment.bias_mm = refinement.bias_mm;
  alignment.weakest_u_mm = refinement.weakest_u_mm;
  alignment.joint_steps = refinement.steps;
  alignment.settled = refinement.settled;
  PatchMap refined(settings.cell_mm);
  for (std::size_t k = 0; k < joint.size(); ++k) {
    FramePose& frame = alignment.frames[joint[k]];
    const Vector3 centre = view_centre(patches[joint[k]]);
    const double move_mm = (refinement.T_scan_camera[k] * centre - frame.T_scan_camera * centre).norm();
    alignment.drift_mm = std::max(alignment.drift_mm, move_mm);
    frame.T_scan_camera = refinement.T_scan_camera[k];
    add_to_model(refined, patches[joint[k]], frame.T_scan_camera, noise);
  }
  if (every > 1) {
    workers.for_chunks(all.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
      for (std::size_t k = begin; k < end; ++k) {
        if (k % every == 0) continue;
        FramePose& frame = alignment.frames[all[k]];
        // The nearest adjusted frame before it carries the correction over.
        const std::size_t before = k / every;
        const Transform correction = refinement.T_scan_camera[before] * joint_poses[before].inverse();
        frame = lay_on_model(patches[all[k]], refined, correction * frame.T_scan_camera, noise, settings);
      }
    });
    alignment.frames_left_out = count - aligned_among(alignment.frames);
  }
  if (!alignment.settled) alignment.notes.emplace_back("The joint adjustment of the poses did not settle.");
  return alignment;
}

}  // namespace rimwright
