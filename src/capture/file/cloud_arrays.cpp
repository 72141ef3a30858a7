#include "capture/file/cloud_arrays.h"

#include <algorithm>
#include <limits>
#include <utility>

namespace rimwright {

namespace {

template <class Values>
void close_up(Values& values, const std::vector<std::uint8_t>& marks) {
  if (values.empty()) return;
  auto to = static_cast<std::size_t>(std::find(marks.begin(), marks.end(), 0) - marks.begin());
  for (std::size_t from = to; from < values.size(); ++from) {
    values[to] = values[from];
    to += marks[from];
  }
  values.resize(to);
}

// Normals go with their points, which get new numbers.
void keep_normals(std::vector<PointNormal>& normals, const std::vector<std::uint8_t>& marks) {
  std::size_t to = 0, point = 0;
  std::uint32_t kept_before = 0;
  for (const PointNormal& normal : std::as_const(normals)) {
    for (; point < normal.point; ++point) kept_before += marks[point];
    if (marks[point] != 0) normals[to++] = {kept_before, normal.times_127};
  }
  normals.resize(to);
}

}  // namespace

void keep_marked(Cloud& cloud, const std::vector<std::uint8_t>& marks, Workers& workers) {
  workers.for_chunks(6, 1, [&](std::size_t array, std::size_t, std::size_t) {
    switch (array) {
      case 0: close_up(cloud.x, marks); break;
      case 1: close_up(cloud.y, marks); break;
      case 2: close_up(cloud.z, marks); break;
      case 3: keep_normals(cloud.normals, marks); break;
      case 4: close_up(cloud.colours, marks); break;
      default: close_up(cloud.sigma_mm, marks); break;
    }
  });
}

void resize_arrays(Cloud& cloud, std::size_t count, const PresentArrays& present) {
  for (auto* values : {&cloud.x, &cloud.y, &cloud.z}) values->resize(count);
  const std::size_t every = present.points_a_normal;
  cloud.normals.resize(every == 0 ? 0 : (count + every - 1) / every);
  cloud.colours.resize(present.colours ? count : 0);
  cloud.sigma_mm.resize(present.sigma ? count : 0);
}

void append_points(Cloud& to, const Cloud& from) {
  const auto append = [](auto& all, const auto& more) { all.insert(all.end(), more.begin(), more.end()); };
  for (const PointNormal& normal : from.normals)
    to.normals.push_back({static_cast<std::uint32_t>(to.size()) + normal.point, normal.times_127});
  append(to.x, from.x);
  append(to.y, from.y);
  append(to.z, from.z);
  append(to.colours, from.colours);
  append(to.sigma_mm, from.sigma_mm);
}

Vector3 local_origin(std::vector<Vector3>& sample) {
  std::erase_if(sample, [](const Vector3& p) { return !p.allFinite() || p.cwiseAbs().maxCoeff() > 1e12; });
  if (sample.empty()) return Vector3::Zero();
  Vector3 origin;
  const auto middle = sample.begin() + static_cast<std::ptrdiff_t>(sample.size() / 2);
  for (int axis = 0; axis < 3; ++axis) {
    std::nth_element(sample.begin(), middle, sample.end(),
                     [axis](const Vector3& a, const Vector3& b) { return a[axis] < b[axis]; });
    origin[axis] = std::round((*middle)[axis]);
  }
  return origin;
}

Cloud cloud_of(const std::vector<Vector3>& points) {
  constexpr std::size_t samples = 255;
  std::vector<Vector3> sample;
  for (std::size_t i = 0; i < points.size(); i += points.size() / samples + 1) sample.push_back(points[i]);
  Cloud cloud;
  cloud.origin_mm = local_origin(sample);
  cloud.x.reserve(points.size());
  cloud.y.reserve(points.size());
  cloud.z.reserve(points.size());
  for (const Vector3& point : points) {
    cloud.x.push_back(offset_from(point.x(), cloud.origin_mm.x()));
    cloud.y.push_back(offset_from(point.y(), cloud.origin_mm.y()));
    cloud.z.push_back(offset_from(point.z(), cloud.origin_mm.z()));
  }
  return cloud;
}

float offset_from(double coordinate, double origin) {
  const double offset = coordinate - origin;
  constexpr double largest = std::numeric_limits<float>::max();
  if (offset > largest) return std::numeric_limits<float>::infinity();
  if (offset < -largest) return -std::numeric_limits<float>::infinity();
  return static_cast<float>(offset);
}

}  // namespace rimwright
