#include "capture/photos/adjust_cameras.h"

#include <ceres/ceres.h>
#include <ceres/rotation.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace rimwright {
namespace {

constexpr double reference_width_px = 4032.0;

struct LensBlock {
  std::array<double, 7> n{};  // log focal, centre x, y (px), k1, k2, p1, p2
};
struct PhotoBlock {
  std::array<double, 6> pose{};   // angle-axis, translation
  std::array<double, 3> drift{};  // log focal factor, centre shift (px)
};

struct Reprojection {
  Vector2 pixel;
  double sigma_px;

  template <class T>
  bool operator()(const T* lens, const T* pose, const T* drift, const T* point, T* residual) const {
    T p[3];
    ceres::AngleAxisRotatePoint(pose, point, p);
    for (int i = 0; i < 3; ++i) p[i] += pose[3 + i];
    if (p[2] < T(1.0)) return false;
    const T x = p[0] / p[2], y = p[1] / p[2], r2 = x * x + y * y;
    const T radial = 1.0 + r2 * (lens[3] + r2 * lens[4]);
    const T xd = x * radial + 2.0 * lens[5] * x * y + lens[6] * (r2 + 2.0 * x * x);
    const T yd = y * radial + lens[5] * (r2 + 2.0 * y * y) + 2.0 * lens[6] * x * y;
    using std::exp;
    const T focal = exp(lens[0] + drift[0]);
    residual[0] = (focal * xd + lens[1] + drift[1] - pixel.x()) / sigma_px;
    residual[1] = (focal * yd + lens[2] + drift[2] - pixel.y()) / sigma_px;
    return true;
  }
};

template <int count>
struct Prior {
  std::array<double, count> at{}, sigma{};
  template <class T>
  bool operator()(const T* value, T* residual) const {
    for (std::size_t i = 0; i < count; ++i) residual[i] = (value[i] - at[i]) / sigma[i];
    return true;
  }
};

template <int count>
ceres::CostFunction* prior(const std::array<double, count>& at, const std::array<double, count>& sigma) {
  return new ceres::AutoDiffCostFunction<Prior<count>, count, count>(new Prior<count>{at, sigma});
}

struct Blocks {
  std::vector<LensBlock> lenses;
  std::vector<PhotoBlock> photos;
};

Blocks to_blocks(const CameraNetwork& network) {
  Blocks blocks;
  for (const Lens& lens : network.lenses) {
    blocks.lenses.push_back(
        {{std::log(lens.focal_px), lens.centre_x_px, lens.centre_y_px, lens.k1, lens.k2, lens.p1, lens.p2}});
  }
  for (std::size_t i = 0; i < network.lens_of.size(); ++i) {
    PhotoBlock block;
    const Matrix3 rotation = network.T_camera_sheet[i].linear();
    ceres::RotationMatrixToAngleAxis(rotation.data(), block.pose.data());
    const Vector3 translation = network.T_camera_sheet[i].translation();
    std::copy(translation.begin(), translation.end(), block.pose.begin() + 3);
    block.drift = {std::log(network.focal_factor[i]), network.centre_shift_px[i].x(), network.centre_shift_px[i].y()};
    blocks.photos.push_back(block);
  }
  return blocks;
}

void from_blocks(const Blocks& blocks, CameraNetwork& network) {
  for (std::size_t i = 0; i < network.lenses.size(); ++i) {
    const auto& n = blocks.lenses[i].n;
    network.lenses[i] = {std::exp(n[0]), n[1], n[2], n[3], n[4], n[5], n[6]};
  }
  for (std::size_t i = 0; i < network.lens_of.size(); ++i) {
    const PhotoBlock& block = blocks.photos[i];
    Matrix3 rotation;
    ceres::AngleAxisToRotationMatrix(block.pose.data(), rotation.data());
    network.T_camera_sheet[i].linear() = rotation;
    network.T_camera_sheet[i].translation() = Vector3(block.pose[3], block.pose[4], block.pose[5]);
    network.focal_factor[i] = std::exp(block.drift[0]);
    network.centre_shift_px[i] = Vector2(block.drift[1], block.drift[2]);
  }
}

// One adjustment with the given weights. Huber's loss at 2 sigma keeps what is not yet dropped from pulling.
bool solve(CameraNetwork& network, const std::vector<double>& focal_start_px, const AdjustCamerasSettings& settings,
           double target_sigma_px, double tie_sigma_px) {
  Blocks blocks = to_blocks(network);
  ceres::Problem problem;
  auto ordering = std::make_shared<ceres::ParameterBlockOrdering>();
  std::vector<bool> lens_used(network.lenses.size(), false), photo_used(network.lens_of.size(), false),
      point_used(network.points.size(), false);
  for (const Sighting& s : network.sightings) {
    if (!network.placed[s.photo]) continue;
    const std::size_t lens = network.lens_of[s.photo];
    NetworkPoint& point = network.points[s.point];
    const double sigma = point.on_target ? target_sigma_px : tie_sigma_px;
    problem.AddResidualBlock(
        new ceres::AutoDiffCostFunction<Reprojection, 2, 7, 6, 3, 3>(new Reprojection{s.pixel, sigma}),
        new ceres::HuberLoss(2.0), blocks.lenses[lens].n.data(), blocks.photos[s.photo].pose.data(),
        blocks.photos[s.photo].drift.data(), point.at_sheet_mm.data());
    lens_used[lens] = photo_used[s.photo] = point_used[s.point] = true;
  }
  if (problem.NumResidualBlocks() == 0) return false;
  for (std::size_t i = 0; i < network.points.size(); ++i) {
    if (!point_used[i]) continue;
    NetworkPoint& point = network.points[i];
    ordering->AddElementToGroup(point.at_sheet_mm.data(), 0);
    if (point.prior_sigma_mm.minCoeff() <= 0.0) continue;
    std::array<double, 3> at{}, sigma{};
    for (int k = 0; k < 3; ++k) {
      at[static_cast<std::size_t>(k)] = point.prior_sheet_mm[k];
      sigma[static_cast<std::size_t>(k)] = point.prior_sigma_mm[k];
    }
    problem.AddResidualBlock(prior<3>(at, sigma), nullptr, point.at_sheet_mm.data());
  }
  for (std::size_t i = 0; i < network.lens_of.size(); ++i) {
    if (!photo_used[i]) continue;
    ordering->AddElementToGroup(blocks.photos[i].pose.data(), 1);
    ordering->AddElementToGroup(blocks.photos[i].drift.data(), 1);
    const double shift = settings.centre_drift_sigma_px * network.size_px[i].maxCoeff() / reference_width_px;
    problem.AddResidualBlock(prior<3>({0, 0, 0}, {settings.focal_drift_sigma, shift, shift}), nullptr,
                             blocks.photos[i].drift.data());
    if (!settings.drifts_free) problem.SetParameterBlockConstant(blocks.photos[i].drift.data());
  }
  for (std::size_t i = 0; i < network.lenses.size(); ++i) {
    if (!lens_used[i]) continue;
    // Ceres orders a group by address: a group for each vector, or the order of sums would depend on where they lie.
    ordering->AddElementToGroup(blocks.lenses[i].n.data(), 2);
    Vector2 size = Vector2::Zero();
    for (std::size_t k = 0; k < network.lens_of.size(); ++k) {
      if (network.lens_of[k] == i) size = network.size_px[k];
    }
    const double off_centre = 0.03 * size.maxCoeff(), d = settings.distortion_prior;
    problem.AddResidualBlock(
        prior<7>({std::log(focal_start_px[i]), 0.5 * (size.x() - 1.0), 0.5 * (size.y() - 1.0), 0, 0, 0, 0},
                 {settings.focal_prior_share, off_centre, off_centre, d, 3 * d, 0.02, 0.02}),
        nullptr, blocks.lenses[i].n.data());
  }
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_SCHUR;
  options.linear_solver_ordering = ordering;
  options.max_num_iterations = 60;
  options.function_tolerance = 1e-8;
  options.num_threads = 1;  // sums in one order: the same answer for any number of threads
  options.logging_type = ceres::SILENT;
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  from_blocks(blocks, network);
  return summary.IsSolutionUsable();
}

double residual_px(const CameraNetwork& network, const std::vector<View>& views, const Sighting& s) {
  const Vector3 p = views[s.photo].T_camera_sheet * network.points[s.point].at_sheet_mm;
  if (p.z() < 1.0) return 1e6;
  return (project_camera_point(views[s.photo].lens, p) - s.pixel).norm();
}

// Spread of one coordinate from the median length of residuals (Rayleigh: median = 1.1774 sigma).
double robust_sigma(std::vector<double> lengths) {
  if (lengths.empty()) return 0.0;
  std::nth_element(lengths.begin(), lengths.begin() + static_cast<std::ptrdiff_t>(lengths.size() / 2), lengths.end());
  return std::max(0.005, lengths[lengths.size() / 2] / 1.1774);
}

void weigh(const CameraNetwork& network, AdjustReport& report) {
  const std::vector<View> views = network.views();
  std::vector<double> target, tie;
  for (const Sighting& s : network.sightings) {
    if (!network.placed[s.photo]) continue;
    (network.points[s.point].on_target ? target : tie).push_back(residual_px(network, views, s));
  }
  report.target_sigma_px = robust_sigma(target);
  report.tie_sigma_px = robust_sigma(tie);
}

std::size_t drop_far(CameraNetwork& network, const AdjustReport& report, double cut_at_sigmas) {
  const std::vector<View> views = network.views();
  const std::size_t before = network.sightings.size();
  std::erase_if(network.sightings, [&](const Sighting& s) {
    if (!network.placed[s.photo]) return false;
    const double sigma = network.points[s.point].on_target ? report.target_sigma_px : report.tie_sigma_px;
    return residual_px(network, views, s) > cut_at_sigmas * sigma;
  });
  std::vector<int> seen(network.points.size(), 0);
  for (const Sighting& s : network.sightings) ++seen[s.point];
  std::erase_if(network.sightings,
                [&](const Sighting& s) { return !network.points[s.point].on_target && seen[s.point] < 2; });
  return before - network.sightings.size();
}

void fill_report(const CameraNetwork& network, AdjustReport& report) {
  const std::vector<View> views = network.views();
  double target = 0.0, tie = 0.0;
  std::vector<double> sum(views.size(), 0.0);
  std::vector<std::size_t> count(views.size(), 0);
  report.target_sightings = report.tie_sightings = 0;
  for (const Sighting& s : network.sightings) {
    if (!network.placed[s.photo]) continue;
    const double squared = 0.5 * std::pow(residual_px(network, views, s), 2);
    const bool on_target = network.points[s.point].on_target;
    (on_target ? target : tie) += squared;
    ++(on_target ? report.target_sightings : report.tie_sightings);
    sum[s.photo] += squared;
    ++count[s.photo];
  }
  if (report.target_sightings > 0)
    report.target_rms_px = std::sqrt(target / static_cast<double>(report.target_sightings));
  if (report.tie_sightings > 0) report.tie_rms_px = std::sqrt(tie / static_cast<double>(report.tie_sightings));
  report.photo_rms_px.assign(views.size(), 0.0);
  for (std::size_t i = 0; i < views.size(); ++i) {
    if (count[i] > 0) report.photo_rms_px[i] = std::sqrt(sum[i] / static_cast<double>(count[i]));
  }
}

}  // namespace

Outcome<AdjustReport> adjust_cameras(CameraNetwork& network, const AdjustCamerasSettings& settings) {
  AdjustReport report;
  std::vector<double> focal_start_px;
  for (const Lens& lens : network.lenses) focal_start_px.push_back(lens.focal_px);
  double target_sigma = settings.target_sigma_px, tie_sigma = settings.tie_sigma_px;
  for (int round = 0; round < settings.rounds; ++round) {
    if (!solve(network, focal_start_px, settings, target_sigma, tie_sigma)) {
      return refuse(RefusalReason::capture_insufficient, "the cameras cannot be placed from these photos",
                    "take more photos with the whole target in view, from different directions");
    }
    weigh(network, report);
    target_sigma = std::max(report.target_sigma_px, 0.01);
    tie_sigma = std::max(report.tie_sigma_px, 0.02);
    if (round + 1 < settings.rounds) report.dropped += drop_far(network, report, settings.cut_at_sigmas);
  }
  report.converged = true;
  fill_report(network, report);
  return report;
}

}  // namespace rimwright
