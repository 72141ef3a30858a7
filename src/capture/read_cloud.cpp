#include "capture/read_cloud.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "capture/file/bytes.h"
#include "capture/file/mesh_reader.h"
#include "capture/file/pcd.h"
#include "capture/file/ply.h"
#include "capture/file/xyz.h"

namespace rimwright {

namespace {

enum class FileKind { ply, pcd, xyz, obj, stl, off, glb };

constexpr std::string_view kinds_read = ".ply, .pcd, .xyz, .pts, .csv, .obj, .stl, .off or .glb";

std::string lower_extension(const std::filesystem::path& path) {
  std::string extension = path.extension().string();
  std::transform(extension.begin(), extension.end(), extension.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return extension;
}

// The first bytes tell for sure; the extension decides among the kinds that have none.
Outcome<FileKind> kind_of(const FileBytes& file, const std::filesystem::path& path) {
  std::array<char, 16> first{};
  const std::size_t got = file.read_some(0, first.data(), first.size());
  const std::string_view start(first.data(), got);
  const auto begins_with = [start](std::string_view magic) { return start.substr(0, magic.size()) == magic; };
  if (file.size() == 0) return file.too_few_points("the file is empty");
  if (begins_with("ply\n") || begins_with("ply\r")) return FileKind::ply;
  if (begins_with("glTF")) return FileKind::glb;
  if (begins_with("# .PCD")) return FileKind::pcd;

  const std::string extension = lower_extension(path);
  if (extension == ".ply") return FileKind::ply;
  if (extension == ".pcd") return FileKind::pcd;
  if (extension == ".stl") return FileKind::stl;
  if (extension == ".obj") return FileKind::obj;
  if (extension == ".off") return FileKind::off;
  if (extension == ".glb") return FileKind::glb;
  for (const std::string_view text : {".xyz", ".xyzn", ".pts", ".csv", ".txt", ".asc"}) {
    if (extension == text) return FileKind::xyz;
  }
  if (extension == ".gltf") {
    return file.not_supported("a .gltf file keeps its points in other files", "save it as .glb");
  }
  return file.not_supported("this is no kind of scan that is read", "save the scan as " + std::string(kinds_read));
}

// Lines of the file, estimated from the lengths of those in its first 64 KiB.
std::uint64_t estimated_lines(const FileBytes& file) {
  std::vector<char> start(static_cast<std::size_t>(std::min<std::uint64_t>(file.size(), 65'536)));
  const std::size_t got = file.read_some(0, start.data(), start.size());
  const auto lines =
      static_cast<std::uint64_t>(std::count(start.begin(), start.begin() + static_cast<std::ptrdiff_t>(got), '\n'));
  const double share = got == 0 ? 0.0 : static_cast<double>(file.size()) / static_cast<double>(got);
  return static_cast<std::uint64_t>(share * static_cast<double>(lines)) + 1;
}

}  // namespace

Outcome<std::uint64_t> points_in(const std::filesystem::path& path) {
  auto file = FileBytes::open(path);
  if (!file) return tl::unexpected(file.error());
  auto kind = kind_of(*file, path);
  if (!kind) return tl::unexpected(kind.error());
  constexpr std::uint64_t stl_bytes_a_corner = 50 / 3, glb_bytes_a_point = 24;
  switch (*kind) {
    case FileKind::ply: return ply_points(*file);
    case FileKind::pcd: return pcd_points(*file);
    case FileKind::stl: return file->size() / stl_bytes_a_corner;
    case FileKind::glb: return file->size() / glb_bytes_a_point;
    default: return estimated_lines(*file);
  }
}

Outcome<ScanFile> read_cloud(const std::filesystem::path& path, const ReadCloudSettings& settings, Workers& workers) {
  auto file = FileBytes::open(path);
  if (!file) return tl::unexpected(file.error());
  auto kind = kind_of(*file, path);
  if (!kind) return tl::unexpected(kind.error());
  auto scan = [&]() -> Outcome<ScanFile> {
    switch (*kind) {
      case FileKind::ply: return read_ply(*file, settings, workers);
      case FileKind::pcd: return read_pcd(*file, settings, workers);
      case FileKind::xyz: return read_xyz(*file, settings, workers);
      case FileKind::obj: return read_obj(*file, settings);
      case FileKind::stl: return read_stl(*file, settings);
      case FileKind::off: return read_off(*file, settings);
      case FileKind::glb: break;
    }
    return read_glb(*file, settings);
  }();
  if (!scan) return scan;
  if (scan->cloud.size() == 0) return file->too_few_points("the file holds no points");
  scan->cloud.counts.points_in_file = scan->cloud.size();
  if (!settings.keep_colours) scan->cloud.colours = {};
  return scan;
}

Outcome<void> for_each_block(const std::filesystem::path& path, std::size_t block_points,
                             const ReadCloudSettings& settings, Workers& workers,
                             const std::function<void(Cloud& block)>& use_block) {
  auto file = FileBytes::open(path);
  if (!file) return tl::unexpected(file.error());
  auto kind = kind_of(*file, path);
  if (!kind) return tl::unexpected(kind.error());
  const std::size_t at_once = std::max<std::size_t>(1, block_points);
  switch (*kind) {
    case FileKind::ply: return for_each_ply_block(*file, at_once, workers, use_block);
    case FileKind::pcd: return for_each_pcd_block(*file, at_once, workers, use_block);
    case FileKind::xyz: return for_each_xyz_block(*file, at_once, workers, use_block);
    default: break;
  }
  auto scan = read_cloud(path, settings, workers);
  if (!scan) return tl::unexpected(scan.error());
  use_block(scan->cloud);
  return {};
}

}  // namespace rimwright
