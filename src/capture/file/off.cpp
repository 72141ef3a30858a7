// OFF (Object File Format of Geomview), text, three dimensions, with the prefixes ST, C and N: points, then faces, one
// a line. '#' starts a comment. Colours of points are read where the header names them (COFF), normals likewise (NOFF).
#include <array>
#include <string>
#include <string_view>

#include "capture/file/mesh_reader.h"
#include "capture/file/numbers.h"

namespace rimwright {

namespace {

struct OffKind {
  bool texture = false;
  bool colour = false;
  bool normal = false;
};

bool take_prefix(std::string_view& word, std::string_view prefix) {
  if (word.substr(0, prefix.size()) != prefix) return false;
  word.remove_prefix(prefix.size());
  return true;
}

// The next line that holds more than a comment.
bool next_words(LineStream& lines, std::string_view& words) {
  while (lines.next(words)) {
    words = words.substr(0, words.find('#'));
    std::string_view copy = words;
    if (!take_word(copy).empty()) return true;
  }
  return false;
}

std::string take_point(std::string_view words, const OffKind& kind, MeshPoints& mesh) {
  std::array<double, 3> at{};
  for (double& value : at) {
    if (!take_number(words, value)) return "lacks a coordinate";
  }
  mesh.points.emplace_back(at[0], at[1], at[2]);
  if (kind.normal) {
    std::array<double, 3> normal{};
    for (double& value : normal) {
      if (!take_number(words, value)) return "lacks a normal";
    }
    mesh.normals.push_back(
        packed_normal(offset_from(normal[0], 0.0), offset_from(normal[1], 0.0), offset_from(normal[2], 0.0)));
  }
  if (kind.colour) {
    const bool fractions = words.find('.') != std::string_view::npos;
    std::array<double, 3> colour{};
    for (double& value : colour) {
      if (!take_number(words, value)) return "lacks a colour";
    }
    const double scale = fractions ? 255.0 : 1.0;
    mesh.colours.push_back(
        {packed_colour(colour[0], scale), packed_colour(colour[1], scale), packed_colour(colour[2], scale)});
  }
  return {};
}

std::string take_face(std::string_view words, PolygonFan& fan) {
  std::uint64_t corners = 0;
  if (!parse_integer(take_word(words), corners)) return "gives no number of corners";
  for (std::uint64_t i = 0; i < corners; ++i) {
    double index = 0.0;
    if (!take_number(words, index)) return "names fewer points than it promises";
    std::string complaint = fan.add_corner(index);
    if (!complaint.empty()) return complaint;
  }
  return fan.close();
}

}  // namespace

Outcome<ScanFile> read_off(const FileBytes& file, const ReadCloudSettings& settings) {
  LineStream lines(file, 0);
  std::string_view words;
  if (!next_words(lines, words)) return file.too_few_points("the file holds no points");
  std::string_view magic = take_word(words);
  OffKind kind;
  kind.texture = take_prefix(magic, "ST");
  kind.colour = take_prefix(magic, "C");
  kind.normal = take_prefix(magic, "N");
  if (magic == "4OFF" || magic == "nOFF" || magic == "4nOFF") {
    return file.not_supported("its points are not of three dimensions", "save it as an ordinary OFF file");
  }
  if (magic != "OFF") return file.malformed("this is not an OFF file: it does not begin with 'OFF'");
  std::string_view counts = words;
  if (take_word(counts) == "BINARY") return file.not_supported("it is a binary OFF file", "save it as text, or as PLY");
  counts = words;
  if (std::string_view copy = counts; take_word(copy).empty() && !next_words(lines, counts)) {
    return file.truncated("the file ends before its counts");
  }
  std::uint64_t points = 0, faces = 0;
  if (!parse_integer(take_word(counts), points) || !parse_integer(take_word(counts), faces)) {
    return file.malformed(lines.where() + " does not give the numbers of points and faces");
  }
  const std::uint64_t left = file.size() - lines.position() + 1;
  constexpr std::uint64_t shortest_point_line = 6, shortest_face_line = 2;
  if (points > left / shortest_point_line || faces > left / shortest_face_line) {
    return file.truncated("the header promises " + std::to_string(points) + " points and " + std::to_string(faces) +
                          " faces, more than the file can hold");
  }
  if (points > settings.most_points) {
    return file.over_limit(
        "it holds " + std::to_string(points) + " points, more than " + std::to_string(settings.most_points),
        "thin the scan before exporting it");
  }
  MeshPoints mesh;
  PolygonFan fan(static_cast<std::size_t>(points), settings.most_triangles, mesh.triangles);
  for (std::uint64_t i = 0; i < points + faces; ++i) {
    if (!next_words(lines, words)) {
      if (lines.too_long()) break;
      return file.truncated("the header promises " + std::to_string(points) + " points and " + std::to_string(faces) +
                            " faces, the file holds " + std::to_string(std::min(i, points)) + " and " +
                            std::to_string(i - std::min(i, points)));
    }
    const std::string complaint = i < points ? take_point(words, kind, mesh) : take_face(words, fan);
    if (!complaint.empty()) return fan.refusal(file, lines.where() + " " + complaint);
  }
  if (lines.too_long()) return file.malformed(lines.where() + " is longer than 1 MiB");
  return std::move(mesh).finished();
}

}  // namespace rimwright
