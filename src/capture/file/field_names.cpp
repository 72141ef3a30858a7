#include "capture/file/field_names.h"

#include <array>
#include <utility>

namespace rimwright {

PointField point_field_named(std::string_view name) {
  static constexpr std::array<std::pair<std::string_view, PointField>, 19> names = {{
      {"x", PointField::x},
      {"y", PointField::y},
      {"z", PointField::z},
      {"nx", PointField::normal_x},
      {"normal_x", PointField::normal_x},
      {"ny", PointField::normal_y},
      {"normal_y", PointField::normal_y},
      {"nz", PointField::normal_z},
      {"normal_z", PointField::normal_z},
      {"r", PointField::red},
      {"red", PointField::red},
      {"diffuse_red", PointField::red},
      {"g", PointField::green},
      {"green", PointField::green},
      {"diffuse_green", PointField::green},
      {"b", PointField::blue},
      {"blue", PointField::blue},
      {"diffuse_blue", PointField::blue},
      {"sigma", PointField::sigma},
  }};
  for (const auto& [known, field] : names) {
    if (known == name) return field;
  }
  return PointField::none;
}

}  // namespace rimwright
