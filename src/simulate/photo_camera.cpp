#include "simulate/photo_camera.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <random>

#include "simulate/photo_scene.h"
#include "simulate/write_photo.h"

namespace rimwright {
namespace {

constexpr double reference_width_px = 4032.0;

// A small generator that can be started anywhere (SplitMix64), so that a row's noise does not depend on who renders it.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) : state_(seed) {}
  double uniform() {
    state_ += 0x9E3779B97F4A7C15ull;
    std::uint64_t z = state_;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9ull;
    z = (z ^ z >> 27) * 0x94D049BB133111EBull;
    return static_cast<double>((z ^ z >> 31) >> 11) * 0x1p-53;
  }
  double normal() {
    const double r = std::sqrt(-2.0 * std::log(1.0 - uniform()));
    return r * std::cos(2.0 * std::numbers::pi * uniform());
  }

 private:
  std::uint64_t state_;
};

// Ideal image coordinates (x/z, y/z) of a distorted one, by fixed-point iteration.
Vector2 undistort(const Vector2& distorted, const std::array<double, 4>& d) {
  Vector2 p = distorted;
  for (int i = 0; i < 8; ++i) {
    const double r2 = p.squaredNorm(), radial = 1.0 + r2 * (d[0] + r2 * d[1]);
    const Vector2 tangential(2.0 * d[2] * p.x() * p.y() + d[3] * (r2 + 2.0 * p.x() * p.x()),
                             d[2] * (r2 + 2.0 * p.y() * p.y()) + 2.0 * d[3] * p.x() * p.y());
    p = (distorted - tangential) / radial;
  }
  return p;
}

struct Exposure {
  PhotoTruth truth;
  double focus_mm = 350.0;
  Vector2 motion_px = Vector2::Zero();
};

Exposure draw_faults(const PhoneCamera& phone, const PhotoShot& shot, std::size_t index, std::uint32_t seed) {
  Dice dice(0x51ed270b1ull * (seed + 1) + index * 7919);
  const double scale = phone.width / reference_width_px;
  Exposure exposure;
  PhotoTruth& truth = exposure.truth;
  truth.T_camera_body = shot.T_camera_body;
  // 35 mm equivalent: the diagonal of the picture stands for that of 36 x 24 mm film (CIPA DCG-001).
  const double nominal_px = phone.focal_mm_35 / std::hypot(36.0, 24.0) * std::hypot(phone.width, phone.height);
  truth.fx = truth.fy = nominal_px * (1.0 + phone.focal_error) * (1.0 + phone.focal_drift * dice.normal());
  truth.cx = 0.5 * (phone.width - 1) + scale * (phone.principal_x_px + phone.principal_drift_px * dice.normal());
  truth.cy = 0.5 * (phone.height - 1) + scale * (phone.principal_y_px + phone.principal_drift_px * dice.normal());
  truth.k1_k2_p1_p2 = phone.k1_k2_p1_p2;
  exposure.focus_mm = shot.focus_mm * (1.0 + phone.focus_error * dice.normal());
  exposure.motion_px = scale * phone.motion_px * Vector2(dice.normal(), dice.normal());
  return exposure;
}

double expose_pixel(const RayScene& scene, const PhoneCamera& phone, const Exposure& exposure,
                    const Transform& T_body_camera, int column, int row, int samples, Dice& dice) {
  const PhotoTruth& truth = exposure.truth;
  double light = 0.0;
  const double turn = dice.uniform(), lift = dice.uniform(), when = dice.uniform(), whither = dice.uniform();
  for (int i = 0; i < samples; ++i) {
    // Additive recurrences (R2 sequence and golden ratio) spread the samples over pixel, lens and shutter time.
    const double a = std::fmod(turn + i * 0.7548776662, 1.0), b = std::fmod(lift + i * 0.5698402910, 1.0);
    const double c = std::fmod(whither + i * 0.6180339887, 1.0);
    const double time = (std::fmod(when + i * 0.3247179572, 1.0) - 0.5);
    const Vector2 pixel = Vector2(column + a - 0.5, row + b - 0.5) + time * exposure.motion_px;
    const Vector2 ideal =
        undistort(Vector2((pixel.x() - truth.cx) / truth.fx, (pixel.y() - truth.cy) / truth.fy), truth.k1_k2_p1_p2);
    const double radius_mm = 0.5 * phone.aperture_mm * std::sqrt((i + dice.uniform()) / samples);
    const Vector3 lens(radius_mm * std::cos(2.0 * std::numbers::pi * c),
                       radius_mm * std::sin(2.0 * std::numbers::pi * c), 0.0);
    const Vector3 sharp(ideal.x() * exposure.focus_mm, ideal.y() * exposure.focus_mm, exposure.focus_mm);
    light += scene.light_along(T_body_camera * lens, (T_body_camera.linear() * (sharp - lens)).normalized());
  }
  return light / samples;
}

RawPhoto expose(const RayScene& scene, const PhoneCamera& phone, const Exposure& exposure, int samples,
                std::uint64_t seed, Workers& workers) {
  RawPhoto raw{phone.width, phone.height, std::vector<float>(static_cast<std::size_t>(phone.width) * phone.height)};
  const Transform T_body_camera = exposure.truth.T_camera_body.inverse();
  constexpr double exposed = 0.9;  // white paper in full light comes near the end of the scale
  workers.for_chunks(static_cast<std::size_t>(phone.height), 16, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t row = begin; row < end; ++row) {
      Dice dice(seed * 0x100000001B3ull + row * 0x9E3779B97F4Aull + 17);
      float* out = raw.linear.data() + row * static_cast<std::size_t>(phone.width);
      for (int column = 0; column < phone.width; ++column) {
        const double light =
            exposed * expose_pixel(scene, phone, exposure, T_body_camera, column, static_cast<int>(row), samples, dice);
        const double electrons = std::max(0.0, light) * phone.full_well;
        out[column] = static_cast<float>((electrons + std::sqrt(electrons + 9.0) * dice.normal()) / phone.full_well);
      }
    }
  });
  return raw;
}

}  // namespace

PhoneCamera another_phone(const PhoneCamera& first) {
  PhoneCamera other = first;
  other.width = first.width * 8 / 9;
  other.height = first.height * 8 / 9;
  other.focal_mm_35 = 24.0;
  other.focal_error = -0.009;
  other.principal_x_px = -14.0;
  other.principal_y_px = 5.0;
  other.k1_k2_p1_p2 = {-0.04, 0.03, -0.0004, 0.0006};
  other.model = "another simulated phone";
  return other;
}

std::vector<PhotoShot> plan_shots(const std::vector<Vector3>& rim, const std::vector<Vector3>& outward,
                                  const ShotPlan& plan, std::uint32_t seed) {
  std::vector<PhotoShot> shots;
  if (rim.empty() || plan.count < 1) return shots;
  Dice dice(seed * 9176ull + 5);
  const Vector3 middle_out = outward[rim.size() / 2].normalized();
  for (int i = 0; i < plan.count; ++i) {
    const double share = plan.count == 1 ? 0.5 : static_cast<double>(i) / (plan.count - 1);
    const double elevation =
        radians_from_degrees(plan.elevations_deg[static_cast<std::size_t>(i % 3)] + plan.wander_deg * dice.normal());
    const double azimuth =
        radians_from_degrees(plan.azimuth_span_deg * (share - 0.5) + plan.wander_deg * dice.normal());
    const double reach = plan.nearest_mm + (plan.farthest_mm - plan.nearest_mm) * dice.uniform();
    // Look at the rim near the middle third, swept along with the azimuth, as one walks round it.
    const double along = std::clamp(0.5 + 0.6 * (share - 0.5) + 0.08 * dice.normal(), 0.05, 0.95);
    const Vector3 aim = rim[static_cast<std::size_t>(along * static_cast<double>(rim.size() - 1))] +
                        Vector3(0, 0, -10) - 12.0 * middle_out + 6.0 * Vector3(dice.normal(), dice.normal(), 0);
    const Vector3 away = Eigen::AngleAxisd(azimuth, Vector3::UnitZ()) * middle_out * std::cos(elevation) +
                         Vector3::UnitZ() * std::sin(elevation);
    const Vector3 ahead = -away;
    Vector3 right = ahead.cross(Vector3::UnitZ()).normalized();
    const double roll = (i % 4 == 3 ? 0.5 * std::numbers::pi : 0.0) + 0.05 * dice.normal();
    right = Eigen::AngleAxisd(roll, ahead) * right;
    PhotoShot shot;
    shot.T_camera_body.linear() << right.transpose(), ahead.cross(right).transpose(), ahead.transpose();
    shot.T_camera_body.translation() = -shot.T_camera_body.linear() * (aim + reach * away);
    shot.focus_mm = reach;
    shots.push_back(shot);
  }
  return shots;
}

Outcome<std::vector<PhotoTruth>> take_photos(const PhotoScene& scene, const std::vector<PhoneCamera>& phones,
                                             const std::vector<PhotoShot>& shots, const PhotoSessionSettings& settings,
                                             const std::filesystem::path& folder, Workers& workers) {
  const RayScene with_target(scene);
  PhotoScene bare = scene;
  bare.target.present = false;
  const RayScene without_target(bare);
  std::vector<PhotoTruth> truths;
  for (std::size_t i = 0; i < shots.size(); ++i) {
    const PhoneCamera& phone = phones[shots[i].phone];
    const RayScene& rays = shots[i].target_there ? with_target : without_target;
    Exposure exposure = draw_faults(phone, shots[i], i, settings.seed);
    std::array<char, 32> name{};
    std::snprintf(name.data(), name.size(), "photo_%02zu.jpg", i + 1);
    exposure.truth.name = name.data();
    const RawPhoto raw =
        expose(rays, phone, exposure, settings.samples_per_pixel, settings.seed * 1000ull + i, workers);
    if (const auto written = write_photo(raw, phone, folder / exposure.truth.name); !written) {
      return tl::unexpected(written.error());
    }
    truths.push_back(exposure.truth);
  }
  return truths;
}

}  // namespace rimwright
