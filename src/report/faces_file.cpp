#include "report/faces_file.h"

#include <array>
#include <bit>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <memory>

#include "core/small_file.h"

namespace rimwright {
namespace {

static_assert(std::endian::native == std::endian::little, "the faces file is written as memory holds it");

constexpr std::size_t point_bytes = 3 * 4 + 1 + 3 * 4;
constexpr std::size_t rim_bytes = std::size_t{4} * 8;
constexpr std::size_t most_rim_points = 100'000;
constexpr std::size_t longest_header = 600;

std::string header_for(std::size_t points, std::size_t rim_points) {
  return "ply\nformat binary_little_endian 1.0\ncomment rimwright faces 1: millimetres; face 0 side 1 top 2 bevel 3 "
         "floor 4 "
         "wall\nelement vertex " +
         std::to_string(points) +
         "\nproperty float x\nproperty float y\nproperty float z\nproperty uchar face\nproperty float station\n"
         "property float deviation\nproperty float sigma\nelement rim " +
         std::to_string(rim_points) +
         "\nproperty double station\nproperty double x\nproperty double y\nproperty double z\nend_header\n";
}

template <class Number>
void append(std::string& bytes, Number value) {
  std::array<char, sizeof(Number)> raw{};
  std::memcpy(raw.data(), &value, sizeof value);
  bytes.append(raw.data(), raw.size());
}

template <class Number>
Number take(const char*& at) {
  Number value;
  std::memcpy(&value, at, sizeof value);
  at += sizeof value;
  return value;
}

// The count after `key` in the header; the header is then rebuilt from the counts and compared whole.
bool find_count(std::string_view header, std::string_view key, std::size_t most, std::size_t& count) {
  const std::size_t at = header.find(key);
  if (at == std::string_view::npos) return false;
  count = 0;
  std::size_t i = at + key.size();
  for (; i < header.size() && header[i] >= '0' && header[i] <= '9'; ++i) {
    count = count * 10 + static_cast<std::size_t>(header[i] - '0');
    if (count > most) return false;
  }
  return i > at + key.size();
}

tl::unexpected<Refusal> malformed(std::string_view name, const std::string& what) {
  return refuse(RefusalReason::file_malformed, std::string(name) + ": " + what,
                "inspect that pass again to write it anew");
}

}  // namespace

PassFaces faces_of(const Measures& measures) {
  PassFaces faces;
  const std::size_t stride = (measures.face_points.size() + most_face_points - 1) / most_face_points;
  for (std::size_t i = 0; i < measures.face_points.size(); i += stride) faces.points.push_back(measures.face_points[i]);
  const std::size_t rim_points = std::min(measures.rim_scan_mm.size(), measures.rim_station_mm.size());
  for (std::size_t i = 0; i < std::min(rim_points, most_rim_points); ++i) {
    faces.rim.push_back({measures.rim_station_mm[i], measures.rim_scan_mm[i]});
  }
  return faces;
}

Outcome<void> write_faces(const std::string& path, const PassFaces& faces) {
  std::string bytes = header_for(faces.points.size(), faces.rim.size());
  bytes.reserve(bytes.size() + faces.points.size() * point_bytes + faces.rim.size() * rim_bytes);
  for (const FacePoint& point : faces.points) {
    for (int axis = 0; axis < 3; ++axis) append(bytes, point.at_scan_mm[axis]);
    append(bytes, static_cast<std::uint8_t>(point.kind));
    append(bytes, point.station_mm);
    append(bytes, point.deviation_mm);
    append(bytes, point.sigma_mm);
  }
  for (const RimPoint& point : faces.rim) {
    append(bytes, point.station_mm);
    for (int axis = 0; axis < 3; ++axis) append(bytes, point.at_scan_mm[axis]);
  }
  std::ofstream file(path, std::ios::binary | std::ios::trunc);
  file.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  file.close();
  if (!file) {
    return refuse(RefusalReason::output_not_writable, path + " cannot be written",
                  "check that the disk has room and the folder may be written to");
  }
  return {};
}

Outcome<PassFaces> read_faces_bytes(std::string_view bytes, std::string_view name) {
  constexpr std::string_view end = "end_header\n";
  const std::size_t end_at = bytes.substr(0, longest_header).find(end);
  if (end_at == std::string_view::npos) return malformed(name, "no faces header");
  const std::string_view header = bytes.substr(0, end_at + end.size());
  std::size_t points = 0, rim_points = 0;
  if (!find_count(header, "element vertex ", most_face_points, points) ||
      !find_count(header, "element rim ", most_rim_points, rim_points) || header != header_for(points, rim_points)) {
    return malformed(name, "not the header of a faces file");
  }
  if (bytes.size() - header.size() != points * point_bytes + rim_points * rim_bytes) {
    return malformed(name, "the size does not match the counts in the header");
  }
  PassFaces faces;
  faces.points.reserve(points);
  faces.rim.reserve(rim_points);
  const char* at = bytes.data() + header.size();
  bool finite = true;
  for (std::size_t i = 0; i < points; ++i) {
    FacePoint point;
    for (int axis = 0; axis < 3; ++axis) point.at_scan_mm[axis] = take<float>(at);
    const auto kind = take<std::uint8_t>(at);
    if (kind > static_cast<std::uint8_t>(FaceKind::wall)) return malformed(name, "a point of an unknown face");
    point.kind = static_cast<FaceKind>(kind);
    point.station_mm = take<float>(at);
    point.deviation_mm = take<float>(at);
    point.sigma_mm = take<float>(at);
    finite = finite && point.at_scan_mm.allFinite() && std::isfinite(point.station_mm) &&
             std::isfinite(point.sigma_mm) && point.sigma_mm >= 0.0F;
    faces.points.push_back(point);
  }
  for (std::size_t i = 0; i < rim_points; ++i) {
    RimPoint point;
    point.station_mm = take<double>(at);
    for (int axis = 0; axis < 3; ++axis) point.at_scan_mm[axis] = take<double>(at);
    finite = finite && std::isfinite(point.station_mm) && point.at_scan_mm.allFinite();
    faces.rim.push_back(point);
  }
  if (!finite) return malformed(name, "a number that is not finite");
  return faces;
}

Outcome<PassFaces> read_faces(const std::string& path) {
  constexpr std::size_t most_bytes = longest_header + most_face_points * point_bytes + most_rim_points * rim_bytes;
  const Outcome<std::string> bytes = read_small_file(path, most_bytes);
  if (!bytes) return refuse(bytes.error().reason, bytes.error().what, "inspect that pass again");
  return read_faces_bytes(*bytes, path);
}

}  // namespace rimwright
