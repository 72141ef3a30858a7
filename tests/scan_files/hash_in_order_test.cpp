// The hash that reading brings along, against that of the same bytes in one piece.
#include "capture/file/hash_in_order.h"

#include <gtest/gtest.h>

#include <cstring>
#include <random>
#include <string>

#include "core/parallel.h"
#include "file_support.h"

namespace rimwright {
namespace {

using testing::bytes_of_value;
using testing::TemporaryFile;

std::string random_bytes(std::size_t count, std::mt19937& random) {
  std::string bytes(count, '\0');
  for (char& byte : bytes) byte = static_cast<char>(random() & 255U);
  return bytes;
}

std::string sha256_in_one(const std::string& bytes) {
  Sha256 hash;
  hash.add(bytes.data(), bytes.size());
  return hash.hexadecimal();
}

TEST(HashInOrder, WhateverThreadBringsWhat) {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    std::mt19937 random(seed);
    const std::size_t chunk = 1 + random() % 300, last = random() % chunk, count = 1 + random() % 200;
    const std::string bytes = random_bytes(count * chunk + last, random);
    for (const std::size_t threads : {1U, 2U, 5U}) {
      Sha256 hash;
      HashInOrder in_order(hash, chunk);
      Workers workers(threads);
      workers.for_chunks(bytes.size(), chunk, [&](std::size_t begin, std::size_t end, std::size_t number) {
        char* room = in_order.room_for(number);
        std::memcpy(room, bytes.data() + begin, end - begin);
        in_order.bring(number, end - begin);
      });
      EXPECT_EQ(hash.hexadecimal(), sha256_in_one(bytes)) << "seed " << seed << ", " << threads << " threads";
    }
  }
}

// Rows between a header and something behind them, enough for several chunks.
std::string binary_ply(std::size_t points, std::mt19937& random) {
  std::string bytes = "ply\nformat binary_little_endian 1.0\ncomment any text\nelement vertex " +
                      std::to_string(points) +
                      "\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int "
                      "vertex_indices\nend_header\n";
  std::uniform_real_distribution<float> place(-100.0F, 100.0F);
  for (std::size_t i = 0; i < 3 * points; ++i) bytes += bytes_of_value(place(random));
  bytes += '\3';
  for (const std::int32_t corner : {0, 1, 2}) bytes += bytes_of_value(corner);
  return bytes;
}

TEST(HashInOrder, OfAFileThatIsRead) {
  std::mt19937 random(7);
  const std::string ply = binary_ply(100'000, random);
  const TemporaryFile file("scan.ply", ply);
  for (const std::size_t threads : {1U, 2U, 5U}) {
    Workers workers(threads);
    const auto hashed = read_cloud(file.path(), {.hash_file = true}, workers),
               plain = read_cloud(file.path(), {}, workers);
    ASSERT_TRUE(hashed && plain);
    EXPECT_EQ(hashed->cloud.file_sha256, sha256_in_one(ply));
    EXPECT_EQ(hashed->cloud.x, plain->cloud.x);
    EXPECT_EQ(hashed->cloud.z, plain->cloud.z);
    EXPECT_EQ(hashed->triangles, plain->triangles);
    EXPECT_EQ(plain->cloud.file_sha256, "");
  }
}

TEST(HashInOrder, OfABinaryPcd) {
  std::mt19937 random(8);
  const std::string pcd =
      "# .PCD v0.7\nVERSION 0.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH 50000\nHEIGHT 1\n"
      "POINTS 50000\nDATA binary\n" +
      random_bytes(50'000 * 12 + 5, random);  // bytes behind the rows belong to the file
  const auto scan = testing::read_bytes("scan.pcd", pcd, 2, {.hash_file = true});
  ASSERT_TRUE(scan);
  EXPECT_EQ(scan->cloud.file_sha256, sha256_in_one(pcd));
}

// Text, and vertices that carry lists, are not hashed on the way: nothing is claimed.
TEST(HashInOrder, NothingForOtherKinds) {
  const auto text = testing::read_bytes("scan.xyz", "0 0 0\n1 0 0\n0 1 0\n", 1, {.hash_file = true});
  ASSERT_TRUE(text);
  EXPECT_EQ(text->cloud.file_sha256, "");
  const auto ply = testing::read_bytes("scan.ply",
                                       "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float "
                                       "y\nproperty float z\nend_header\n0 0 0\n",
                                       1, {.hash_file = true});
  ASSERT_TRUE(ply);
  EXPECT_EQ(ply->cloud.file_sha256, "");
}

}  // namespace
}  // namespace rimwright
