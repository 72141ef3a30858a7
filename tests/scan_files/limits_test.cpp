// What a scan file may hold at most, as ReadCloudSettings and the readers' headers state it.
#include <gtest/gtest.h>

#include "file_support.h"

namespace rimwright {
namespace {

using testing::bytes_of_value;
using testing::read_bytes;

constexpr const char* header_of_three = "property float x\nproperty float y\nproperty float z\n";

std::string reason_of(const Outcome<ScanFile>& scan) {
  return scan ? "read" : std::string(name_of(scan.error().reason));
}

// Four points, and where the kind has faces the two triangles of a square.
std::vector<std::pair<std::string, std::string>> squares(bool with_faces_only) {
  std::string corners_bytes;
  for (const float value : {0.0F, 0.0F, 0.0F, 1.0F, 0.0F, 0.0F, 1.0F, 1.0F, 0.0F, 0.0F, 1.0F, 0.0F})
    corners_bytes += bytes_of_value(value);
  const std::string corners = "0 0 0\n1 0 0\n1 1 0\n0 1 0\n";
  std::string facets;
  for (const auto& facet : {std::array<float, 9>{0, 0, 0, 1, 0, 0, 1, 1, 0}, {0, 0, 0, 1, 1, 0, 0, 1, 0}}) {
    facets += std::string(12, '\0');
    for (const float value : facet) facets += bytes_of_value(value);
    facets += std::string(2, '\0');
  }
  std::string text_facets;
  for (const char* loop : {"vertex 0 0 0\nvertex 1 0 0\nvertex 1 1 0\n", "vertex 0 0 0\nvertex 1 1 0\nvertex 0 1 0\n"})
    text_facets += std::string("facet normal 0 0 1\nouter loop\n") + loop + "endloop\nendfacet\n";
  std::vector<std::pair<std::string, std::string>> files{
      {"faces.ply", "ply\nformat ascii 1.0\nelement vertex 4\n" + std::string(header_of_three) +
                        "element face 1\nproperty list uchar int vertex_indices\nend_header\n" + corners +
                        "4 0 1 2 3\n"},
      {"square.obj", "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nf 1 2 3 4\n"},
      {"square.off", "OFF\n4 1 0\n" + corners + "4 0 1 2 3\n"},
      {"binary.stl", std::string(80, ' ') + bytes_of_value(std::uint32_t{2}) + facets},
      {"text.stl", "solid square\n" + text_facets + "endsolid square\n"}};
  if (with_faces_only) return files;
  files.emplace_back("points.ply", "ply\nformat binary_little_endian 1.0\nelement vertex 4\n" +
                                       std::string(header_of_three) + "end_header\n" + corners_bytes);
  files.emplace_back("points.pcd",
                     "VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH 4\nHEIGHT 1\nPOINTS 4\n"
                     "DATA binary\n" +
                         corners_bytes);
  files.emplace_back("points.xyz", corners);
  return files;
}

TEST(Limits, MorePointsThanAFileMayHold) {
  ReadCloudSettings settings;
  settings.most_points = 3;
  for (const auto& [name, bytes] : squares(false)) {
    EXPECT_EQ(reason_of(read_bytes(name, bytes)), "read") << name;
    EXPECT_EQ(reason_of(read_bytes(name, bytes, 1, settings)), "file over limit") << name;
  }
}

TEST(Limits, MoreTrianglesThanAFileMayHold) {
  ReadCloudSettings settings;
  settings.most_triangles = 1;
  for (const auto& [name, bytes] : squares(true)) {
    EXPECT_EQ(reason_of(read_bytes(name, bytes, 1, settings)), "file over limit") << name;
  }
}

TEST(Limits, HeadersOfPly) {
  const auto with = [](const std::string& more) {
    return read_bytes("a.ply", "ply\nformat ascii 1.0\nelement vertex 1\n" + std::string(header_of_three) + more +
                                   "end_header\n1 2 3\n");
  };
  const auto repeated = [](int count, const std::string& line, bool numbered) {
    std::string lines;
    for (int i = 0; i < count; ++i) lines += line + (numbered ? std::to_string(i) : "") + (numbered ? " 0\n" : "\n");
    return lines;
  };
  EXPECT_EQ(reason_of(with(repeated(63, "element e", true))), "read");
  EXPECT_EQ(reason_of(with(repeated(64, "element e", true))), "file malformed");
  std::string properties;
  for (int i = 0; i < 254; ++i) properties += "property uchar p" + std::to_string(i) + "\n";
  EXPECT_EQ(reason_of(with(properties)), "file malformed") << "257 properties";
  EXPECT_EQ(reason_of(with(repeated(4089, "comment", false))), "read") << "4096 lines";
  EXPECT_EQ(reason_of(with(repeated(4090, "comment", false))), "file malformed") << "4097 lines";
  EXPECT_EQ(reason_of(with("comment " + std::string(2'000'000, 'x') + "\n")), "file malformed") << "a line of 2 MB";
}

}  // namespace
}  // namespace rimwright
