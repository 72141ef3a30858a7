#include <array>
#include <optional>
#include <string>
#include <string_view>

#include "capture/file/fixed_rows.h"
#include "capture/file/glb_scene.h"

namespace rimwright {

namespace {

using nlohmann::json;

// An accessor's numbers as rows of values, checked to lie within a buffer.
struct Accessor {
  const char* rows = nullptr;
  std::uint64_t count = 0;
  std::size_t stride = 0;
  std::size_t values = 0;  // a row
  NumberType type = NumberType::float32;
  bool normalised = false;
};

std::optional<std::uint64_t> whole_of(const json& object, const char* key, std::optional<std::uint64_t> otherwise) {
  const auto found = object.find(key);
  if (found == object.end()) return otherwise;
  if (!found->is_number_unsigned()) return std::nullopt;
  return found->get<std::uint64_t>();
}

constexpr std::uint64_t no_index = ~std::uint64_t{0};

const json* element_of(const json& document, const char* list, std::uint64_t index) {
  const auto found = document.find(list);
  if (found == document.end() || !found->is_array() || index >= found->size()) return nullptr;
  const json& element = (*found)[index];
  return element.is_object() ? &element : nullptr;
}

std::optional<NumberType> component_type(std::uint64_t code) {
  switch (code) {
    case 5120: return NumberType::int8;
    case 5121: return NumberType::uint8;
    case 5122: return NumberType::int16;
    case 5123: return NumberType::uint16;
    case 5125: return NumberType::uint32;
    case 5126: return NumberType::float32;
    default: return std::nullopt;
  }
}

Outcome<Accessor> accessor_of(const FileBytes& file, const GlbDocument& document, const json& reference,
                              std::string_view what) {
  const std::string about = "the accessor of its " + std::string(what);
  const std::uint64_t index = reference.is_number_unsigned() ? reference.get<std::uint64_t>() : no_index;
  const json* accessor = element_of(document.json, "accessors", index);
  if (accessor == nullptr) return file.malformed(about + " is not there");
  if (accessor->contains("sparse")) {
    return file.not_supported(about + " is sparse", "save the mesh as PLY or as plain .glb");
  }
  const json* view =
      element_of(document.json, "bufferViews", whole_of(*accessor, "bufferView", no_index).value_or(no_index));
  if (view == nullptr) return file.malformed(about + " has no view of the buffer");
  Accessor result;
  const auto kind = accessor->find("type");
  const std::string name = kind != accessor->end() && kind->is_string() ? kind->get<std::string>() : "";
  result.values = name == "SCALAR" ? 1 : name == "VEC2" ? 2 : name == "VEC3" ? 3 : name == "VEC4" ? 4 : 0;
  const auto type = component_type(whole_of(*accessor, "componentType", 0).value_or(0));
  const auto count = whole_of(*accessor, "count", std::nullopt);
  const auto offset = whole_of(*accessor, "byteOffset", 0);
  const auto view_offset = whole_of(*view, "byteOffset", 0);
  const auto view_size = whole_of(*view, "byteLength", std::nullopt);
  const auto stride = whole_of(*view, "byteStride", 0);
  const std::uint64_t buffer = whole_of(*view, "buffer", no_index).value_or(no_index);
  if (result.values == 0 || !type || !count || !offset || !view_offset || !view_size || !stride) {
    return file.malformed(about + " is not complete");
  }
  result.type = *type;
  result.count = *count;
  const auto normalised = accessor->find("normalized");
  result.normalised = normalised != accessor->end() && normalised->is_boolean() && normalised->get<bool>();
  const std::size_t row = result.values * bytes_of(*type);
  if (*stride != 0 && (*stride < row || *stride > 252)) return file.malformed(about + " has an impossible stride");
  result.stride = *stride == 0 ? row : static_cast<std::size_t>(*stride);
  if (buffer >= document.buffers.size()) return file.malformed(about + " names a buffer that is not there");
  const std::vector<char>& bytes = document.buffers[buffer];
  const bool view_fits = *view_offset <= bytes.size() && *view_size <= bytes.size() - *view_offset;
  const bool rows_fit = *count == 0 || (view_fits && *offset <= *view_size && row <= *view_size - *offset &&
                                        *count - 1 <= (*view_size - *offset - row) / result.stride);
  if (!view_fits || !rows_fit) return file.malformed(about + " lies outside its buffer");
  result.rows = bytes.data() + *view_offset + *offset;
  return result;
}

double full_scale(NumberType type) {
  switch (type) {
    case NumberType::int8: return 127.0;
    case NumberType::uint8: return 255.0;
    case NumberType::int16: return 32767.0;
    case NumberType::uint16: return 65535.0;
    default: return 1.0;
  }
}

// Calls use_row(values) for every row of the accessor, integers brought to -1..1 or 0..1 where they are normalised.
// Ends early, and returns false, where use_row does.
template <class UseRow>
bool for_each_row(const Accessor& accessor, const UseRow& use_row) {
  const std::size_t value_bytes = bytes_of(accessor.type);
  const double scale = accessor.normalised ? 1.0 / full_scale(accessor.type) : 1.0;
  std::array<double, 4> values{};
  for (std::uint64_t i = 0; i < accessor.count; ++i) {
    const char* row = accessor.rows + i * accessor.stride;
    for (std::size_t k = 0; k < accessor.values; ++k) {
      values[k] = scale * number_at(row + k * value_bytes, accessor.type, false);
    }
    if (!use_row(values)) return false;
  }
  return true;
}

enum Mode : std::uint64_t { points_mode = 0, triangles_mode = 4, strip_mode = 5, fan_mode = 6 };

// Cuts a sequence of corners into triangles by the primitive's mode.
class Assembler {
 public:
  Assembler(std::uint64_t mode, std::uint32_t first_point, std::uint64_t point_count, std::uint64_t most_triangles,
            MeshPoints& mesh)
      : mode_(mode),
        first_point_(first_point),
        point_count_(point_count),
        most_triangles_(most_triangles),
        mesh_(mesh) {}

  bool add(double index) {
    if (!(index >= 0.0 && index < static_cast<double>(point_count_))) return false;
    const std::uint32_t corner = first_point_ + static_cast<std::uint32_t>(index);
    if (held_ < 2) {
      corners_[held_++] = corner;
      return true;
    }
    if (mesh_.triangles.size() >= most_triangles_) return false;
    mesh_.triangles.push_back({corners_[0], corners_[1], corner});
    if (mode_ == triangles_mode) {
      held_ = 0;
    } else if (mode_ == strip_mode) {
      corners_ = {corners_[1], corner};
    } else {
      corners_[1] = corner;
    }
    return true;
  }

 private:
  std::uint64_t mode_;
  std::uint32_t first_point_;
  std::uint64_t point_count_;
  std::uint64_t most_triangles_;
  MeshPoints& mesh_;
  std::array<std::uint32_t, 2> corners_{};  // of the next triangle, known so far
  std::size_t held_ = 0;
};

Outcome<void> add_primitive(const FileBytes& file, const GlbDocument& document, const json& primitive,
                            const Eigen::Affine3d& T_scene_mesh, const ReadCloudSettings& settings, MeshPoints& mesh) {
  const auto mode = primitive.is_object() ? whole_of(primitive, "mode", triangles_mode) : std::nullopt;
  if (!mode || *mode > fan_mode) return file.malformed("a part of its mesh has no valid mode");
  if (*mode != points_mode && *mode < triangles_mode) return {};  // lines show no surface
  const auto attributes = primitive.find("attributes");
  if (attributes == primitive.end() || !attributes->is_object() || !attributes->contains("POSITION")) {
    return file.malformed("a part of its mesh has no positions");
  }
  auto positions = accessor_of(file, document, (*attributes)["POSITION"], "positions");
  if (!positions) return tl::unexpected(positions.error());
  if (positions->values != 3) return file.malformed("its positions are not of three coordinates");
  const std::uint64_t most_points = std::min<std::uint64_t>(settings.most_points, file.size() / 4);
  if (positions->count > most_points - std::min<std::uint64_t>(most_points, mesh.points.size())) {
    return file.over_limit(
        "its meshes, each as often as it is placed, hold more than " + std::to_string(most_points) + " points",
        "export the one mesh of the instrument");
  }
  const auto first_point = static_cast<std::uint32_t>(mesh.points.size());
  for_each_row(*positions, [&](const std::array<double, 4>& p) {
    mesh.points.push_back(T_scene_mesh * Vector3(p[0], p[1], p[2]));
    return true;
  });

  const auto add_attribute = [&](const char* key, const char* what, const auto& use_row) -> Outcome<void> {
    const auto found = attributes->find(key);
    if (found == attributes->end()) return {};
    auto accessor = accessor_of(file, document, *found, what);
    if (!accessor) return tl::unexpected(accessor.error());
    if (accessor->count != positions->count || accessor->values < 3) {
      return file.malformed("its " + std::string(what) + " do not fit its positions");
    }
    for_each_row(*accessor, use_row);
    return {};
  };
  // A normal turns with the cofactors of the transform, which keep it square to the surface under any scale.
  const Matrix3 linear = T_scene_mesh.linear();
  Matrix3 cofactors;
  cofactors << linear.col(1).cross(linear.col(2)), linear.col(2).cross(linear.col(0)),
      linear.col(0).cross(linear.col(1));
  auto normals = add_attribute("NORMAL", "normals", [&](const std::array<double, 4>& n) {
    const Vector3 normal = cofactors * Vector3(n[0], n[1], n[2]);
    mesh.normals.push_back(
        packed_normal(offset_from(normal.x(), 0.0), offset_from(normal.y(), 0.0), offset_from(normal.z(), 0.0)));
    return true;
  });
  if (!normals) return normals;
  auto colours = add_attribute("COLOR_0", "colours", [&](const std::array<double, 4>& c) {
    mesh.colours.push_back({packed_colour(c[0], 255.0), packed_colour(c[1], 255.0), packed_colour(c[2], 255.0)});
    return true;
  });
  if (!colours) return colours;
  if (*mode == points_mode) return {};

  const std::uint64_t most_triangles = std::min<std::uint64_t>(settings.most_triangles, file.size());
  Assembler assembler(*mode, first_point, positions->count, most_triangles, mesh);
  bool valid = true;
  if (const auto indices = primitive.find("indices"); indices != primitive.end()) {
    auto accessor = accessor_of(file, document, *indices, "indices");
    if (!accessor) return tl::unexpected(accessor.error());
    if (accessor->values != 1) return file.malformed("its indices are not single numbers");
    valid = for_each_row(*accessor, [&](const std::array<double, 4>& i) { return assembler.add(i[0]); });
  } else {
    for (std::uint64_t i = 0; valid && i < positions->count; ++i) valid = assembler.add(static_cast<double>(i));
  }
  if (!valid) return file.malformed("its indices name points that are not there, or too many triangles");
  return {};
}

}  // namespace

Outcome<void> add_mesh(const FileBytes& file, const GlbDocument& document, const PlacedMesh& placed,
                       const ReadCloudSettings& settings, MeshPoints& mesh) {
  const json* described = element_of(document.json, "meshes", placed.mesh);
  if (described == nullptr || !described->contains("primitives") || !(*described)["primitives"].is_array()) {
    return file.malformed("mesh " + std::to_string(placed.mesh) + " has no parts");
  }
  for (const json& primitive : (*described)["primitives"]) {
    if (auto added = add_primitive(file, document, primitive, placed.T_scene_mesh, settings, mesh); !added) {
      return added;
    }
  }
  return {};
}

}  // namespace rimwright
