#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

#include "file_support.h"

namespace rimwright {
namespace {

using testing::bytes_of_value;
using testing::count_accepted_truncations;
using testing::read_bytes;
using Corners = std::array<std::uint32_t, 3>;

constexpr double millionth = 1e-6;

std::string reason_of(const std::string& name, const std::string& bytes) {
  const auto scan = read_bytes(name, bytes);
  if (scan) return "accepted";
  EXPECT_NE(scan.error().what.find(name), std::string::npos);
  return std::string(name_of(scan.error().reason));
}

// ---- OBJ

const std::string obj_file =
    "# a roof\nmtllib /etc/passwd\no roof\nv 0 0 0 1 0 0.5\nv 2 0 0 1 0 0\nv 2 2 0 1 1 1\nv 0 2 0 0 0 0\nv 1 1 \\\n3 0 "
    "0 "
    "0\nvn 0 0 1\nvt 0 0\nf 1//1 2//1 3//1 4//1\nf -5/1/1 -4/1/1 -1/1/1\nl 1 2\ns off\n";

TEST(ReadObj, PolygonsNegativeReferencesColoursAndContinuedLines) {
  const auto scan = read_bytes("roof.obj", obj_file);
  ASSERT_TRUE(scan) << scan.error().sentence();
  ASSERT_EQ(scan->cloud.size(), 5U);
  EXPECT_NEAR((scan->cloud.point_mm(4) - Vector3(1, 1, 3)).norm(), 0.0, millionth);
  EXPECT_EQ(scan->cloud.colours[0], (std::array<std::uint8_t, 3>{255, 0, 128}));
  ASSERT_EQ(scan->triangles.size(), 3U);
  EXPECT_EQ(scan->triangles[1], (Corners{0, 2, 3}));
  EXPECT_EQ(scan->triangles[2], (Corners{0, 1, 4}));
}

TEST(ReadObj, Refusals) {
  EXPECT_EQ(reason_of("a.obj", "v 1 2\n"), "file malformed");
  EXPECT_EQ(reason_of("a.obj", "v 1 2 x\n"), "file malformed");
  EXPECT_EQ(reason_of("a.obj", "v 0 0 0\nf 1 1 2\n"), "file malformed");
  EXPECT_EQ(reason_of("a.obj", "v 0 0 0\nf 1 1 0\n"), "file malformed");
  EXPECT_EQ(reason_of("a.obj", "v 0 0 0\nf 1 1 -2\n"), "file malformed");
  EXPECT_EQ(reason_of("a.obj", "v 0 0 0\nf 1 1 99999999999999999999\n"), "file malformed");
  EXPECT_EQ(reason_of("a.obj", "v 0 0 0\nf 1 1 4294967297\n"), "file malformed");
  EXPECT_EQ(reason_of("a.obj", "o nothing\n"), "too few points");
  count_accepted_truncations("cut.obj", obj_file);
}

// ---- OFF

TEST(ReadOff, PlainColouredAndCommented) {
  const auto plain =
      read_bytes("a.off", "OFF # a square\n\n4 1 0\n0 0 0\n1 0 0 # corner\n1 1 0\n0 1 0\n4 0 1 2 3 200 0 0\n");
  ASSERT_TRUE(plain) << plain.error().sentence();
  EXPECT_EQ(plain->cloud.size(), 4U);
  EXPECT_EQ(plain->triangles.size(), 2U);
  const auto coloured = read_bytes("a.off", "CNOFF 1 0 0\n1 2 3 0 0 -1 255 128 0 255\n");
  ASSERT_TRUE(coloured) << coloured.error().sentence();
  EXPECT_EQ(coloured->cloud.colours[0], (std::array<std::uint8_t, 3>{255, 128, 0}));
  EXPECT_EQ(coloured->cloud.normals[0].times_127, (std::array<std::int8_t, 3>{0, 0, -127}));
}

TEST(ReadOff, Refusals) {
  EXPECT_EQ(reason_of("a.off", "OFF\n2 0 0\n0 0 0\n"), "file truncated");
  EXPECT_EQ(reason_of("a.off", "OFF\n1000000000000 0 0\n0 0 0\n"), "file truncated");
  EXPECT_EQ(reason_of("a.off", "OFF\n-1 0 0\n0 0 0\n"), "file malformed");
  EXPECT_EQ(reason_of("a.off", "OFF\n1 1 0\n0 0 0\n3 0 0 1\n"), "file malformed");
  EXPECT_EQ(reason_of("a.off", "OFF\n1 1 0\n0 0 0\n3 0 0\n"), "file malformed");
  EXPECT_EQ(reason_of("a.off", "OFF\n1 1 0\n0 0 0\n99999999999 0 0\n"), "file malformed");
  EXPECT_EQ(reason_of("a.off", "4OFF\n1 0 0\n0 0 0 0\n"), "file not supported");
  EXPECT_EQ(reason_of("a.off", "OFF BINARY\n"), "file not supported");
  EXPECT_EQ(reason_of("a.off", "PLOFF\n"), "file malformed");
  EXPECT_EQ(reason_of("a.off", "OFF\n0 0 0\n"), "too few points");
  count_accepted_truncations("cut.off", "OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n");
}

// ---- STL

std::string binary_stl(const std::string& title, std::uint32_t stated,
                       const std::vector<std::array<float, 9>>& facets) {
  std::string bytes = title + std::string(80 - title.size(), ' ') + bytes_of_value(stated);
  for (const auto& facet : facets) {
    for (int i = 0; i < 3; ++i) bytes += bytes_of_value(0.0F);
    for (const float value : facet) bytes += bytes_of_value(value);
    bytes += bytes_of_value(std::uint16_t{0});
  }
  return bytes;
}

const std::vector<std::array<float, 9>> two_facets = {{0, 0, 0, 1, 0, 0, 1, 1, 0}, {0, 0, 0, 1, 1, 0, 0, 1, -0.0F}};

const std::string text_stl =
    "solid square\n facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   vertex 1 0 0\n   vertex 1 1 0\n  endloop\n"
    " endfacet\n facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   vertex 1 1 0\n   vertex 0 1e0 -0\n  endloop\n"
    " endfacet\nendsolid square\n";

TEST(ReadStl, TextAndBinaryShareCorners) {
  for (const std::string& bytes :
       {binary_stl("two facets", 2, two_facets), binary_stl("solid two", 2, two_facets), text_stl}) {
    const auto scan = read_bytes("square.stl", bytes);
    ASSERT_TRUE(scan) << scan.error().sentence();
    EXPECT_EQ(scan->cloud.size(), 4U);
    ASSERT_EQ(scan->triangles.size(), 2U);
    EXPECT_EQ(scan->triangles[1], (Corners{0, 2, 3}));
  }
}

TEST(ReadStl, Refusals) {
  EXPECT_EQ(reason_of("a.stl", binary_stl("x", 3, two_facets)), "file truncated");
  EXPECT_EQ(reason_of("a.stl", binary_stl("x", 4'000'000'000U, two_facets)), "file truncated");
  EXPECT_EQ(reason_of("a.stl", binary_stl("x", 1, two_facets)), "file malformed");
  EXPECT_EQ(reason_of("a.stl", binary_stl("x", 0, {})), "too few points");
  EXPECT_EQ(reason_of("a.stl", "short"), "file malformed");
  EXPECT_EQ(reason_of("a.stl", "solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n"), "file truncated");
  EXPECT_EQ(reason_of("a.stl", "solid x\nvertex 0 0\nendsolid\n"), "file malformed");
  EXPECT_EQ(reason_of("a.stl", "solid x\nvertex 0 0 0\nendfacet\nendsolid\n"), "file malformed");
  EXPECT_EQ(reason_of("a.stl", "solid x\nrubbish\n"), "file malformed");
  EXPECT_EQ(count_accepted_truncations("cut.stl", binary_stl("two", 2, two_facets)), 0U);
  count_accepted_truncations("cut.stl", text_stl);
}

TEST(ReadStl, ManyCornersThatAreNotFiniteDoNotSlowTheWeldDown) {
  const float nan = std::nanf("");
  const std::vector<std::array<float, 9>> facets(50'000, {nan, nan, nan, nan, nan, nan, nan, nan, nan});
  const auto scan = read_bytes("nan.stl", binary_stl("nan", 50'000, facets));
  ASSERT_TRUE(scan);
  EXPECT_EQ(scan->cloud.size(), 150'000U);
}

// ---- GLB

std::string glb(std::string json, std::string buffer, std::uint32_t version = 2) {
  while (json.size() % 4 != 0) json += ' ';
  while (buffer.size() % 4 != 0) buffer += '\0';
  const std::size_t total = 12 + 8 + json.size() + 8 + buffer.size();
  return "glTF" + bytes_of_value(version) + bytes_of_value(static_cast<std::uint32_t>(total)) +
         bytes_of_value(static_cast<std::uint32_t>(json.size())) + "JSON" + json +
         bytes_of_value(static_cast<std::uint32_t>(buffer.size())) + std::string("BIN\0", 4) + buffer;
}

std::string square_buffer() {
  std::string buffer;
  for (const float value : {0.0F, 0.0F, 0.0F, 1.0F, 0.0F, 0.0F, 1.0F, 1.0F, 0.0F, 0.0F, 1.0F, 0.0F}) {
    buffer += bytes_of_value(value);
  }
  for (int i = 0; i < 4; ++i) {
    for (const float value : {0.0F, 0.0F, 1.0F}) buffer += bytes_of_value(value);
  }
  for (int i = 0; i < 4; ++i) buffer += std::string("\xff\x80\x00\xff", 4);
  for (const int index : {0, 1, 2, 0, 2, 3}) buffer += bytes_of_value(static_cast<std::uint16_t>(index));
  return buffer;
}

std::string square_json(const std::string& nodes, const std::string& mode = "4", const std::string& count = "4",
                        const std::string& more = "") {
  return R"({"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":)" + nodes +
         R"(,"meshes":[{"primitives":[{"attributes":{"POSITION":0,"NORMAL":1,"COLOR_0":2},"indices":3,"mode":)" + mode +
         R"(}]}],"accessors":[{"bufferView":0,"componentType":5126,"count":)" + count +
         R"(,"type":"VEC3"},{"bufferView":1,"componentType":5126,"count":4,"type":"VEC3"},)"
         R"({"bufferView":2,"componentType":5121,"normalized":true,"count":4,"type":"VEC4"},)"
         R"({"bufferView":3,"componentType":5123,"count":6,"type":"SCALAR"}],"bufferViews":[)"
         R"({"buffer":0,"byteOffset":0,"byteLength":48},{"buffer":0,"byteOffset":48,"byteLength":48},)"
         R"({"buffer":0,"byteOffset":96,"byteLength":16},{"buffer":0,"byteOffset":112,"byteLength":12}],)"
         R"("buffers":[{"byteLength":124}])" +
         more + "}";
}

TEST(ReadGlb, PlacesMeshesByTheTransformsOfTheirNodes) {
  // A quarter turn about z and a shift, within a parent that doubles: (x, y, z) -> 2 (10 - y, x, z + 1).
  const std::string nodes =
      R"([{"children":[1],"matrix":[2,0,0,0,0,2,0,0,0,0,2,0,0,0,0,1]},)"
      R"({"mesh":0,"rotation":[0,0,0.7071067811865476,0.7071067811865476],"translation":[10,0,1]}])";
  const auto scan = read_bytes("square.glb", glb(square_json(nodes), square_buffer()));
  ASSERT_TRUE(scan) << scan.error().sentence();
  ASSERT_EQ(scan->cloud.size(), 4U);
  EXPECT_NEAR((scan->cloud.point_mm(1) - Vector3(20, 2, 2)).norm(), 0.0, 2e-6);
  EXPECT_NEAR((scan->cloud.point_mm(3) - Vector3(18, 0, 2)).norm(), 0.0, 2e-6);
  EXPECT_EQ(scan->cloud.normals[0].times_127, (std::array<std::int8_t, 3>{0, 0, 127}));
  EXPECT_EQ(scan->cloud.colours[0], (std::array<std::uint8_t, 3>{255, 128, 0}));
  ASSERT_EQ(scan->triangles.size(), 2U);
  EXPECT_EQ(scan->triangles[1], (Corners{0, 2, 3}));
}

const std::string one_node = R"([{"mesh":0}])";

TEST(ReadGlb, PointsStripsAndFans) {
  const auto points = read_bytes("p.glb", glb(square_json(one_node, "0"), square_buffer()));
  ASSERT_TRUE(points) << points.error().sentence();
  EXPECT_TRUE(points->triangles.empty());
  const auto strip = read_bytes("s.glb", glb(square_json(one_node, "5"), square_buffer()));
  ASSERT_TRUE(strip);
  EXPECT_EQ(strip->triangles.back(), (Corners{0, 2, 3}));
  EXPECT_EQ(strip->triangles.size(), 4U);
  const auto fan = read_bytes("f.glb", glb(square_json(one_node, "6"), square_buffer()));
  ASSERT_TRUE(fan);
  EXPECT_EQ(fan->triangles.back(), (Corners{0, 2, 3}));
}

TEST(ReadGlb, ABufferWrittenIntoTheJsonPart) {
  // Three points, (0 0 0) (1 0 0) (0 1 0), as base64 of their 36 bytes.
  const auto with_data = [](const std::string& data) {
    return R"({"nodes":[{"mesh":0}],"meshes":[{"primitives":[{"attributes":{"POSITION":0},"mode":0}]}],"accessors":[)"
           R"({"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}],"bufferViews":[{"buffer":0,"byteLength":36}],)"
           R"("buffers":[{"byteLength":36,"uri":"data:application/octet-stream;base64,)" +
           data + "\"}]}";
  };
  const std::string data = "AAAAAAAAAAAAAAAAAACAPwAAAAAAAAAAAAAAAAAAgD8AAAAA";
  const auto scan = read_bytes("data.glb", glb(with_data(data), ""));
  ASSERT_TRUE(scan) << scan.error().sentence();
  ASSERT_EQ(scan->cloud.size(), 3U);
  EXPECT_EQ(scan->cloud.point_mm(1), Vector3(1, 0, 0));
  EXPECT_EQ(scan->cloud.point_mm(2), Vector3(0, 1, 0));
  EXPECT_EQ(reason_of("data.glb", glb(with_data(data.substr(0, 20)), "")), "file malformed");
  EXPECT_EQ(reason_of("data.glb", glb(with_data("A!" + data), "")), "file malformed");
}

TEST(ReadGlb, Refusals) {
  const auto reason = [](const std::string& json) { return reason_of("bad.glb", glb(json, square_buffer())); };
  EXPECT_EQ(reason(square_json(R"([{"children":[1]},{"children":[0]}])")), "file malformed");  // a cycle
  EXPECT_EQ(reason(square_json(R"([{"children":[0]}])")), "file malformed");
  EXPECT_EQ(reason(square_json(R"([{"children":[1,1]},{"mesh":0}])")), "file malformed");
  EXPECT_EQ(reason(square_json(R"([{"children":[7]}])")), "file malformed");
  EXPECT_EQ(reason(square_json(R"([{"mesh":1}])")), "file malformed");
  EXPECT_EQ(reason(square_json(R"([{"mesh":0,"matrix":[1,2]}])")), "file malformed");
  EXPECT_EQ(reason(square_json(R"([{"mesh":0,"rotation":[0,0,0,0]}])")), "file malformed");
  EXPECT_EQ(reason(square_json(one_node, "4", "5")), "file malformed");  // beyond its view
  EXPECT_EQ(reason(square_json(one_node, "4", "18446744073709551615")), "file malformed");
  EXPECT_EQ(reason(square_json(one_node, "4", "-1")), "file malformed");
  EXPECT_EQ(reason(square_json(one_node, "9")), "file malformed");
  EXPECT_EQ(reason(square_json(one_node, "4", "3")), "file malformed");  // indices beyond the points
  EXPECT_EQ(reason(square_json(one_node, "4", "4", R"(,"extensionsRequired":["KHR_draco_mesh_compression"])")),
            "file not supported");
  std::string outside = square_json(one_node);
  outside.replace(outside.find(R"({"byteLength":124})"), 18, R"({"byteLength":124,"uri":"../../secret.bin"})");
  EXPECT_EQ(reason(outside), "file not supported");
  std::string beyond = square_json(one_node);
  beyond.replace(beyond.find(R"("byteOffset":112)"), 16, R"("byteOffset":999)");
  EXPECT_EQ(reason(beyond), "file malformed");
  EXPECT_EQ(reason(R"([1,2])"), "file malformed");
  EXPECT_EQ(reason(R"({"scenes":)"), "file malformed");
  EXPECT_EQ(reason(R"({"scenes":[{"nodes":[0]}]})"), "file malformed");
  EXPECT_EQ(reason("{}"), "too few points");
  EXPECT_EQ(reason(std::string(200'000, '[')), "file malformed");
  EXPECT_EQ(reason_of("bad.glb", glb(square_json(one_node), square_buffer(), 1)), "file not supported");
}

TEST(ReadGlb, AMeshPlacedTooOftenIsOverTheLimit) {
  std::string nodes = "[{\"children\":[";
  std::string placed;
  for (int i = 1; i <= 2000; ++i) {
    nodes += (i > 1 ? "," : "") + std::to_string(i);
    placed += R"(,{"mesh":0})";
  }
  EXPECT_EQ(reason_of("many.glb", glb(square_json(nodes + "]}" + placed + "]"), square_buffer())), "file over limit");
}

TEST(ReadGlb, SurvivesEveryTruncationAndChangedByte) {
  EXPECT_EQ(count_accepted_truncations("cut.glb", glb(square_json(one_node), square_buffer())), 0U);
}

TEST(ReadMeshes, OtherKindsAreRefusedByName) {
  EXPECT_EQ(reason_of("scene.gltf", "{}"), "file not supported");
  EXPECT_EQ(reason_of("scan.e57", "ASTM-E57"), "file not supported");
  EXPECT_EQ(reason_of("scan", "whatever"), "file not supported");
}

}  // namespace
}  // namespace rimwright
