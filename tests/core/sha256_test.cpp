#include "core/sha256.h"

#include <gtest/gtest.h>

#include <string>

namespace rimwright {
namespace {

std::string sha256_of_text(const std::string& text) {
  Sha256 hash;
  hash.add(text.data(), text.size());
  return hash.hexadecimal();
}

// FIPS 180-2, appendix B: messages of one block, of several, and a million letters.
const std::string of_abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
const std::string of_a_million_a = "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0";

TEST(Sha256, PublishedExamples) {
  EXPECT_EQ(sha256_of_text("abc"), of_abc);
  EXPECT_EQ(sha256_of_text("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  EXPECT_EQ(sha256_of_text(std::string(1'000'000, 'a')), of_a_million_a);
}

TEST(Sha256, InPieces) {
  Sha256 hash;
  const std::string letters(977, 'a');  // no whole number of blocks
  std::size_t left = 1'000'000;
  for (; left > letters.size(); left -= letters.size()) hash.add(letters.data(), letters.size());
  hash.add(letters.data(), left);
  EXPECT_EQ(hash.hexadecimal(), of_a_million_a);
}

}  // namespace
}  // namespace rimwright
