#include "judge/align_passes.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <optional>

#include "core/median.h"
#include "judge/align_rims.h"
#include "judge/untouched_patches.h"

namespace rimwright {
namespace {

using Row = Eigen::Matrix<double, 7, 1>;

// A patch of the later pass and the earlier surface under it, both in the earlier frame.
struct Pair {
  const UntouchedPatch* patch = nullptr;
  Row jacobian = Row::Zero();
  double residual_mm = 0.0;  // earlier surface minus later patch, along the normal
  double variance_mm2 = 0.0;
  double weight = 0.0;
};

// Standard deviation of normal values, from their median absolute value.
double robust_sigma(const std::vector<Pair>& pairs, bool standardised) {
  std::vector<double> sizes;
  for (const Pair& pair : pairs) {
    sizes.push_back(std::abs(pair.residual_mm) / (standardised ? std::sqrt(pair.variance_mm2) : 1.0));
  }
  return 1.4826 * median_of(std::move(sizes));
}

Row jacobian_of(const Vector3& at, const Vector3& normal, const Vector3& pivot) {
  Row row;
  row << (at - pivot).cross(normal), normal, normal.dot(at - pivot);
  return row;
}

std::vector<Pair> pair_up(const std::vector<UntouchedPatch>& patches, const FaceSurfaces& before,
                          const PassAlignment& alignment, double range_mm, const AlignPassesSettings& settings) {
  std::vector<Pair> pairs;
  for (const UntouchedPatch& patch : patches) {
    const Vector3 at = alignment.to_before(patch.at_mm);
    const Vector3 normal = alignment.direction_to_before(patch.normal);
    if (before.worked.nearest_mm(at) < settings.away_from_work_mm) continue;
    const LocalPlane plane =
        before.of(patch.kind).plane_along(at, normal, settings.patch_radius_mm, range_mm, range_mm);
    constexpr double same_way = 0.9;  // cosine: a plane turned further belongs to another part of the body
    if (!plane.found || plane.normal.dot(normal) < same_way) continue;
    Pair pair;
    pair.patch = &patch;
    pair.jacobian = jacobian_of(at, plane.normal, alignment.pivot_before_mm);
    pair.residual_mm = plane.height_mm;
    pair.variance_mm2 = patch.variance_mm2 + plane.leverage * plane.noise_mm * plane.noise_mm;
    pairs.push_back(pair);
  }
  return pairs;
}

void apply(const Row& step, PassAlignment& alignment) {
  const Vector3 turn = step.head<3>(), shift = step.segment<3>(3);
  const double angle = turn.norm();
  const Matrix3 rotation =
      angle > 0.0 ? Eigen::AngleAxisd(angle, turn / angle).toRotationMatrix() : Matrix3(Matrix3::Identity());
  const double grow = std::exp(step[6]);
  const Vector3& pivot = alignment.pivot_before_mm;
  Transform moved = Transform::Identity();
  moved.linear() = rotation * alignment.T_before_after.linear();
  moved.translation() = grow * rotation * (alignment.T_before_after.translation() - pivot) + pivot + shift;
  alignment.T_before_after = moved;
  alignment.scale *= grow;
}

// Weak knowledge that keeps the fit solvable where the faces leave a direction open (a rim of even curvature slides
// along itself), and what both scans claim of their scale.
Row prior_information(const Pass& before, const Pass& after) {
  constexpr double turn_rad = 0.2, shift_mm = 10.0, held_scale = 1e-7;
  const double scale_u = std::max(held_scale, std::hypot(before.scale_relative_u, after.scale_relative_u));
  Row information;
  information << Vector3::Constant(1.0 / (turn_rad * turn_rad)), Vector3::Constant(1.0 / (shift_mm * shift_mm)),
      1.0 / (scale_u * scale_u);
  return information;
}

struct Fit {
  PassAlignment alignment;
  std::vector<Pair> pairs;
};

// Gauss-Newton with Tukey's biweight; the step from the prior's centre for scale, which starts at 1.
Fit settle(const Pass& before_pass, const Pass& after_pass, const FaceSurfaces& before,
           const std::vector<UntouchedPatch>& patches, PassAlignment alignment, const AlignPassesSettings& settings) {
  constexpr int most_rounds = 25;
  constexpr double tukey = 4.685, settled_mm = 1e-4;
  const Row prior = prior_information(before_pass, after_pass);
  double range_mm = settings.capture_range_mm;
  Fit fit;
  for (int round = 0; round < most_rounds; ++round) {
    fit.pairs = pair_up(patches, before, alignment, range_mm, settings);
    if (fit.pairs.size() < 12) break;
    const double spread = std::max(1.0, robust_sigma(fit.pairs, true));
    AlignmentCovariance information = prior.asDiagonal();
    Row right = Row::Zero();
    right[6] = -prior[6] * std::log(alignment.scale);
    for (Pair& pair : fit.pairs) {
      const double z = pair.residual_mm / (tukey * spread * std::sqrt(pair.variance_mm2));
      const double bell = std::abs(z) < 1.0 ? (1.0 - z * z) * (1.0 - z * z) : 0.0;
      pair.weight = bell / (pair.variance_mm2 * spread * spread);
      information += pair.weight * pair.jacobian * pair.jacobian.transpose();
      right += pair.weight * pair.residual_mm * pair.jacobian;
    }
    const Row step = information.ldlt().solve(right);
    apply(step, alignment);
    double moved_mm = 0.0;
    for (const Pair& pair : fit.pairs) moved_mm = std::max(moved_mm, std::abs(pair.jacobian.dot(step)));
    range_mm = std::max(1.0, std::min(range_mm, 4.0 * robust_sigma(fit.pairs, false) + moved_mm));
    if (moved_mm < settled_mm) break;
  }
  fit.pairs = pair_up(patches, before, alignment, range_mm, settings);
  fit.alignment = alignment;
  return fit;
}

// What the untouched faces say of the noise, and the covariance of the fit.
void judge_fit(const Pass& before, const Pass& after, const AlignPassesSettings& settings, Fit& fit) {
  constexpr double tukey = 4.685;
  PassAlignment& alignment = fit.alignment;
  const double spread_mm = robust_sigma(fit.pairs, false);
  double mean_variance = 0.0;
  for (const Pair& pair : fit.pairs) mean_variance += pair.variance_mm2 / static_cast<double>(fit.pairs.size());
  const double declared =
      before.correlated_noise_mm * before.correlated_noise_mm + after.correlated_noise_mm * after.correlated_noise_mm;
  const double shared = std::max({0.0, spread_mm * spread_mm - mean_variance, declared});
  alignment.shared_noise_mm = std::sqrt(shared);
  alignment.noise_factor = std::max(1.0, spread_mm / std::sqrt(mean_variance));
  alignment.rms_mm = spread_mm;

  // Patches nearer than the correlation length err together: 2 pi L^2 of area counts as one (squared-exponential).
  const double length_mm = std::max(before.correlation_length_mm, after.correlation_length_mm);
  const double together =
      std::max(1.0, 2.0 * std::numbers::pi * length_mm * length_mm / (settings.patch_mm * settings.patch_mm));
  AlignmentCovariance information = prior_information(before, after).asDiagonal();
  std::map<std::pair<int, long>, Row> stretch_scores;
  for (Pair& pair : fit.pairs) {
    const double z = pair.residual_mm / (tukey * std::sqrt(pair.variance_mm2 + shared));
    const double bell = std::abs(z) < 1.0 ? (1.0 - z * z) * (1.0 - z * z) : 0.0;
    pair.weight = bell / (pair.variance_mm2 + shared * together);
    information += pair.weight * pair.jacobian * pair.jacobian.transpose();
    if (bell > 0.0) ++alignment.patches;
    const auto stretch =
        std::pair(static_cast<int>(pair.patch->kind), std::lround(pair.patch->station_mm / settings.stretch_mm));
    stretch_scores.try_emplace(stretch, Row::Zero()).first->second += pair.weight * pair.residual_mm * pair.jacobian;
  }
  alignment.covariance = information.inverse();
  AlignmentCovariance scores = AlignmentCovariance::Zero();
  for (const auto& [stretch, score] : stretch_scores) scores += score * score.transpose();
  const auto stretches = static_cast<double>(stretch_scores.size());
  constexpr double unknowns = 7.0;
  if (stretches <= unknowns + 1.0) return;
  const AlignmentCovariance by_stretch =
      alignment.covariance * scores * alignment.covariance * (stretches / (stretches - unknowns));
  // Widened to the larger of both, on average over the places that were fitted.
  double by_model = 0.0, by_stretches = 0.0;
  for (const Pair& pair : fit.pairs) {
    by_model += pair.jacobian.dot(alignment.covariance * pair.jacobian);
    by_stretches += pair.jacobian.dot(by_stretch * pair.jacobian);
  }
  alignment.covariance *= std::max(1.0, by_stretches / by_model);
}

std::vector<RimPoint> rim_of(const Pass& pass) {
  if (!pass.faces.rim.empty()) return pass.faces.rim;
  std::vector<RimPoint> rim;
  for (const ReportedTable& table : pass.tables) {
    if (table.feature != "bevel") continue;
    for (const ReportedStation& station : table.stations) rim.push_back({station.station_mm, station.at_scan_mm});
  }
  return rim;
}

// How badly patches miss the earlier faces of their own kind; every 7th is enough to choose between placements.
double misfit_mm(const std::vector<UntouchedPatch>& patches, const FaceSurfaces& before,
                 const PassAlignment& alignment) {
  std::vector<double> distances;
  for (std::size_t i = 0; i < patches.size(); i += 7) {
    distances.push_back(before.of(patches[i].kind).nearest_mm(alignment.to_before(patches[i].at_mm)));
  }
  return median_of(std::move(distances));
}

}  // namespace

double PassAlignment::u_along_mm(const Vector3& at_before_mm, const Vector3& direction) const {
  const Row row = jacobian_of(at_before_mm, direction, pivot_before_mm);
  return std::sqrt(std::max(0.0, row.dot(covariance * row)));
}

Outcome<PassAlignment> align_passes(const Pass& before, const Pass& after, const AlignPassesSettings& settings) {
  for (const Pass* pass : {&before, &after}) {
    if (pass->faces.points.empty()) {
      return refuse(RefusalReason::too_few_points, pass->folder + " holds no faces to align by",
                    "inspect that scan again to write them");
    }
  }
  const FaceSurfaces before_faces = face_surfaces(before), after_faces = face_surfaces(after);
  const std::vector<UntouchedPatch> patches =
      untouched_patches(after_faces, settings.patch_mm, settings.patch_radius_mm, settings.away_from_work_mm);
  const std::vector<RimPlacement> placements = align_rims(rim_of(before), rim_of(after), settings.rim_step_mm);
  if (patches.size() < settings.fewest_patches || placements.empty()) {
    return refuse(RefusalReason::too_few_points, "too little of the untouched top and side is seen in " + after.folder,
                  "scan a wider band of top and side beyond the work, the same stretch of rim in both passes");
  }
  Vector3 middle = Vector3::Zero();
  for (const UntouchedPatch& patch : patches) middle += patch.at_mm / static_cast<double>(patches.size());
  std::vector<PassAlignment> starts;
  for (const RimPlacement& placement : placements) {
    PassAlignment start;
    start.T_before_after = placement.T_before_after;
    start.pivot_before_mm = start.to_before(middle);
    starts.push_back(start);
  }
  std::stable_sort(starts.begin(), starts.end(), [&](const PassAlignment& a, const PassAlignment& b) {
    return misfit_mm(patches, before_faces, a) < misfit_mm(patches, before_faces, b);
  });
  constexpr std::size_t starts_tried = 3;
  std::optional<Fit> best;
  for (std::size_t i = 0; i < std::min(starts_tried, starts.size()); ++i) {
    Fit fit = settle(before, after, before_faces, patches, starts[i], settings);
    // More pairs first, then the closer fit: a wrong placement loses most of its pairs.
    const auto better = [&](const Fit& other) {
      const double here = static_cast<double>(fit.pairs.size()), there = static_cast<double>(other.pairs.size());
      if (here < 0.8 * there || there < 0.8 * here) return here > there;
      return robust_sigma(fit.pairs, false) < robust_sigma(other.pairs, false);
    };
    if (!best || better(*best)) best = std::move(fit);
  }
  const std::size_t fewer = std::min(
      patches.size(),
      untouched_patches(before_faces, settings.patch_mm, settings.patch_radius_mm, settings.away_from_work_mm).size());
  if (best->pairs.size() < settings.fewest_patches ||
      static_cast<double>(best->pairs.size()) < settings.least_overlap * static_cast<double>(fewer)) {
    return refuse(RefusalReason::too_few_points,
                  "the untouched faces of " + before.folder + " and " + after.folder + " hardly overlap",
                  "check that both are of one instrument, and scan the same stretch of rim");
  }
  judge_fit(before, after, settings, *best);
  const double explained_mm = 3.0 * std::hypot(before.noise_mm, after.noise_mm);
  if (best->alignment.rms_mm > settings.most_disagreement_mm + explained_mm) {
    return refuse(RefusalReason::not_separable,
                  "the untouched faces of both passes disagree by " + std::to_string(best->alignment.rms_mm) + " mm",
                  "check that both are of one instrument and that neither scan is distorted");
  }
  return best->alignment;
}

}  // namespace rimwright
