#include "core/sha256.h"

#include <openssl/evp.h>

#include <array>
#include <string_view>

namespace rimwright {

struct Sha256::State {
  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context{EVP_MD_CTX_new(), &EVP_MD_CTX_free};
  bool works = context && EVP_DigestInit_ex(context.get(), EVP_sha256(), nullptr) == 1;
};

Sha256::Sha256() : state_(std::make_unique<State>()) {}
Sha256::~Sha256() = default;
Sha256::Sha256(Sha256&&) noexcept = default;
Sha256& Sha256::operator=(Sha256&&) noexcept = default;

void Sha256::add(const void* bytes, std::size_t count) {
  state_->works = state_->works && EVP_DigestUpdate(state_->context.get(), bytes, count) == 1;
}

std::string Sha256::hexadecimal() {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int length = 0;
  if (!state_->works || EVP_DigestFinal_ex(state_->context.get(), digest.data(), &length) != 1) return {};
  std::string text;
  constexpr std::string_view digits = "0123456789abcdef";
  for (unsigned int i = 0; i < length; ++i) {
    text += digits[digest[i] >> 4];
    text += digits[digest[i] & 15];
  }
  return text;
}

}  // namespace rimwright
