// Wavefront OBJ. Read: v (x y z, with a weight or a colour 0..1 behind), f (any polygon, negative references too).
// Lines, curves, groups, normals and texture coordinates are passed over; a material library is never opened.
#include <array>
#include <string>
#include <string_view>

#include "capture/file/mesh_reader.h"
#include "capture/file/numbers.h"

namespace rimwright {

namespace {

std::string take_vertex(std::string_view words, MeshPoints& mesh) {
  std::array<double, 7> value{};
  std::size_t count = 0;
  while (count < value.size() && take_number(words, value[count])) ++count;
  if (!take_word(words).empty()) return "holds something else than numbers";
  if (count < 3) return "holds fewer than three coordinates";
  mesh.points.emplace_back(value[0], value[1], value[2]);
  if (count >= 6) {
    const std::size_t first = count == 7 ? 4 : 3;
    mesh.colours.push_back({packed_colour(value[first], 255.0), packed_colour(value[first + 1], 255.0),
                            packed_colour(value[first + 2], 255.0)});
  }
  return {};
}

// "7", "7/1", "7//3" and "-1/2/3" name point 7, or the last point so far.
std::string take_face(std::string_view words, std::size_t points_so_far, PolygonFan& fan) {
  for (std::string_view word = take_word(words); !word.empty(); word = take_word(words)) {
    std::int64_t reference = 0;
    if (!parse_integer(word.substr(0, word.find('/')), reference) || reference == 0) return "names no point";
    const double index = reference > 0 ? static_cast<double>(reference) - 1.0
                                       : static_cast<double>(points_so_far) + static_cast<double>(reference);
    std::string complaint = fan.add_corner(index);
    if (!complaint.empty()) return complaint;
  }
  return fan.close();
}

}  // namespace

Outcome<ScanFile> read_obj(const FileBytes& file, const ReadCloudSettings& settings) {
  MeshPoints mesh;
  // Faces may come before their points, so that references are held to the count at the end.
  constexpr std::size_t any_point = 0xffff'ffffU;
  PolygonFan fan(any_point, settings.most_triangles, mesh.triangles);
  LineStream lines(file, 0);
  std::string_view line;
  std::string joined;  // a line that ends with a backslash goes on in the next
  while (lines.next(line)) {
    if (!joined.empty() || (!line.empty() && line.back() == '\\')) {
      const bool goes_on = !line.empty() && line.back() == '\\';
      joined.append(line.substr(0, line.size() - (goes_on ? 1 : 0))).append(" ");
      if (joined.size() > LineStream::longest_line) return file.malformed(lines.where() + " is longer than 1 MiB");
      if (goes_on) continue;
      line = joined;
    }
    std::string_view words = line;
    const std::string_view keyword = take_word(words);
    std::string complaint;
    if (keyword == "v") {
      complaint = take_vertex(words, mesh);
      if (mesh.points.size() > settings.most_points) {
        return file.over_limit("it holds more than " + std::to_string(settings.most_points) + " points",
                               "thin the scan before exporting it");
      }
    } else if (keyword == "f") {
      complaint = take_face(words, mesh.points.size(), fan);
    }
    if (!complaint.empty()) return fan.refusal(file, lines.where() + " " + complaint);
    joined.clear();
  }
  if (lines.too_long()) return file.malformed(lines.where() + " is longer than 1 MiB");
  for (const auto& triangle : mesh.triangles) {
    for (const std::uint32_t corner : triangle) {
      if (corner >= mesh.points.size()) {
        return file.malformed("a face names point " + std::to_string(corner + std::uint64_t{1}) + ", the file holds " +
                              std::to_string(mesh.points.size()));
      }
    }
  }
  return std::move(mesh).finished();
}

}  // namespace rimwright
