#include "capture/file/fixed_rows.h"

#include <algorithm>
#include <atomic>
#include <bit>
#include <cstring>
#include <limits>
#include <type_traits>
#include <vector>

namespace rimwright {

static_assert(std::endian::native == std::endian::little, "the readers are written for little-endian machines");

namespace {

constexpr std::size_t chunk_bytes = std::size_t{1} << 18;  // stays in a core's own cache between reading and decoding
constexpr std::size_t run_points = 1024;

template <class Number>
Number load(const char* at, bool swapped) {
  Number value;
  if (swapped) {
    std::array<char, sizeof(Number)> bytes;
    std::reverse_copy(at, at + sizeof(Number), bytes.begin());
    std::memcpy(&value, bytes.data(), sizeof(Number));
  } else {
    std::memcpy(&value, at, sizeof(Number));
  }
  return value;
}

template <class Use>
auto with_type(NumberType type, Use&& use) {
  switch (type) {
    case NumberType::int8: return use(std::int8_t{});
    case NumberType::uint8: return use(std::uint8_t{});
    case NumberType::int16: return use(std::int16_t{});
    case NumberType::uint16: return use(std::uint16_t{});
    case NumberType::int32: return use(std::int32_t{});
    case NumberType::uint32: return use(std::uint32_t{});
    case NumberType::int64: return use(std::int64_t{});
    case NumberType::uint64: return use(std::uint64_t{});
    case NumberType::float32: return use(float{});
    case NumberType::float64: break;
  }
  return use(double{});
}

// A double beyond the range of float becomes infinity, and is dropped as 'not finite' later on.
float narrowed(double value) {
  constexpr double largest = std::numeric_limits<float>::max();
  if (value > largest) return std::numeric_limits<float>::infinity();
  if (value < -largest) return -std::numeric_limits<float>::infinity();
  return static_cast<float>(value);
}

// out[i] = scale * (value - shift)
void decode_column(const char* rows, const FieldPlace& place, bool swapped, std::size_t count, double shift,
                   double scale, float* out) {
  with_type(place.type, [&](auto kind) {
    using Number = decltype(kind);
    const char* at = rows + place.offset;
    const std::size_t stride = place.stride;
    if constexpr (std::is_same_v<Number, float>) {
      if (!swapped) {
        for (std::size_t i = 0; i < count; ++i) {
          float value;
          std::memcpy(&value, at + i * stride, sizeof(value));
          out[i] = static_cast<float>(scale * (static_cast<double>(value) - shift));
        }
        return;
      }
    }
    for (std::size_t i = 0; i < count; ++i) {
      out[i] = narrowed(scale * (static_cast<double>(load<Number>(at + i * stride, swapped)) - shift));
    }
  });
}

}  // namespace

std::size_t bytes_of(NumberType type) {
  return with_type(type, [](auto kind) { return sizeof(kind); });
}

double number_at(const char* at, NumberType type, bool swapped) {
  return with_type(type, [&](auto kind) { return static_cast<double>(load<decltype(kind)>(at, swapped)); });
}

double colour_scale(NumberType type) {
  switch (type) {
    case NumberType::float32:
    case NumberType::float64: return 255.0;
    case NumberType::int16:
    case NumberType::uint16: return 255.0 / 65535.0;
    default: return 1.0;
  }
}

std::size_t points_a_normal_of(std::uint64_t points) {
  constexpr std::uint64_t enough_normals = 200'000;
  return static_cast<std::size_t>(std::max<std::uint64_t>(1, points / enough_normals));
}

PresentArrays RowFormat::present() const {
  const auto all = [this](PointField a, PointField b, PointField c) {
    return at(a).present && at(b).present && at(c).present;
  };
  return {all(PointField::normal_x, PointField::normal_y, PointField::normal_z) ? points_a_normal : 0,
          all(PointField::red, PointField::green, PointField::blue), at(PointField::sigma).present};
}

namespace {

// The common case, several points at once: x, y and z of floats side by side, in this machine's byte order.
bool places_are_adjacent_floats(const RowFormat& format) {
  const FieldPlace &x = format.at(PointField::x), &y = format.at(PointField::y), &z = format.at(PointField::z);
  const auto is_float = [](const FieldPlace& place) { return place.type == NumberType::float32; };
  return !format.swapped && is_float(x) && is_float(y) && is_float(z) && y.offset == x.offset + sizeof(float) &&
         z.offset == y.offset + sizeof(float) && x.stride == y.stride && y.stride == z.stride;
}

void decode_float_places(const char* rows, std::size_t count, const RowFormat& format, Cloud& into, std::size_t at) {
  const FieldPlace& place = format.at(PointField::x);
  const char* row = rows + place.offset;
  const double origin_x = into.origin_mm.x(), origin_y = into.origin_mm.y(), origin_z = into.origin_mm.z();
  float *x = &into.x[at], *y = &into.y[at], *z = &into.z[at];
  for (std::size_t i = 0; i < count; ++i, row += place.stride) {
    std::array<float, 3> values;
    std::memcpy(values.data(), row, sizeof values);
    x[i] = static_cast<float>(static_cast<double>(values[0]) - origin_x);
    y[i] = static_cast<float>(static_cast<double>(values[1]) - origin_y);
    z[i] = static_cast<float>(static_cast<double>(values[2]) - origin_z);
  }
}

void decode_normals(const char* rows, std::size_t count, const RowFormat& format, Cloud& into, std::size_t at) {
  const std::size_t every = format.points_a_normal;
  for (std::size_t k = (at + every - 1) / every; k * every < at + count; ++k) {
    const auto component = [&](PointField field) {
      const FieldPlace& place = format.at(field);
      return narrowed(number_at(rows + (k * every - at) * place.stride + place.offset, place.type, format.swapped));
    };
    into.normals[k] = {static_cast<std::uint32_t>(k * every),
                       packed_normal(component(PointField::normal_x), component(PointField::normal_y),
                                     component(PointField::normal_z))};
  }
}

}  // namespace

void decode_rows(const char* rows, std::size_t count, const RowFormat& format, Cloud& into, std::size_t at) {
  const PresentArrays present = format.present();
  if (present.points_a_normal > 0) decode_normals(rows, count, format, into, at);
  const bool places_are_floats = places_are_adjacent_floats(format);
  std::array<float, run_points> channel_values;
  for (std::size_t done = 0; done < count; done += run_points) {
    const std::size_t run = std::min(run_points, count - done);
    const auto column = [&](PointField field, double shift, double scale, float* out) {
      const FieldPlace& place = format.at(field);
      decode_column(rows + done * place.stride, place, format.swapped, run, shift, scale, out);
    };
    if (places_are_floats) {
      decode_float_places(rows + done * format.at(PointField::x).stride, run, format, into, at + done);
    } else {
      column(PointField::x, into.origin_mm.x(), 1.0, into.x.data() + at + done);
      column(PointField::y, into.origin_mm.y(), 1.0, into.y.data() + at + done);
      column(PointField::z, into.origin_mm.z(), 1.0, into.z.data() + at + done);
    }
    if (present.sigma) column(PointField::sigma, 0.0, 1.0, into.sigma_mm.data() + at + done);
    if (present.colours) {
      const auto first = static_cast<std::size_t>(PointField::red);
      for (std::size_t channel = 0; channel < 3; ++channel) {
        const FieldPlace& place = format.fields[first + channel];
        const char* source = rows + done * place.stride + place.offset;
        auto* out = into.colours.data() + at + done;
        if (place.type == NumberType::uint8) {
          for (std::size_t i = 0; i < run; ++i) out[i][channel] = static_cast<std::uint8_t>(source[i * place.stride]);
        } else {
          decode_column(rows + done * place.stride, place, format.swapped, run, 0.0, 1.0, channel_values.data());
          for (std::size_t i = 0; i < run; ++i) {
            out[i][channel] = packed_colour(static_cast<double>(channel_values[i]), colour_scale(place.type));
          }
        }
      }
    }
  }
}

Vector3 origin_of_rows(const FileBytes& file, std::uint64_t offset, std::uint64_t count, const RowFormat& format) {
  constexpr std::uint64_t samples = 255;
  std::vector<char> row(format.row_bytes);
  std::vector<Vector3> sample;
  for (std::uint64_t i = 0; i < std::min(samples, count); ++i) {
    const std::uint64_t index = count <= samples ? i : i * (count / samples);
    if (!file.read_exactly(offset + index * format.row_bytes, row.data(), row.size())) break;
    const auto value = [&](PointField field) {
      const FieldPlace& place = format.at(field);
      return number_at(row.data() + place.offset, place.type, format.swapped);
    };
    sample.emplace_back(value(PointField::x), value(PointField::y), value(PointField::z));
  }
  return local_origin(sample);
}

Outcome<void> read_fixed_rows(const FileBytes& file, std::uint64_t offset, std::uint64_t count, const RowFormat& format,
                              std::size_t block_points, Workers& workers, const UseBlock& use_block, FileHash* hash) {
  const Vector3 origin = origin_of_rows(file, offset, count, format);
  const std::size_t chunk_points = std::max<std::size_t>(1, chunk_bytes / format.row_bytes);
  const bool is_hashed =
      hash != nullptr && count <= block_points &&
      hash->begin_chunks(offset, chunk_points * format.row_bytes, (count + chunk_points - 1) / chunk_points);
  std::atomic<bool> all_read = true;
  Cloud block;
  for (std::uint64_t first = 0; first < count; first += block_points) {
    const auto in_block = static_cast<std::size_t>(std::min<std::uint64_t>(block_points, count - first));
    resize_arrays(block, in_block, format.present());
    block.origin_mm = origin;
    workers.for_chunks(in_block, chunk_points, [&](std::size_t, std::size_t, std::size_t chunk) {
      thread_local std::vector<char> own_room;
      const FileHash::Share share = is_hashed ? hash->next_share() : FileHash::Share{chunk, nullptr};
      const std::size_t begin = share.chunk * chunk_points, points = std::min(chunk_points, in_block - begin);
      const std::size_t bytes = points * format.row_bytes;
      if (share.room == nullptr) own_room.resize(std::max(own_room.size(), bytes));
      char* rows = share.room != nullptr ? share.room : own_room.data();
      if (file.read_exactly(offset + (first + begin) * format.row_bytes, rows, bytes))
        decode_rows(rows, points, format, block, begin);
      else
        all_read = false;
      if (is_hashed) hash->bring(share, bytes);
    });
    if (!all_read) return file.truncated("the file could not be read to its end");
    use_block(block);
  }
  return {};
}

}  // namespace rimwright
