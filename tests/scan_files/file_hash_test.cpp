// The hash that reading brings along, against that of the same bytes in one piece.
#include "capture/file_hash.h"

#include <gtest/gtest.h>

#include <atomic>
#include <cstring>
#include <random>
#include <string>
#include <vector>

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

// Whoever reads what: each chunk is shared out once, and the hash is that of the file.
TEST(FileHash, ChunksReadByAnyThread) {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    std::mt19937 random(seed);
    const std::size_t chunk = 1 + random() % 300, count = 1 + random() % 200, last = 1 + random() % chunk;
    const std::size_t before = random() % 200, behind = random() % 200, rows = (count - 1) * chunk + last;
    const std::string bytes = random_bytes(before + rows + behind, random);
    const TemporaryFile file("scan", bytes);
    for (const std::size_t threads : {1U, 2U, 5U}) {
      FileHash hash(file.path());
      ASSERT_TRUE(hash.begin_chunks(before, chunk, count));
      EXPECT_FALSE(hash.begin_chunks(before, chunk, count));  // whoever reads the file again does not hash it again
      std::vector<std::atomic<int>> shared_out(count);
      Workers workers(threads);
      workers.for_chunks(count, 1, [&](std::size_t, std::size_t, std::size_t) {
        const FileHash::Share share = hash.next_share();
        ++shared_out.at(share.chunk);
        const std::size_t here = share.chunk + 1 == count ? last : chunk;
        if (share.room != nullptr) std::memcpy(share.room, bytes.data() + before + share.chunk * chunk, here);
        hash.bring(share, here);
      });
      for (const auto& times : shared_out) ASSERT_EQ(times, 1);
      EXPECT_EQ(hash.finished(), sha256_in_one(bytes)) << threads << " threads";
    }
  }
}

// A reader that is never hashed for runs ahead: nobody waits, and what was not hashed on the way is hashed in the end.
TEST(FileHash, ReadingGoesOnFromTheBack) {
  std::mt19937 random(3);
  const std::string bytes = random_bytes(100 * 64, random);
  const TemporaryFile file("scan", bytes);
  FileHash hash(file.path());
  ASSERT_TRUE(hash.begin_chunks(0, 64, 100));
  std::vector<FileHash::Share> shares;
  for (int k = 0; k < 100; ++k) shares.push_back(hash.next_share());  // as if by a hundred threads at once
  std::size_t with_room = 0;
  for (; shares.at(with_room).room != nullptr; ++with_room) ASSERT_EQ(shares[with_room].chunk, with_room);
  EXPECT_GE(with_room, 2U);
  for (std::size_t k = with_room; k < 100; ++k) {
    EXPECT_EQ(shares[k].room, nullptr);
    EXPECT_EQ(shares[k].chunk, 99 - (k - with_room));
  }
  for (auto share = shares.rbegin(); share != shares.rend(); ++share) {
    if (share->room != nullptr) std::memcpy(share->room, bytes.data() + share->chunk * 64, 64);
    hash.bring(*share, 64);
  }
  EXPECT_EQ(hash.finished(), sha256_in_one(bytes));
}

TEST(FileHash, WhatNobodyReadsOrCannotBeRead) {
  const TemporaryFile file("any", "abc");
  EXPECT_EQ(FileHash(file.path()).finished(), sha256_in_one("abc"));
  EXPECT_EQ(FileHash(file.path().parent_path()).finished(), "");
  EXPECT_EQ(FileHash(file.path().parent_path() / "not there").finished(), "");
  FileHash cut_short(file.path());
  EXPECT_FALSE(cut_short.begin_chunks(5, 2, 1));  // the file ends before
  EXPECT_EQ(cut_short.finished(), sha256_in_one("abc"));
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

TEST(FileHash, OfAFileThatIsRead) {
  std::mt19937 random(7);
  const std::string ply = binary_ply(300'000, random);
  const TemporaryFile file("scan.ply", ply);
  for (const std::size_t threads : {1U, 2U, 5U}) {
    Workers workers(threads);
    FileHash hash(file.path());
    const auto hashed = read_cloud(file.path(), {.hash = &hash}, workers);
    const auto plain = read_cloud(file.path(), {}, workers);
    ASSERT_TRUE(hashed && plain);
    EXPECT_FALSE(hash.begin_chunks(0, 1, 1));  // it has been told of the bytes
    EXPECT_EQ(hash.finished(), sha256_in_one(ply));
    EXPECT_EQ(hashed->cloud.x, plain->cloud.x);
    EXPECT_EQ(hashed->cloud.z, plain->cloud.z);
    EXPECT_EQ(hashed->triangles, plain->triangles);
  }
}

TEST(FileHash, OfOtherKinds) {
  std::mt19937 random(8);
  const std::string pcd =
      "# .PCD v0.7\nVERSION 0.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH 50000\nHEIGHT 1\n"
      "POINTS 50000\nDATA binary\n" +
      random_bytes(50'000 * 12 + 5, random);  // bytes behind the rows belong to the file
  const std::string text = "0 0 0\n1 0 0\n0 1 0\n";
  for (const auto& [name, bytes] : {std::pair<std::string, std::string>{"scan.pcd", pcd}, {"scan.xyz", text}}) {
    const TemporaryFile file(name, bytes);
    Workers workers(2);
    FileHash hash(file.path());
    ASSERT_TRUE(read_cloud(file.path(), {.hash = &hash}, workers)) << name;
    EXPECT_EQ(hash.finished(), sha256_in_one(bytes)) << name;
  }
}

}  // namespace
}  // namespace rimwright
