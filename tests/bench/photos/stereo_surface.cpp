#include "stereo_surface.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <set>

#include "capture/photos/refine_patch.h"

namespace rimwright {
namespace {

struct VoxelPoint {
  std::uint64_t voxel = 0;
  Vector3 at = Vector3::Zero();
};

bool by_voxel(const VoxelPoint& a, const VoxelPoint& b) { return a.voxel < b.voxel; }

std::uint64_t voxel_of(const Vector3& p, double size_mm) {
  std::uint64_t key = 0;
  for (int i = 0; i < 3; ++i) {
    key = key << 21 | (static_cast<std::uint64_t>(std::lround(p[i] / size_mm) + (1 << 20)) & 0x1FFFFF);
  }
  return key;
}

// One mean a voxel, for voxels with so many points.
std::vector<VoxelPoint> voxel_means(std::vector<VoxelPoint> points, std::size_t fewest) {
  std::sort(points.begin(), points.end(), by_voxel);
  std::vector<VoxelPoint> means;
  for (auto begin = points.begin(); begin != points.end();) {
    const auto end = std::upper_bound(begin, points.end(), *begin, by_voxel);
    const auto count = static_cast<std::size_t>(end - begin);
    if (count >= fewest) {
      VoxelPoint mean{begin->voxel, Vector3::Zero()};
      for (auto p = begin; p != end; ++p) mean.at += p->at / static_cast<double>(count);
      means.push_back(mean);
    }
    begin = end;
  }
  return means;
}

// Each photo with the partners whose angle to it, seen from the place, lies nearest the middle of what is allowed.
std::vector<std::pair<std::size_t, std::size_t>> choose_pairs(const std::vector<View>& views,
                                                              const std::vector<bool>& placed, const Vector3& middle,
                                                              const StereoSurfaceSettings& settings) {
  std::set<std::pair<std::size_t, std::size_t>> pairs;
  const double best_deg = 0.5 * (settings.narrowest_deg + settings.widest_deg);
  for (std::size_t i = 0; i < views.size(); ++i) {
    std::vector<std::pair<double, std::size_t>> partners;
    for (std::size_t k = 0; k < views.size(); ++k) {
      if (k == i || !placed[i] || !placed[k]) continue;
      const Vector3 a = views[i].centre_sheet_mm() - middle, b = views[k].centre_sheet_mm() - middle;
      const double angle_deg =
          degrees_from_radians(std::acos(std::clamp(a.normalized().dot(b.normalized()), -1.0, 1.0)));
      if (angle_deg < settings.narrowest_deg || angle_deg > settings.widest_deg) continue;
      partners.emplace_back(std::abs(angle_deg - best_deg), k);
    }
    std::sort(partners.begin(), partners.end());
    for (std::size_t n = 0; n < std::min(settings.partners, partners.size()); ++n) {
      pairs.insert(std::minmax(i, partners[n].second));
    }
  }
  return {pairs.begin(), pairs.end()};
}

// Both photos turned so that rows match: one frame, x from the first camera to the second.
struct RectifiedPair {
  Matrix3 R_rectified_sheet = Matrix3::Identity();
  Vector3 first_centre_mm = Vector3::Zero();
  double baseline_mm = 0.0, focal_px = 0.0, centre_x_px = 0.0, centre_y_px = 0.0;
  double nearest_shift_px = 0.0;  // disparity that column differences are counted from
  int width = 0, height = 0, disparities = 0;
};

RectifiedPair rectify(const View& first, const View& second, const std::vector<Vector3>& place,
                      const StereoSurfaceSettings& settings) {
  RectifiedPair pair;
  pair.first_centre_mm = first.centre_sheet_mm();
  const Vector3 baseline = second.centre_sheet_mm() - pair.first_centre_mm;
  pair.baseline_mm = baseline.norm();
  const Vector3 ahead = first.T_camera_sheet.linear().row(2) + second.T_camera_sheet.linear().row(2);
  const Vector3 x = baseline.normalized(), y = ahead.cross(x).normalized(), z = x.cross(y);
  pair.R_rectified_sheet << x.transpose(), y.transpose(), z.transpose();
  pair.focal_px = 0.5 * (first.lens.focal_px + second.lens.focal_px);
  const auto seen = [](const View& view, const Vector3& p) {
    if ((view.T_camera_sheet * p).z() < 1.0) return false;
    const Vector2 pixel = project(view, p);
    return pixel.x() >= 0.0 && pixel.y() >= 0.0 && pixel.x() < view.width && pixel.y() < view.height;
  };
  Vector2 low(1e9, 1e9), high(-1e9, -1e9);
  double near_mm = 1e9, far_mm = 0.0;
  for (const Vector3& p : place) {
    if (!seen(first, p) || !seen(second, p)) continue;
    const Vector3 q = pair.R_rectified_sheet * (p - pair.first_centre_mm);
    const Vector2 pixel = pair.focal_px / q.z() * q.head<2>();
    low = low.cwiseMin(pixel);
    high = high.cwiseMax(pixel);
    near_mm = std::min(near_mm, q.z());
    far_mm = std::max(far_mm, q.z());
  }
  if (far_mm <= 0.0) return pair;
  near_mm = std::max(50.0, near_mm - settings.depth_margin_mm);
  far_mm += settings.depth_margin_mm;
  constexpr double border_px = 60.0;
  const double reach = pair.focal_px * pair.baseline_mm;
  pair.nearest_shift_px = std::floor(reach / far_mm);
  pair.disparities = 16 * static_cast<int>(std::ceil((reach / near_mm - pair.nearest_shift_px) / 16.0));
  // The matcher leaves out as many columns at the left as there are disparities.
  pair.centre_x_px = border_px + pair.disparities - low.x();
  pair.centre_y_px = border_px - low.y();
  pair.width = static_cast<int>(high.x() + pair.centre_x_px + border_px);
  pair.height = static_cast<int>(high.y() + pair.centre_y_px + border_px);
  return pair;
}

cv::Mat turned(const cv::Mat& photo, const View& view, const RectifiedPair& pair, double centre_x_px) {
  const Lens& lens = view.lens;
  const Matrix3 turn = pair.R_rectified_sheet * view.T_camera_sheet.linear().transpose();
  cv::Matx33d R;
  for (int i = 0; i < 3; ++i) {
    for (int k = 0; k < 3; ++k) R(i, k) = turn(i, k);
  }
  cv::Mat map_x, map_y, out;
  cv::initUndistortRectifyMap(
      cv::Matx33d(lens.focal_px, 0, lens.centre_x_px, 0, lens.focal_px, lens.centre_y_px, 0, 0, 1),
      cv::Matx<double, 1, 4>(lens.k1, lens.k2, lens.p1, lens.p2), R,
      cv::Matx33d(pair.focal_px, 0, centre_x_px, 0, pair.focal_px, pair.centre_y_px, 0, 0, 1),
      {pair.width, pair.height}, CV_32FC1, map_x, map_y);
  cv::remap(photo, out, map_x, map_y, cv::INTER_LINEAR);
  return out;
}

std::vector<VoxelPoint> match(const cv::Mat& first, const cv::Mat& second, const RectifiedPair& pair,
                              const std::function<bool(const Vector3&)>& wanted,
                              const StereoSurfaceSettings& settings) {
  const int area = settings.block * settings.block;
  const auto matcher = cv::StereoSGBM::create(
      0, pair.disparities, settings.block, settings.small_step_penalty * area, settings.large_step_penalty * area,
      settings.most_left_right_difference, 63, settings.uniqueness_percent, settings.speckle_pixels,
      settings.speckle_range, settings.all_ways ? cv::StereoSGBM::MODE_HH : cv::StereoSGBM::MODE_SGBM_3WAY);
  cv::Mat disparity;
  matcher->compute(first, second, disparity);
  std::vector<VoxelPoint> points;
  for (int row = 0; row < disparity.rows; ++row) {
    const auto* at = disparity.ptr<std::int16_t>(row);
    for (int column = 0; column < disparity.cols; ++column) {
      if (at[column] <= 0) continue;
      const double shift_px = at[column] / static_cast<double>(cv::StereoMatcher::DISP_SCALE) + pair.nearest_shift_px;
      const double depth_mm = pair.focal_px * pair.baseline_mm / shift_px;
      const Vector3 p((column - pair.centre_x_px) * depth_mm / pair.focal_px,
                      (row - pair.centre_y_px) * depth_mm / pair.focal_px, depth_mm);
      const Vector3 at_sheet = pair.R_rectified_sheet.transpose() * p + pair.first_centre_mm;
      if (wanted(at_sheet)) points.push_back({voxel_of(at_sheet, settings.voxel_mm), at_sheet});
    }
  }
  return points;
}

}  // namespace

StereoSurface stereo_surface(const PhotoSet& set, const CameraNetwork& network,
                             const std::function<bool(const Vector3&)>& wanted, const StereoSurfaceSettings& settings) {
  StereoSurface surface;
  std::vector<Vector3> place;
  Vector3 middle = Vector3::Zero();
  for (const NetworkPoint& point : network.points) {
    if (point.on_target || !wanted(point.at_sheet_mm)) continue;
    place.push_back(point.at_sheet_mm);
    middle += point.at_sheet_mm;
  }
  if (place.empty()) return surface;
  middle /= static_cast<double>(place.size());
  const std::vector<View> views = shrink_views(network.views(), settings.shrink);
  std::vector<cv::Mat> photos;
  for (const Photo& photo : set.photos) {
    const cv::Mat full(photo.height, photo.width, CV_8U, const_cast<std::uint8_t*>(photo.grey.data()));
    cv::Mat small;
    cv::resize(full, small, {photo.width / settings.shrink, photo.height / settings.shrink}, 0, 0, cv::INTER_AREA);
    photos.push_back(small);
  }
  std::vector<VoxelPoint> all;
  for (const auto& [i, k] : choose_pairs(views, network.placed, middle, settings)) {
    const RectifiedPair pair = rectify(views[i], views[k], place, settings);
    if (pair.width < 64 || pair.height < 64) continue;
    const cv::Mat first = turned(photos[i], views[i], pair, pair.centre_x_px);
    const cv::Mat second = turned(photos[k], views[k], pair, pair.centre_x_px + pair.nearest_shift_px);
    const auto once = voxel_means(match(first, second, pair, wanted, settings), 1);
    all.insert(all.end(), once.begin(), once.end());
    surface.megapixels += 1e-6 * pair.width * pair.height;
    ++surface.pairs;
  }
  for (const VoxelPoint& kept : voxel_means(std::move(all), settings.fewest_pairs)) {
    surface.points_sheet_mm.push_back(kept.at);
  }
  return surface;
}

}  // namespace rimwright
