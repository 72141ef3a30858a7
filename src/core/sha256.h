// SHA-256 (FIPS 180-4) of bytes as they come, so that a report can say which input it speaks of.
#pragma once

#include <cstddef>
#include <memory>
#include <string>

namespace rimwright {

class Sha256 {
 public:
  Sha256();
  ~Sha256();
  Sha256(Sha256&&) noexcept;
  Sha256& operator=(Sha256&&) noexcept;

  void add(const void* bytes, std::size_t count);
  // Of all that was added, in lower-case hexadecimal; empty where the library would not work. Asked once, at the end.
  [[nodiscard]] std::string hexadecimal();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace rimwright
