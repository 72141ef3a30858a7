#include "true_surface.h"

#include <algorithm>
#include <cmath>

namespace rimwright {
namespace {

constexpr double bin_mm = 1.0, nudge_mm = 1e-3;

std::uint64_t packed(long a, long b, long c) {
  constexpr long half = 1 << 20;
  return static_cast<std::uint64_t>(a + half) << 42 | static_cast<std::uint64_t>(b + half) << 21 |
         static_cast<std::uint64_t>(c + half);
}

}  // namespace

TrueSurface::TrueSurface(const Body& body, const TrueSurfaceSpec& spec) : reach_mm_(spec.reach_mm) {
  std::unordered_map<std::uint64_t, std::size_t> known_cells;
  const auto steps = static_cast<int>(std::ceil((spec.to_mm - spec.from_mm) / spec.spacing_mm));
  for (int i = 0; i <= steps; ++i) {
    // Half a step inside the stretch, so that derivatives along the rim stay on it.
    const double share = (i + 0.5) / (steps + 1.0);
    add_section(body, spec.from_mm + share * (spec.to_mm - spec.from_mm), spec, i == 0 || i == steps, known_cells);
  }
  for (std::size_t i = 0; i < samples_.size(); ++i) {
    bins_[bin_of(samples_[i].at, 0, 0, 0)].push_back(static_cast<std::uint32_t>(i));
  }
}

void TrueSurface::add_section(const Body& body, double station_mm, const TrueSurfaceSpec& spec, bool at_border,
                              std::unordered_map<std::uint64_t, std::size_t>& known_cells) {
  const Section here = body.section(station_mm, spec.top_mm, spec.side_mm);
  const Section before = body.section(station_mm - nudge_mm), after = body.section(station_mm + nudge_mm);
  const std::vector<SectionPiece> pieces = here.pieces();
  for (const SectionPiece& piece : pieces) {
    const SectionCurve& curve = here.curves[piece.curve];
    const Section& low = before.curves[piece.curve].active ? before : here;
    const Section& high = after.curves[piece.curve].active ? after : here;
    double u = piece.u_from;
    while (u < piece.u_to) {
      const double step = spec.spacing_mm / std::hypot(1.0, curve.slope(u));
      const double middle = std::min(u + 0.5 * step, 0.5 * (u + piece.u_to));
      const bool ends =
          (&piece == &pieces.front() && u == piece.u_from) || (&piece == &pieces.back() && u + step >= piece.u_to);
      u += step;
      const Vector3 at = body.point(here, here.out_up(middle, piece.curve));
      const Vector3 along =
          body.point(high, high.out_up(middle, piece.curve)) - body.point(low, low.out_up(middle, piece.curve));
      const Vector3 across = body.point(here, here.out_up(middle + nudge_mm, piece.curve)) -
                             body.point(here, here.out_up(middle - nudge_mm, piece.curve));
      Vector3 normal = along.cross(across).normalized();
      // The air lies out and up of every face.
      const Vector3 air = body.point(here, here.out_up(middle, piece.curve) + Vector2(1.0, 1.0)) - at;
      if (normal.dot(air) < 0.0) normal = -normal;
      const auto face = static_cast<std::uint64_t>(piece.label.face);
      const std::uint64_t key =
          packed(static_cast<long>(std::floor(station_mm)), static_cast<long>(std::floor(curve.distance_along(middle))),
                 static_cast<long>(piece.curve));
      const auto [cell, is_new] = known_cells.try_emplace(key, known_cells.size());
      if (is_new) ++cells_[face];
      samples_.push_back({at, normal, cell->second, piece.label.face, at_border || ends});
    }
  }
}

std::uint64_t TrueSurface::bin_of(const Vector3& p, int dx, int dy, int dz) const {
  return packed(static_cast<long>(std::floor(p.x() / bin_mm)) + dx, static_cast<long>(std::floor(p.y() / bin_mm)) + dy,
                static_cast<long>(std::floor(p.z() / bin_mm)) + dz);
}

const TrueSurface::Sample* TrueSurface::nearest(const Vector3& p, int reach_bins) const {
  const Sample* best = nullptr;
  double least = std::pow(reach_bins * bin_mm, 2);
  for (int dx = -reach_bins; dx <= reach_bins; ++dx) {
    for (int dy = -reach_bins; dy <= reach_bins; ++dy) {
      for (int dz = -reach_bins; dz <= reach_bins; ++dz) {
        const auto bin = bins_.find(bin_of(p, dx, dy, dz));
        if (bin == bins_.end()) continue;
        for (std::uint32_t i : bin->second) {
          const double squared = (samples_[i].at - p).squaredNorm();
          if (squared >= least) continue;
          least = squared;
          best = &samples_[i];
        }
      }
    }
  }
  return best;
}

std::optional<TrueSurface::Place> TrueSurface::place_of(const Vector3& body_mm) const {
  const Sample* sample = nearest(body_mm, 1);
  if (sample == nullptr) sample = nearest(body_mm, static_cast<int>(std::ceil(reach_mm_ / bin_mm)));
  if (sample == nullptr || sample->at_border) return std::nullopt;
  return Place{sample->normal.dot(body_mm - sample->at), sample->face, sample->cell};
}

}  // namespace rimwright
