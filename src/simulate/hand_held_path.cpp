#include "simulate/hand_held_path.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "simulate/random.h"

namespace rimwright {

namespace {

// A smooth random wave of unit standard deviation: a few sines that do not repeat over a pass.
struct Tremble {
  std::array<double, 5> waves_per_frame{}, phase{};

  explicit Tremble(Random& random) {
    for (std::size_t i = 0; i < waves_per_frame.size(); ++i) {
      waves_per_frame[i] = random.uniform(1.0 / 30.0, 3.0 / 30.0);
      phase[i] = random.uniform(0.0, 2.0 * std::numbers::pi);
    }
  }
  [[nodiscard]] double at(double time_frames) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < waves_per_frame.size(); ++i) {
      sum += std::sin(2.0 * std::numbers::pi * waves_per_frame[i] * time_frames + phase[i]);
    }
    return sum * std::sqrt(2.0 / static_cast<double>(waves_per_frame.size()));
  }
};

}  // namespace

CameraPath hand_held_path(const Body& body, const HandHeldPath& path, std::uint64_t seed) {
  Random random(seed, 1);
  std::vector<Tremble> tremble;
  for (int i = 0; i < 6; ++i) tremble.emplace_back(random);
  return [&body, path, tremble](double time_frames) {
    const double share = std::clamp(time_frames / std::max(1.0, static_cast<double>(path.frames) - 1.0), 0.0, 1.0);
    const double along = path.returns ? 1.0 - std::abs(2.0 * share - 1.0) : share;
    const double station = path.from_mm + along * (path.to_mm - path.from_mm);
    const double swing = std::sin(2.0 * std::numbers::pi * path.swings * share);
    const OutlinePoint rim = body.outline_at(station);
    const Vector3 out(rim.out.x(), rim.out.y(), 0.0), ahead(rim.along.x(), rim.along.y(), 0.0);
    const Vector3 up = Vector3::UnitZ();
    const Vector3 corner(rim.position_mm.x(), rim.position_mm.y(), body.top_height_mm(rim.position_mm));

    const double elevation = radians_from_degrees(0.5 * (path.highest_deg + path.lowest_deg) +
                                                  0.5 * (path.highest_deg - path.lowest_deg) * swing);
    const double sideways =
        radians_from_degrees(path.sideways_deg * std::cos(2.0 * std::numbers::pi * 1.5 * path.swings * share));
    Vector3 from = std::cos(elevation) * out + std::sin(elevation) * up;
    from = std::cos(sideways) * from + std::sin(sideways) * ahead;
    const Vector3 tremble_mm =
        path.tremble_mm * Vector3(tremble[0].at(time_frames), tremble[1].at(time_frames), tremble[2].at(time_frames));
    const Vector3 place = corner + path.range_mm * from + tremble_mm;

    // Looks at the corner; image columns run along the rim, rows downwards.
    const Vector3 forward = (corner - place).normalized();
    const Vector3 right = (ahead - ahead.dot(forward) * forward).normalized();
    Matrix3 looking;
    looking.col(0) = -right;  // seen from outside, growing stations of a counter-clockwise rim run to the right
    looking.col(2) = forward;
    looking.col(1) = looking.col(2).cross(looking.col(0));
    if (looking.col(1).dot(up) > 0.0) {
      looking.col(0) *= -1.0;
      looking.col(1) *= -1.0;
    }
    const double turn = radians_from_degrees(path.tremble_deg);
    Transform pose = Transform::Identity();
    pose.linear() = looking * (Eigen::AngleAxisd(turn * tremble[3].at(time_frames), Vector3::UnitX()) *
                               Eigen::AngleAxisd(turn * tremble[4].at(time_frames), Vector3::UnitY()) *
                               Eigen::AngleAxisd(radians_from_degrees(path.roll_deg) * tremble[5].at(time_frames),
                                                 Vector3::UnitZ()))
                                  .toRotationMatrix();
    pose.translation() = place;
    if (body.spec().left_handed) {
      // The mirrored body wants a mirrored path; x of the camera turns round so that the frame stays right-handed.
      pose.translation().x() *= -1.0;
      pose.linear().row(0) *= -1.0;
      pose.linear().col(0) *= -1.0;
    }
    return pose;
  };
}

}  // namespace rimwright
