#include "app/hash_file.h"

#include <openssl/evp.h>

#include <array>
#include <fstream>
#include <memory>
#include <vector>

namespace rimwright {

std::string sha256_of(const std::filesystem::path& path) {
  std::error_code error;
  if (!std::filesystem::is_regular_file(path, error)) return {};
  std::ifstream file(path, std::ios::binary);
  const std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context(EVP_MD_CTX_new(), &EVP_MD_CTX_free);
  if (!file || !context || EVP_DigestInit_ex(context.get(), EVP_sha256(), nullptr) != 1) return {};
  std::vector<char> block(1 << 18);  // stays in a core's own cache between reading and hashing
  while (file) {
    file.read(block.data(), static_cast<std::streamsize>(block.size()));
    if (file.gcount() > 0) EVP_DigestUpdate(context.get(), block.data(), static_cast<std::size_t>(file.gcount()));
  }
  if (!file.eof()) return {};
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int length = 0;
  EVP_DigestFinal_ex(context.get(), digest.data(), &length);
  std::string text;
  constexpr std::string_view digits = "0123456789abcdef";
  for (unsigned int i = 0; i < length; ++i) {
    text += digits[digest[i] >> 4];
    text += digits[digest[i] & 15];
  }
  return text;
}

}  // namespace rimwright
