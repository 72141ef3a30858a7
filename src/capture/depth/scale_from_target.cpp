#include "capture/depth/scale_from_target.h"

#include <Eigen/Cholesky>
#include <Eigen/SVD>
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <vector>

#include "capture/photos/image_file.h"
#include "core/picture_files.h"
#include "core/small_file.h"

namespace rimwright {

namespace {

struct OneView {
  double factor = 1.0;
  double tilt_rad = 0.0;
  double range_mm = 0.0;
};

std::optional<Photo> read_grey(const std::filesystem::path& file) {
  // A picture without a board, or none that can be read, is no reason to refuse a capture; a gigantic one is not
  // decoded.
  constexpr std::size_t most_bytes = std::size_t{64} << 20;
  constexpr std::int64_t most_pixels = 64'000'000;
  const auto text = read_small_file(file, most_bytes);
  if (!text) return std::nullopt;
  const std::vector<unsigned char> bytes(text->begin(), text->end());
  const auto notes = read_image_notes(bytes);
  if (!notes || std::int64_t{notes->width} * notes->height > most_pixels) return std::nullopt;
  auto image = grey_picture(bytes, most_pixels);
  if (!image) return std::nullopt;
  Photo photo;
  photo.name = file.filename().string();
  photo.width = image->width;
  photo.height = image->height;
  photo.grey = std::move(image->pixels);
  return photo;
}

// The plane a u + b v + c = 1 / z of the depth pixels inside the board, by least squares with Tukey's weights.
std::optional<Vector3> plane_inside(const DepthCapture& capture, const DepthFrame& frame,
                                    const std::vector<TargetCorner>& corners) {
  std::vector<cv::Point2f> places, hull;
  for (const TargetCorner& corner : corners) {
    places.emplace_back(static_cast<float>(corner.pixel.x()), static_cast<float>(corner.pixel.y()));
  }
  cv::convexHull(places, hull);
  const cv::Rect box =
      cv::boundingRect(hull) & cv::Rect(0, 0, capture.intrinsics.width_px, capture.intrinsics.height_px);
  std::vector<Vector3> design;
  std::vector<double> inverse;
  for (int row = box.y; row < box.y + box.height; ++row) {
    for (int column = box.x; column < box.x + box.width; ++column) {
      const std::uint16_t count =
          frame.counts[static_cast<std::size_t>(row) * static_cast<std::size_t>(capture.intrinsics.width_px) +
                       static_cast<std::size_t>(column)];
      const cv::Point2f place(static_cast<float>(column), static_cast<float>(row));
      if (count == 0 || cv::pointPolygonTest(hull, place, false) < 0.0) continue;
      design.emplace_back((column - box.x) / 100.0, (row - box.y) / 100.0, 1.0);
      inverse.push_back(1.0 / (count * capture.mm_per_count));
    }
  }
  constexpr std::size_t fewest_pixels = 200;
  if (design.size() < fewest_pixels) return std::nullopt;
  std::vector<double> weight(design.size(), 1.0), size(design.size());
  Vector3 plane = Vector3::Zero();
  for (int pass = 0; pass < 6; ++pass) {
    Matrix3 matrix = Matrix3::Zero();
    Vector3 right = Vector3::Zero();
    for (std::size_t i = 0; i < design.size(); ++i) {
      matrix += weight[i] * design[i] * design[i].transpose();
      right += weight[i] * inverse[i] * design[i];
    }
    plane = matrix.ldlt().solve(right);
    for (std::size_t i = 0; i < design.size(); ++i) size[i] = std::abs(inverse[i] - plane.dot(design[i]));
    std::vector<double> sorted = size;
    const auto half = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
    std::nth_element(sorted.begin(), half, sorted.end());
    const double gate = 4.685 * 1.4826 * std::max(*half, 1e-12);
    for (std::size_t i = 0; i < design.size(); ++i) {
      const double ratio = size[i] / gate;
      weight[i] = ratio < 1.0 ? (1.0 - ratio * ratio) * (1.0 - ratio * ratio) : 0.0;
    }
  }
  const double a = plane.x() / 100.0, b = plane.y() / 100.0;
  return Vector3(a, b, plane.z() - a * box.x - b * box.y);
}

// The similarity that carries the corners as read onto the corners as printed (Umeyama, PAMI 13, 1991).
std::optional<OneView> view_target(const DepthCapture& capture, const DepthFrame& frame,
                                   const TargetScaleSettings& settings) {
  const auto photo = read_grey(frame.colour_file);
  if (!photo) return std::nullopt;
  const auto corners = find_target(*photo, settings.target, settings.find);
  if (corners.size() < settings.fewest_corners) return std::nullopt;
  const auto plane = plane_inside(capture, frame, corners);
  if (!plane) return std::nullopt;
  const std::vector<Vector3> printed_mm = target_corners_mm(settings.target);
  Eigen::Matrix3Xd read(3, corners.size()), printed(3, corners.size());
  for (std::size_t i = 0; i < corners.size(); ++i) {
    const double inverse = plane->x() * corners[i].pixel.x() + plane->y() * corners[i].pixel.y() + plane->z();
    if (!(inverse > 0.0)) return std::nullopt;
    read.col(static_cast<Eigen::Index>(i)) =
        capture.intrinsics.ray(corners[i].pixel.x(), corners[i].pixel.y()) / inverse;
    printed.col(static_cast<Eigen::Index>(i)) = printed_mm[static_cast<std::size_t>(corners[i].index)];
  }
  const Eigen::Matrix4d similarity = Eigen::umeyama(read, printed, true);
  OneView view;
  view.factor = std::cbrt(similarity.topLeftCorner<3, 3>().determinant());
  const Vector3 normal(plane->x() * capture.intrinsics.fx_px, plane->y() * capture.intrinsics.fy_px,
                       plane->z() + plane->x() * capture.intrinsics.cx_px + plane->y() * capture.intrinsics.cy_px);
  view.tilt_rad = std::acos(std::min(1.0, std::abs(normal.z()) / normal.norm()));
  view.range_mm = read.row(2).mean();
  return view;
}

}  // namespace

Outcome<TargetScale> scale_from_target(const DepthCapture& capture, const TargetScaleSettings& settings,
                                       Workers& workers) {
  const double nominal_mm = settings.target.check_bar_mm;
  if (settings.bar_mm > 0.0 && std::abs(settings.bar_mm - nominal_mm) > 0.05 * nominal_mm) {
    return refuse(RefusalReason::scale_unknown, "the check bar is given more than 5 % off its nominal length",
                  "measure it again, in millimetres, or print the target at 100 %");
  }
  std::vector<std::size_t> coloured;
  for (std::size_t i = 0; i < capture.frames.size(); ++i) {
    if (!capture.frames[i].colour_file.empty()) coloured.push_back(i);
  }
  TargetScale scale;
  if (coloured.empty()) return scale;
  const auto first = read_grey(capture.frames[coloured.front()].colour_file);
  if (!first) {
    return refuse(
        RefusalReason::capture_insufficient,
        "the colour image " + capture.frames[coloured.front()].colour_file.filename().string() + " cannot be read",
        "store colour as PNG or JPEG of at most 64 MB and 64 megapixels, or leave the colour images out");
  }
  if (first->width != capture.intrinsics.width_px || first->height != capture.intrinsics.height_px) {
    if (settings.bar_mm <= 0.0) {
      scale.note =
          "Colour and depth images differ in size, so a printed target could not give the scale: register colour to "
          "depth, pixel on pixel.";
      return scale;
    }
    return refuse(RefusalReason::capture_insufficient, "colour and depth images differ in size",
                  "register colour to depth, pixel on pixel, or leave the colour images out");
  }
  const std::size_t every = (coloured.size() + settings.most_images - 1) / settings.most_images;
  std::vector<std::size_t> chosen;
  for (std::size_t k = 0; k < coloured.size(); k += every) chosen.push_back(coloured[k]);
  std::vector<std::optional<OneView>> views(chosen.size());
  workers.for_chunks(chosen.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t k = begin; k < end; ++k) views[k] = view_target(capture, capture.frames[chosen[k]], settings);
  });
  std::vector<double> factors;
  double range_mm = 0.0;
  for (const auto& view : views) {
    if (!view) continue;
    factors.push_back(view->factor);
    range_mm += view->range_mm;
    scale.tilt_deg = std::max(scale.tilt_deg, degrees_from_radians(view->tilt_rad));
  }
  if (factors.empty()) return scale;
  scale.images = factors.size();
  const auto count = static_cast<double>(factors.size());
  range_mm /= count;
  std::sort(factors.begin(), factors.end());
  const double median = factors[factors.size() / 2];
  double square = 0.0;
  for (const double factor : factors) square += (factor - median) * (factor - median);
  // A single image says nothing of its own scatter: the print's uncertainty stands for it.
  const double scatter = count > 1.5 ? std::sqrt(square / (count - 1.0) / count) : settings.unmeasured_relative_u;
  const bool measured = settings.bar_mm > 0.0;
  const double print_u = measured ? settings.bar_reading_u_mm / settings.bar_mm : settings.unmeasured_relative_u;
  scale.factor = median * (measured ? settings.bar_mm / nominal_mm : 1.0);
  scale.relative_u = std::hypot(scatter, print_u, settings.plane_u_mm / range_mm);
  return scale;
}

void apply_target_scale(Cloud& cloud, const TargetScale& scale, const TargetScaleSettings& settings) {
  if (scale.images == 0) return;
  const auto factor = static_cast<float>(scale.factor);
  for (auto* values : {&cloud.x, &cloud.y, &cloud.z, &cloud.sigma_mm}) {
    for (float& value : *values) value *= factor;
  }
  cloud.origin_mm *= scale.factor;
  cloud.capture_error.correlated_sigma_mm *= scale.factor;
  cloud.scale.factor *= scale.factor;
  cloud.scale.relative_standard_u = scale.relative_u;
  char source[120];
  if (settings.bar_mm > 0.0) {
    std::snprintf(source, sizeof source, "target in %zu images, bar measured %.2f mm", scale.images, settings.bar_mm);
  } else {
    std::snprintf(source, sizeof source, "target in %zu images, bar not measured", scale.images);
  }
  cloud.scale.source = source;
}

}  // namespace rimwright
