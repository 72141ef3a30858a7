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
  std::string properties;  // beside x, y and z
  for (int i = 0; i < 253; ++i) properties += "property uchar p" + std::to_string(i) + "\n";
  EXPECT_EQ(
      reason_of(with("element other 0\n" + properties + "property uchar x\nproperty uchar y\nproperty uchar z\n")),
      "read")
      << "256 properties";
  EXPECT_EQ(reason_of(with(properties + "property uchar another\n")), "file malformed") << "257 properties";
  EXPECT_EQ(reason_of(with(repeated(4089, "comment", false))), "read") << "4096 lines";
  EXPECT_EQ(reason_of(with(repeated(4090, "comment", false))), "file malformed") << "4097 lines";
  EXPECT_EQ(reason_of(with("comment " + std::string(2'000'000, 'x') + "\n")), "file malformed") << "a line of 2 MB";
}

std::string many(int count, const std::string& text) {
  std::string all;
  for (int i = 0; i < count; ++i) all += text;
  return all;
}

TEST(Limits, HeadersOfPcd) {
  // x, y and z, more fields of a byte, and so many entries of the last one.
  const auto with = [](int more_fields, int entries, int comments) {
    const std::string last = more_fields == 0 ? "" : " " + std::to_string(entries);
    const auto bytes = static_cast<std::size_t>(12 + std::max(0, more_fields - 1) + (more_fields == 0 ? 0 : entries));
    return read_bytes("a.pcd", many(comments, "#\n") + "VERSION .7\nFIELDS x y z" + many(more_fields, " f") +
                                   "\nSIZE 4 4 4" + many(more_fields, " 1") + "\nTYPE F F F" + many(more_fields, " U") +
                                   "\nCOUNT 1 1 1" + many(more_fields - 1, " 1") + last +
                                   "\nWIDTH 1\nHEIGHT 1\nDATA binary\n" + std::string(bytes, '\0'));
  };
  EXPECT_EQ(reason_of(with(253, 1, 0)), "read") << "256 fields";
  EXPECT_EQ(reason_of(with(254, 1, 0)), "file malformed") << "257 fields";
  EXPECT_EQ(reason_of(with(1, 4096, 0)), "read");
  EXPECT_EQ(reason_of(with(1, 4097, 0)), "file malformed");
  EXPECT_EQ(reason_of(with(0, 0, 248)), "read") << "256 lines";
  EXPECT_EQ(reason_of(with(0, 0, 249)), "file malformed") << "257 lines";
}

// A packed block can hold at most 88 times its size; a header that promises more is not believed.
TEST(Limits, WhatACompressedPcdMayUnfoldTo) {
  const auto promising = [](std::uint32_t unpacked) {
    return read_bytes("a.pcd", "VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH " +
                                   std::to_string(unpacked / 12) + "\nHEIGHT 1\nDATA binary_compressed\n" +
                                   bytes_of_value(std::uint32_t{30}) + bytes_of_value(unpacked) +
                                   std::string(30, '\0'));
  };
  // Neither unfolds, but one is tried: 88 times 30, and a point more.
  EXPECT_NE(promising(2640).error().what.find("are damaged"), std::string::npos);
  EXPECT_NE(promising(2652).error().what.find("cannot expand to the promised size"), std::string::npos);
}

TEST(Limits, LinesAndColumnsOfText) {
  const auto read = [](const std::string& text) { return reason_of(read_bytes("a.xyz", text)); };
  EXPECT_EQ(read(many(64, "1 ") + "\n"), "read");
  EXPECT_EQ(read(many(65, "1 ") + "\n"), "file malformed");
  EXPECT_EQ(read(many(64, "words\n") + "1 2 3\n"), "read");
  EXPECT_EQ(read(many(65, "words\n") + "1 2 3\n"), "file malformed");
  constexpr std::size_t longest = std::size_t{1} << 20;
  EXPECT_EQ(read("1 2 3" + std::string(longest - 5, ' ') + "\n"), "read");
  EXPECT_EQ(read("1 2 3" + std::string(longest - 4, ' ') + "\n"), "file malformed");
  // Lines that a backslash joins count as one.
  const auto joined = [](std::size_t blanks) {
    const std::string line = std::string(blanks, ' ') + "\\\n";
    return reason_of(read_bytes("a.obj", "v 1 2 3" + line + line + "\n"));
  };
  EXPECT_EQ(joined(longest / 2 - 10), "read");
  EXPECT_EQ(joined(longest / 2 + 10), "file malformed");
  // Rows of points are read by blocks of 4 MiB.
  EXPECT_EQ(read("1 2 3\n4 5 6" + std::string(3 * longest, ' ') + "\n"), "read");
  EXPECT_EQ(read("1 2 3\n4 5 6" + std::string(4 * longest, ' ') + "\n"), "file malformed");
  const std::string comment = "#" + std::string(longest, 'x') + "\n";
  EXPECT_EQ(reason_of(read_bytes("a.obj", "v 1 2 3\n" + comment)), "file malformed");
  EXPECT_EQ(reason_of(read_bytes("a.off", "OFF\n1 0 0\n" + comment + "0 0 0\n")), "file malformed");
  EXPECT_EQ(reason_of(read_bytes("a.pcd", comment + "VERSION .7\nFIELDS x y z\nDATA ascii\n1 2 3\n")),
            "file malformed");
  EXPECT_EQ(
      reason_of(read_bytes("a.stl", "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\n" +
                                        std::string(longest, ' ') + "vertex 1 1 0\nendloop\nendfacet\nendsolid\n")),
      "file malformed");
}

TEST(Limits, CornersOfAPolygon) {
  const auto read = [](int corners) {
    const std::string count = std::to_string(corners);
    return reason_of(read_bytes("a.obj", "v 0 0 0\nf" + many(corners, " 1") + "\n")) + ", " +
           reason_of(read_bytes("a.off", "OFF\n1 1 0\n0 0 0\n" + count + many(corners, " 0") + "\n")) + ", " +
           reason_of(read_bytes("a.ply", "ply\nformat ascii 1.0\nelement vertex 1\n" + std::string(header_of_three) +
                                             "element face 1\nproperty list uint int vertex_indices\nend_header\n"
                                             "0 0 0\n" +
                                             count + many(corners, " 0") + "\n"));
  };
  EXPECT_EQ(read(65'536), "read, read, read");
  EXPECT_EQ(read(65'537), "file malformed, file malformed, file malformed");
}

// One point, placed by the first of many nodes.
TEST(Limits, NodesAndJsonOfGlb) {
  const auto glb = [](int more_nodes) {
    std::string json = R"({"scenes":[{"nodes":[0]}],"scene":0,"nodes":[{"mesh":0})" + many(more_nodes, ",{}") +
                       R"(],"meshes":[{"primitives":[{"attributes":{"POSITION":0},"mode":0}]}],)"
                       R"("accessors":[{"bufferView":0,"componentType":5126,"count":1,"type":"VEC3"}],)"
                       R"("bufferViews":[{"buffer":0,"byteLength":12}],"buffers":[{"byteLength":12}]})";
    json.resize((json.size() + 3) / 4 * 4, ' ');
    const auto word = [](std::size_t value) { return bytes_of_value(static_cast<std::uint32_t>(value)); };
    return "glTF" + word(2) + word(12 + 8 + json.size() + 8 + 12) + word(json.size()) + "JSON" + json + word(12) +
           std::string("BIN\0", 4) + std::string(12, '\0');
  };
  EXPECT_EQ(reason_of(read_bytes("a.glb", glb(99'999))), "read");
  EXPECT_EQ(reason_of(read_bytes("a.glb", glb(100'000))), "file over limit");

  // JSON of 256 MiB is looked at, and is none, since it is a hole in the file, which takes no room on the disk.
  const auto hole = [](std::uint32_t json_bytes) {
    const testing::TemporaryFile file("a.glb", "glTF" + bytes_of_value(std::uint32_t{2}) +
                                                   bytes_of_value(std::uint32_t{300U << 20}) +
                                                   bytes_of_value(json_bytes) + "JSON");
    std::filesystem::resize_file(file.path(), 300U << 20);
    Workers workers(1);
    return reason_of(read_cloud(file.path(), {}, workers));
  };
  EXPECT_EQ(hole(256U << 20), "file malformed");
  EXPECT_EQ(hole((256U << 20) + 1), "file over limit");
}

}  // namespace
}  // namespace rimwright
