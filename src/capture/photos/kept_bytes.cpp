#include "capture/photos/kept_bytes.h"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <initializer_list>
#include <type_traits>

namespace rimwright {
namespace {

class Writer {
 public:
  static constexpr bool writes = true;
  std::string bytes;

  template <class Value>
  requires std::is_arithmetic_v<Value>
  bool operator()(const Value& value) {
    bytes.append(reinterpret_cast<const char*>(&value), sizeof value);
    return true;
  }
};

class Reader {
 public:
  static constexpr bool writes = false;
  explicit Reader(std::string_view bytes) : left_(bytes) {}

  bool operator()(bool& value) {
    std::uint8_t byte = 0;
    if (!(*this)(byte) || byte > 1) return false;
    value = byte == 1;
    return true;
  }
  template <class Value>
  requires std::is_arithmetic_v<Value>
  bool operator()(Value& value) {
    if (left_.size() < sizeof value) return false;
    std::memcpy(&value, left_.data(), sizeof value);
    left_.remove_prefix(sizeof value);
    return true;
  }
  [[nodiscard]] std::size_t left() const { return left_.size(); }

 private:
  std::string_view left_;
};

// One description of each struct serves both ways: `io` writes or reads a number and says whether it could.
template <class Io, class Derived>
bool pass(Io& io, Eigen::MatrixBase<Derived>& m) {
  for (Eigen::Index i = 0; i < m.size(); ++i) {
    if (!io(m.derived().data()[i])) return false;
  }
  return true;
}

template <class Io, class Value, class Each>
bool pass_all(Io& io, std::vector<Value>& values, Each&& each) {
  std::uint64_t count = values.size();
  if (!io(count)) return false;
  if constexpr (Io::writes) {
    return std::all_of(values.begin(), values.end(), each);
  } else {
    // One by one: however large the count claims to be, no more is held than the bytes give.
    for (std::uint64_t i = 0; i < count; ++i) {
      Value value{};
      if (!each(value)) return false;
      values.push_back(std::move(value));
    }
    return true;
  }
}

template <class Io, class Value>
bool pass_numbers(Io& io, std::vector<Value>& values) {
  return pass_all(io, values, [&](Value& value) { return io(value); });
}

template <class Io>
bool pass(Io& io, Transform& T) {
  auto& matrix = T.matrix();
  return pass(io, matrix);
}

template <class Io>
bool pass(Io& io, Patch& p) {
  return pass(io, p.at_sheet_mm) && pass(io, p.normal_sheet) && pass(io, p.along_sheet) && io(p.correlation) &&
         io(p.sigma_mm) && io(p.contrast) && io(p.moved_mm) && io(p.half_along_mm) && io(p.half_across_mm) &&
         io(p.bend_per_mm) && pass_numbers(io, p.photos);
}

template <class Io>
bool pass(Io& io, Lens& l) {
  return io(l.focal_px) && io(l.centre_x_px) && io(l.centre_y_px) && io(l.k1) && io(l.k2) && io(l.p1) && io(l.p2);
}

template <class Io>
bool pass(Io& io, CameraNetwork& n) {
  const auto each = [&](auto& value) { return pass(io, value); };
  std::vector<std::uint64_t> lens_of(n.lens_of.begin(), n.lens_of.end());
  std::vector<std::uint8_t> placed(n.placed.begin(), n.placed.end());
  const auto flag = [&](std::uint8_t& value) { return io(value) && value <= 1; };
  const bool whole =
      pass_all(io, n.lenses, each) && pass_numbers(io, lens_of) && pass_all(io, n.T_camera_sheet, each) &&
      pass_numbers(io, n.focal_factor) && pass_all(io, n.centre_shift_px, each) && pass_all(io, placed, flag) &&
      pass_all(io, n.size_px, each) &&
      pass_all(io, n.points,
               [&](NetworkPoint& p) {
                 return pass(io, p.at_sheet_mm) && pass(io, p.prior_sheet_mm) && pass(io, p.prior_sigma_mm) &&
                        io(p.on_target);
               }) &&
      pass_all(io, n.sightings, [&](Sighting& s) { return io(s.photo) && io(s.point) && pass(io, s.pixel); });
  if constexpr (!Io::writes) {
    n.lens_of.assign(lens_of.begin(), lens_of.end());
    n.placed.assign(placed.begin(), placed.end());
  }
  return whole;
}

template <class Io>
bool pass(Io& io, AdjustReport& r) {
  std::uint64_t target = r.target_sightings, tie = r.tie_sightings, dropped = r.dropped;
  const bool whole = io(r.target_rms_px) && io(r.tie_rms_px) && io(r.target_sigma_px) && io(r.tie_sigma_px) &&
                     io(target) && io(tie) && io(dropped) && io(r.converged) && pass_numbers(io, r.photo_rms_px);
  r.target_sightings = target, r.tie_sightings = tie, r.dropped = dropped;
  return whole;
}

template <class Io>
bool pass(Io& io, SeenInPhoto& seen) {
  Features& f = seen.features;
  return pass_all(io, seen.corners, [&](TargetCorner& c) { return io(c.index) && pass(io, c.pixel); }) &&
         pass_all(io, f.pixels, [&](Vector2& p) { return pass(io, p); }) && pass_numbers(io, f.descriptors) &&
         io(f.cells_across) && io(f.cells_down) &&
         pass_all(io, f.cells, [&](std::vector<int>& cell) { return pass_numbers(io, cell); });
}

template <class Io>
bool pass(Io& io, PlacedCameras& cameras) {
  return pass(io, cameras.network) && pass(io, cameras.adjusted) &&
         pass_all(io, cameras.seeds, [&](Patch& p) { return pass(io, p); });
}

template <class Io>
bool pass(Io& io, std::vector<Patch>& patches) {
  return pass_all(io, patches, [&](Patch& p) { return pass(io, p); });
}

// What reading must make sure of, since the stages rely on it: what names a photo, a lens, a point or a feature by its
// number names one that is there; lengths and pixels are numbers of a size that occurs.
constexpr double farthest_mm = 5000.0, farthest_px = 1e6, largest_side_px = 65535.0;

template <class Derived>
bool within(const Eigen::MatrixBase<Derived>& m, double limit) {
  return (m.array().abs() <= limit).all();  // false for NaN
}

bool all_finite(std::initializer_list<double> values) {
  return std::all_of(values.begin(), values.end(), [](double value) { return std::isfinite(value); });
}

bool is_unit(const Vector3& direction) { return std::abs(direction.norm() - 1.0) < 1e-3; }

bool holds_together(const Patch& p, std::size_t photos) {
  return within(p.at_sheet_mm, farthest_mm) && is_unit(p.normal_sheet) && is_unit(p.along_sheet) &&
         all_finite({p.correlation, p.contrast, p.moved_mm, p.bend_per_mm}) &&
         within(Vector3(p.sigma_mm, p.half_along_mm, p.half_across_mm), farthest_mm) && p.sigma_mm >= 0.0 &&
         p.half_along_mm >= 0.0 && p.half_across_mm >= 0.0 && !p.photos.empty() &&
         std::all_of(p.photos.begin(), p.photos.end(), [&](std::size_t photo) { return photo < photos; });
}

bool holds_together(const std::vector<Patch>& patches, std::size_t photos) {
  return std::all_of(patches.begin(), patches.end(), [&](const Patch& p) { return holds_together(p, photos); });
}

bool holds_together(const CameraNetwork& n, std::size_t photos) {
  for (const std::size_t count : {n.lens_of.size(), n.T_camera_sheet.size(), n.focal_factor.size(),
                                  n.centre_shift_px.size(), n.placed.size(), n.size_px.size()}) {
    if (count != photos) return false;
  }
  const auto all = [](const auto& values, const auto& sound) {
    return std::all_of(values.begin(), values.end(), sound);
  };
  return all(n.lenses,
             [](const Lens& l) {
               return within(Vector3(l.focal_px, l.centre_x_px, l.centre_y_px), farthest_px) && l.focal_px > 0.0 &&
                      all_finite({l.k1, l.k2, l.p1, l.p2});
             }) &&
         all(n.lens_of, [&](std::size_t lens) { return lens < n.lenses.size(); }) &&
         all(n.T_camera_sheet, [](const Transform& T) { return within(T.matrix(), farthest_mm); }) &&
         all(n.focal_factor, [](double factor) { return factor > 0.0 && factor < farthest_px; }) &&
         all(n.centre_shift_px, [](const Vector2& shift) { return within(shift, farthest_px); }) &&
         all(n.size_px, [](const Vector2& size) { return within(size, largest_side_px) && size.minCoeff() >= 1.0; }) &&
         all(n.points,
             [](const NetworkPoint& p) {
               return p.at_sheet_mm.allFinite() && p.prior_sheet_mm.allFinite() && p.prior_sigma_mm.allFinite();
             }) &&
         all(n.sightings, [&](const Sighting& s) {
           return s.photo < photos && s.point < n.points.size() && within(s.pixel, farthest_px);
         });
}

bool holds_together(const PlacedCameras& cameras, std::size_t photos) {
  const AdjustReport& r = cameras.adjusted;
  return holds_together(cameras.network, photos) && holds_together(cameras.seeds, photos) &&
         all_finite({r.target_rms_px, r.tie_rms_px, r.target_sigma_px, r.tie_sigma_px}) &&
         r.photo_rms_px.size() == photos &&
         std::all_of(r.photo_rms_px.begin(), r.photo_rms_px.end(), [](double rms) { return std::isfinite(rms); });
}

bool holds_together(const SeenInPhoto& seen, std::size_t corners) {
  const Features& f = seen.features;
  if (f.cells_across < 0 || f.cells_down < 0 ||
      f.cells.size() != static_cast<std::size_t>(f.cells_across) * static_cast<std::size_t>(f.cells_down) ||
      f.descriptors.size() != f.pixels.size() * Features::length)
    return false;
  return std::all_of(seen.corners.begin(), seen.corners.end(),
                     [&](const TargetCorner& c) {
                       return c.index >= 0 && static_cast<std::size_t>(c.index) < corners &&
                              within(c.pixel, farthest_px);
                     }) &&
         std::all_of(f.pixels.begin(), f.pixels.end(), [](const Vector2& p) { return within(p, farthest_px); }) &&
         std::all_of(f.cells.begin(), f.cells.end(), [&](const std::vector<int>& cell) {
           return std::all_of(cell.begin(), cell.end(), [&](int index) {
             return index >= 0 && static_cast<std::size_t>(index) < f.pixels.size();
           });
         });
}

template <class Value>
std::string written(Value value) {
  Writer writer;
  pass(writer, value);
  return std::move(writer.bytes);
}

template <class Value, class... Counts>
std::optional<Value> read(std::string_view bytes, Counts... counts) {
  Reader reader(bytes);
  Value value;
  if (!pass(reader, value) || reader.left() != 0 || !holds_together(value, counts...)) return std::nullopt;
  return value;
}

}  // namespace

std::string bytes_of(const SeenInPhoto& seen) { return written(seen); }
std::string bytes_of(const PlacedCameras& cameras) { return written(cameras); }
std::string bytes_of(const std::vector<Patch>& patches) { return written(patches); }
std::optional<SeenInPhoto> seen_from(std::string_view bytes, std::size_t corners) {
  return read<SeenInPhoto>(bytes, corners);
}
std::optional<PlacedCameras> cameras_from(std::string_view bytes, std::size_t photos) {
  return read<PlacedCameras>(bytes, photos);
}
std::optional<std::vector<Patch>> patches_from(std::string_view bytes, std::size_t photos) {
  return read<std::vector<Patch>>(bytes, photos);
}

}  // namespace rimwright
