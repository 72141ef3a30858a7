#include "capture/file/mesh_reader.h"
#include "scan_file_fuzz.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  return rimwright::fuzz_scan_file(data, size, [](const rimwright::FileBytes& file, rimwright::Workers& workers) {
    static_cast<void>(workers);
    return rimwright::read_stl(file, {});
  });
}
