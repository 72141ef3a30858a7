// The names under which files give what they tell of a point.
#pragma once

#include <string_view>

#include "capture/file/cloud_arrays.h"

namespace rimwright {

// x y z, nx or normal_x .., red or r or diffuse_red .., sigma; `none` for any other name.
[[nodiscard]] PointField point_field_named(std::string_view name);

}  // namespace rimwright
