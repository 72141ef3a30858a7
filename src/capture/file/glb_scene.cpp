#include "capture/file/glb_scene.h"

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace rimwright {

namespace {

using nlohmann::json;

constexpr std::uint32_t json_chunk = 0x4E4F534A;    // "JSON"
constexpr std::uint32_t binary_chunk = 0x004E4942;  // "BIN\0"

// An array of the document by name; empty where there is none.
const json& array_of(const json& object, const char* key) {
  static const json none = json::array();
  if (!object.is_object()) return none;
  const auto found = object.find(key);
  return found != object.end() && found->is_array() ? *found : none;
}

// A whole number, not negative; nothing where it is missing or of another kind.
std::optional<std::uint64_t> whole(const json& value) {
  if (value.is_number_unsigned()) return value.get<std::uint64_t>();
  return std::nullopt;
}

std::optional<std::vector<double>> numbers(const json& node, const char* key, std::size_t count) {
  const json& array = array_of(node, key);
  if (array.size() != count) return std::nullopt;
  std::vector<double> values;
  for (const json& value : array) {
    if (!value.is_number()) return std::nullopt;
    values.push_back(value.get<double>());
  }
  return values;
}

// The node's own transform; nothing when what it gives is none.
std::optional<Eigen::Affine3d> transform_of(const json& node) {
  Eigen::Affine3d transform = Eigen::Affine3d::Identity();
  if (node.contains("matrix")) {
    const auto m = numbers(node, "matrix", 16);
    if (!m) return std::nullopt;
    transform.matrix() = Eigen::Map<const Eigen::Matrix4d>(m->data());  // column by column, as the standard has it
    return transform;
  }
  if (node.contains("translation")) {
    const auto t = numbers(node, "translation", 3);
    if (!t) return std::nullopt;
    transform.translate(Vector3((*t)[0], (*t)[1], (*t)[2]));
  }
  if (node.contains("rotation")) {
    const auto q = numbers(node, "rotation", 4);
    if (!q) return std::nullopt;
    Eigen::Quaterniond rotation((*q)[3], (*q)[0], (*q)[1], (*q)[2]);
    if (!(rotation.norm() > 1e-6)) return std::nullopt;
    transform.rotate(rotation.normalized());
  }
  if (node.contains("scale")) {
    const auto s = numbers(node, "scale", 3);
    if (!s) return std::nullopt;
    transform.scale(Vector3((*s)[0], (*s)[1], (*s)[2]));
  }
  return transform;
}

// Indices of the nodes the scene starts from.
std::vector<std::uint64_t> roots_of(const json& document) {
  std::vector<std::uint64_t> roots;
  const json& scenes = array_of(document, "scenes");
  const json& nodes = array_of(document, "nodes");
  const auto add = [&roots](const json& list) {
    for (const json& node : list) roots.push_back(whole(node).value_or(~std::uint64_t{0}));
  };
  if (!scenes.empty()) {
    const std::uint64_t scene = document.contains("scene") ? whole(document["scene"]).value_or(scenes.size()) : 0;
    if (scene < scenes.size()) {
      add(array_of(scenes[scene], "nodes"));
    } else {
      roots.push_back(~std::uint64_t{0});
    }
    return roots;
  }
  std::vector<bool> is_child(nodes.size(), false);
  for (const json& node : nodes) {
    for (const json& child : array_of(node, "children")) {
      if (const auto index = whole(child); index && *index < nodes.size()) is_child[*index] = true;
    }
  }
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (!is_child[i]) roots.push_back(i);
  }
  return roots;
}

Outcome<void> check_document(const FileBytes& file, const json& document) {
  if (!document.is_object()) return file.malformed("its JSON part is no object");
  for (const json& extension : array_of(document, "extensionsRequired")) {
    const std::string name = extension.is_string() ? extension.get<std::string>().substr(0, 60) : "unnamed";
    const bool harmless = name == "KHR_mesh_quantization" || name.rfind("KHR_materials_", 0) == 0 ||
                          name == "KHR_texture_transform" || name == "KHR_lights_punctual";
    if (!harmless) {
      return file.not_supported("it needs the extension '" + name + "'", "save it as .glb without compression");
    }
  }
  if (array_of(document, "nodes").size() > glb_most_nodes) {
    return file.over_limit("it holds more than 100000 nodes", "join the parts of the mesh before exporting it");
  }
  return {};
}

// Base64 (RFC 4648, section 4), padding optional. Nothing where another character occurs.
std::optional<std::vector<char>> decoded_base64(std::string_view text) {
  while (!text.empty() && text.back() == '=') text.remove_suffix(1);
  std::vector<char> bytes;
  bytes.reserve(text.size() / 4 * 3 + 2);
  std::uint32_t bits = 0;
  unsigned bit_count = 0;
  for (const char c : text) {
    std::uint32_t six = 0;
    if (c >= 'A' && c <= 'Z') {
      six = static_cast<std::uint32_t>(c - 'A');
    } else if (c >= 'a' && c <= 'z') {
      six = static_cast<std::uint32_t>(c - 'a') + 26U;
    } else if (c >= '0' && c <= '9') {
      six = static_cast<std::uint32_t>(c - '0') + 52U;
    } else if (c == '+' || c == '/') {
      six = c == '+' ? 62U : 63U;
    } else {
      return std::nullopt;
    }
    bits = (bits << 6U) | six;
    bit_count += 6;
    if (bit_count >= 8) {
      bit_count -= 8;
      bytes.push_back(static_cast<char>((bits >> bit_count) & 0xffU));
    }
  }
  return bytes;
}

// The container's binary part, which may be missing.
Outcome<std::vector<char>> binary_part(const FileBytes& file, std::uint64_t chunk_offset) {
  std::array<std::uint32_t, 2> chunk{};  // length, kind
  if (!file.read_exactly(chunk_offset, chunk.data(), sizeof(chunk)) || chunk[1] != binary_chunk) {
    return std::vector<char>{};
  }
  const std::uint64_t left = file.size() - chunk_offset - sizeof(chunk);
  if (chunk[0] > left) {
    return file.truncated("it promises " + std::to_string(chunk[0]) + " bytes of points and holds " +
                          std::to_string(left));
  }
  std::vector<char> bytes(chunk[0]);
  if (!file.read_exactly(chunk_offset + sizeof(chunk), bytes.data(), bytes.size())) {
    return file.truncated("the file could not be read to its end");
  }
  return bytes;
}

Outcome<void> take_buffers(const FileBytes& file, std::uint64_t chunk_offset, GlbDocument& document) {
  for (json& buffer : document.json["buffers"]) {
    if (!buffer.is_object()) return file.malformed("its buffers are not described");
    if (!buffer.contains("uri")) {
      // Only the first buffer may be the container's binary part.
      auto bytes = document.buffers.empty() ? binary_part(file, chunk_offset) : std::vector<char>{};
      if (!bytes) return tl::unexpected(bytes.error());
      document.buffers.push_back(*std::move(bytes));
      continue;
    }
    const std::string uri = buffer["uri"].is_string() ? std::move(buffer["uri"].get_ref<std::string&>()) : "";
    const std::size_t data = uri.find(";base64,");
    if (uri.rfind("data:", 0) != 0 || data == std::string::npos || data > 100) {
      return file.not_supported("it keeps points outside itself", "save it as .glb with everything embedded");
    }
    auto bytes = decoded_base64(std::string_view(uri).substr(data + 8));
    if (!bytes) return file.malformed("a buffer written into its JSON part is damaged");
    document.buffers.push_back(*std::move(bytes));
  }
  return {};
}

}  // namespace

Outcome<GlbDocument> read_glb_document(const FileBytes& file) {
  std::array<std::uint32_t, 5> head{};  // magic, version, length; JSON chunk: length, kind
  if (!file.read_exactly(0, head.data(), sizeof(head))) return file.truncated("the file ends within its header");
  if (head[0] != 0x46546C67) return file.malformed("this is not a GLB file: it does not begin with 'glTF'");
  if (head[1] != 2) return file.not_supported("its version is not 2", "save it as glTF 2.0 (.glb)");
  if (head[2] > file.size()) {
    return file.truncated("the header promises " + std::to_string(head[2]) + " bytes, the file holds " +
                          std::to_string(file.size()));
  }
  const std::uint64_t json_size = head[3];
  if (head[4] != json_chunk) return file.malformed("its first part is not JSON");
  if (json_size > file.size() - sizeof(head)) return file.truncated("the file ends within its JSON part");
  if (json_size > glb_most_json_bytes) {
    return file.over_limit("its JSON part is larger than 256 MiB", "save the mesh without its scene");
  }
  std::string text(json_size, '\0');
  if (!file.read_exactly(sizeof(head), text.data(), text.size())) return file.truncated("it could not be read");
  GlbDocument document;
  document.json = json::parse(text, nullptr, false);
  if (document.json.is_discarded()) return file.malformed("its JSON part is damaged");
  if (auto fine = check_document(file, document.json); !fine) return tl::unexpected(fine.error());

  if (document.json.contains("buffers") && document.json["buffers"].is_array()) {
    if (auto taken = take_buffers(file, sizeof(head) + json_size, document); !taken) {
      return tl::unexpected(taken.error());
    }
  }
  return document;
}

Outcome<std::vector<PlacedMesh>> placed_meshes(const FileBytes& file, const GlbDocument& document) {
  const json& nodes = array_of(document.json, "nodes");
  struct Visit {
    std::uint64_t node;
    Eigen::Affine3d T_scene_parent;
  };
  std::vector<Visit> open;
  const std::vector<std::uint64_t> roots = roots_of(document.json);
  for (auto root = roots.rbegin(); root != roots.rend(); ++root) open.push_back({*root, Eigen::Affine3d::Identity()});
  std::vector<bool> visited(nodes.size(), false);
  std::vector<PlacedMesh> placed;
  while (!open.empty()) {
    const Visit visit = open.back();
    open.pop_back();
    if (visit.node >= nodes.size()) return file.malformed("its scene names a node that is not there");
    if (visited[visit.node]) return file.malformed("its nodes form no tree: one is reached twice");
    visited[visit.node] = true;
    const json& node = nodes[visit.node];
    const auto own = node.is_object() ? transform_of(node) : std::nullopt;
    if (!own) return file.malformed("node " + std::to_string(visit.node) + " has no valid transform");
    const Eigen::Affine3d T_scene_node = visit.T_scene_parent * *own;
    if (node.contains("mesh")) {
      const auto mesh = whole(node["mesh"]);
      if (!mesh || *mesh >= array_of(document.json, "meshes").size()) {
        return file.malformed("node " + std::to_string(visit.node) + " names a mesh that is not there");
      }
      placed.push_back({static_cast<std::size_t>(*mesh), T_scene_node});
    }
    const json& children = array_of(node, "children");
    if (open.size() + children.size() > nodes.size()) return file.malformed("its nodes form no tree");
    for (auto child = children.rbegin(); child != children.rend(); ++child) {
      open.push_back({whole(*child).value_or(~std::uint64_t{0}), T_scene_node});
    }
  }
  return placed;
}

}  // namespace rimwright
