#include "measure/segment_sections.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "measure/bevel_movement.h"
#include "measure/piece_search.h"
#include "measure/profile_frame.h"
#include "measure/sharpen_run_outs.h"
#include "measure/slab_bins.h"

namespace rimwright {

namespace {

// How far from the rim corner fine structure is looked for.
struct WorkingZone {
  double down_mm = 10.0;  // along the side
  double in_mm = 10.0;    // along the top
};

// The bevel's reach and the widest channels beyond it, with room for work that went wrong.
WorkingZone working_zone(const Expected& expected) {
  constexpr double room_mm = 4.0;
  constexpr double farthest_in_mm = 300.0;  // no rim is unrolled farther in; near 90 degrees a plan asks for any length
  WorkingZone zone{room_mm, room_mm};
  if (expected.bevel) {
    zone.down_mm += expected.bevel->drop_mm;
    const double reach_mm = expected.bevel->drop_mm * std::tan(std::numbers::pi - expected.bevel->angle_rad);
    zone.in_mm += std::min(farthest_in_mm, reach_mm);
  }
  double down = 0.0, in = 0.0;
  for (const auto& channel : expected.channels)
    for (const auto& step : channel.steps) {
      const bool at_corner = channel.corner == ExpectedCorner::top_side;
      const bool at_side = channel.corner == ExpectedCorner::side_bevel;
      down = std::max(down, at_side ? step.width_mm : at_corner ? step.depth_mm - (zone.down_mm - room_mm) : 0.0);
      in = std::max(in, at_side ? 0.0 : at_corner ? step.width_mm - (zone.in_mm - room_mm) : step.width_mm);
    }
  return {zone.down_mm + down, zone.in_mm + in};
}

// Bin borders along the profile: fine in the working zone, coarse beyond.
std::vector<double> bin_borders(const WorkingZone& zone, const SegmentSettings& settings, double bin_mm) {
  constexpr double far_mm = 60.0;  // side and top beyond this add nothing to the segmentation
  const double low = -zone.down_mm / std::numbers::sqrt2, high = zone.in_mm / std::numbers::sqrt2;
  const double far = far_mm / std::numbers::sqrt2;
  std::vector<double> borders;
  for (double b = -std::max(far, -low + 4.0); b < low; b += settings.far_bin_mm) borders.push_back(b);
  for (double b = low; b < high; b += bin_mm) borders.push_back(b);
  for (double b = high; b < std::max(far, high + 4.0); b += settings.far_bin_mm) borders.push_back(b);
  return borders;
}

class Segmenter {
 public:
  Segmenter(const UnrolledRim& rim, double noise_mm, double lean_rad, const Expected& expected,
            const SegmentSettings& settings)
      : rim_(rim), settings_(settings), noise_mm_(noise_mm) {
    const double length = rim.curve.length_mm();
    const double band_mm2 = length * 80.0;  // about what is seen of top and side together
    const double density = static_cast<double>(rim.station_mm.size()) / std::max(1.0, band_mm2);
    // A bin's mean should be sure to bin_noise_mm; first the slab grows for that, then the bin.
    const double wanted = std::max(settings.points_a_bin, 2.0 * std::pow(noise_mm / settings.bin_noise_mm, 2));
    const double points_a_mm = std::max(1e-6, density * settings.bin_mm * std::numbers::sqrt2);
    slab_mm_ = std::clamp(wanted / points_a_mm, settings.slab_mm, settings.longest_slab_mm);
    const double bin_mm =
        settings.bin_mm * std::clamp(wanted / (points_a_mm * slab_mm_), 1.0, settings.widest_bin_mm / settings.bin_mm);
    borders_ = bin_borders(working_zone(expected), settings, bin_mm);
    finder_ = BinFinder(borders_);
    enough_points_ = std::max(settings.points_a_slab, wanted * static_cast<double>(finder_.bin_count()));
    const double freedom = 1.0 / (settings.slope_freedom * settings.slope_freedom);
    priors_[static_cast<std::size_t>(Lie::upright)] = {profile_slope(lean_rad), freedom, 0.45, 2.5};
    priors_[static_cast<std::size_t>(Lie::level)] = {-1.0, freedom, -2.5, -0.45};
    constexpr double bevel_freedom = 0.12;  // about 6 degrees: a bevel may be well off its plan and is still the bevel
    priors_[static_cast<std::size_t>(Lie::sloping)] =
        expected.bevel ? SlopePrior{profile_slope(std::numbers::pi - expected.bevel->angle_rad),
                                    1.0 / (bevel_freedom * bevel_freedom), -0.7, 0.7}
                       : SlopePrior{0.0, 1.0, -0.7, 0.7};
  }

  // What moves the points of a slab by less than they scatter does not blur its section: mm a mm.
  [[nodiscard]] double unseen_speed() const {
    constexpr double sharp_enough_mm = 0.05;
    return std::max(sharp_enough_mm, noise_mm_) / (0.5 * slab_mm_);
  }

  [[nodiscard]] double slab_mm() const { return slab_mm_; }

  [[nodiscard]] SectionPieces segment(double station_mm, const std::optional<BevelMovement>& movement = {}) const {
    SectionPieces section;
    section.station_mm = station_mm;
    const std::vector<Sums> prefix = bin_sums(station_mm, movement);
    const auto bins = prefix.size() - 1;

    std::vector<States> best(bins + 1);
    best[0][skipped].cost = 0.0;

    // Top's slope differs from level where it is domed; steps follow it.
    std::array<SlopePrior, lie_count> priors = priors_;
    const double rise = top_rise(station_mm);
    priors[static_cast<std::size_t>(Lie::level)].mean = profile_slope(std::numbers::pi / 2 + std::atan(rise));

    Openings openings(prefix, borders_);
    openings.open(best[0]);
    for (std::size_t end = 1; end <= bins; ++end) {
      auto& here = best[end];
      // Skipping this bin continues whatever ended before it.
      for (std::size_t state = 0; state <= skipped; ++state) {
        const double bin_price = prefix[end].points > prefix[end - 1].points ? settings_.price_of_a_skipped_bin : 0.0;
        const double cost = best[end - 1][state].cost + bin_price;
        if (cost < here[skipped].cost)
          here[skipped] = {cost, static_cast<std::uint16_t>(end - 1), static_cast<std::uint8_t>(state), 0.0F};
      }
      for (std::size_t lie = 0; lie < lie_count; ++lie)
        here[lie] = openings.cheapest(lie, end, priors[lie], settings_.price_of_a_piece, best[end - 1][lie].from_bin);
      openings.open(here);
    }

    std::size_t bin = bins, state = skipped;
    for (std::size_t s = 0; s < skipped; ++s)
      if (best[bin][s].cost < best[bin][state].cost) state = s;
    section.cost = best[bin][state].cost;
    while (bin > 0) {
      const State& here = best[bin][state];
      if (state != skipped) {
        const Sums sums = prefix[bin] - prefix[here.from_bin];
        section.pieces.push_back({static_cast<Lie>(state), borders_[here.from_bin], borders_[bin], sums.x / sums.w,
                                  sums.y / sums.w, here.slope, sums.points});
      }
      bin = here.from_bin;
      state = here.from_state;
    }
    std::reverse(section.pieces.begin(), section.pieces.end());
    section.pieces = joined(section.pieces);
    sharpen_breaks(section.pieces, prefix);
    return section;
  }

 private:
  // A crowned, hollow or humped face comes as several pieces of one lie; they are one face where they nearly meet.
  [[nodiscard]] std::vector<Piece> joined(const std::vector<Piece>& pieces) const {
    std::vector<Piece> result;
    for (const Piece& piece : pieces) {
      if (!result.empty() && is_one_face(result.back(), piece)) {
        Piece& before = result.back();
        const double points = before.points + piece.points;
        const double along = (before.points * before.middle_along_mm + piece.points * piece.middle_along_mm) / points;
        const double height =
            (before.points * before.middle_height_mm + piece.points * piece.middle_height_mm) / points;
        // Slope of the joint line: each part's own spread and the spread between their middles.
        const auto spread = [](const Piece& p) {
          return p.points * std::pow(p.to_along_mm - p.from_along_mm, 2) / 12.0;
        };
        const double between = before.points * piece.points / points;
        const double da = piece.middle_along_mm - before.middle_along_mm,
                     dh = piece.middle_height_mm - before.middle_height_mm;
        before.slope = (spread(before) * before.slope + spread(piece) * piece.slope + between * da * dh) /
                       (spread(before) + spread(piece) + between * da * da);
        before.middle_along_mm = along;
        before.middle_height_mm = height;
        before.to_along_mm = piece.to_along_mm;
        before.points = points;
      } else {
        result.push_back(piece);
      }
    }
    return result;
  }

  [[nodiscard]] bool is_one_face(const Piece& a, const Piece& b) const {
    constexpr double widest_gap_mm = 1.0;
    // The bevel may be off by half a millimetre; two walls or two floors so far apart are two steps.
    const double most_offset_mm = a.lie == Lie::sloping ? 0.4 : 0.15 + noise_mm_;
    const double middle = 0.5 * (a.to_along_mm + b.from_along_mm);
    return a.lie == b.lie && b.from_along_mm - a.to_along_mm < widest_gap_mm &&
           std::abs(a.height_at(middle) - b.height_at(middle)) < most_offset_mm;
  }

  // Where two neighbouring pieces meet, their lines' intersection says it better than the bins do; between bins that
  // hold nothing it may lie anywhere.
  void sharpen_breaks(std::vector<Piece>& pieces, const std::vector<Sums>& prefix) const {
    for (std::size_t i = 0; i + 1 < pieces.size(); ++i) {
      Piece &a = pieces[i], &b = pieces[i + 1];
      const double turn = a.slope - b.slope;
      if (std::abs(turn) < 0.1) continue;
      const double meet = (b.height_at(0.0) - a.height_at(0.0)) / turn;
      auto before = static_cast<std::size_t>(std::lower_bound(borders_.begin(), borders_.end(), a.to_along_mm) -
                                             borders_.begin());
      while (before > 1 && prefix[before].points == prefix[before - 1].points) --before;
      const double low = std::min({a.to_along_mm, b.from_along_mm, borders_[before]}) - 0.5,
                   high = std::max(a.to_along_mm, b.from_along_mm) + 0.5;
      if (meet > std::max(low, a.from_along_mm) && meet < std::min(high, b.to_along_mm))
        a.to_along_mm = b.from_along_mm = meet;
    }
  }

  // Slope of the top across the rim at the corner, up per millimetre out.
  [[nodiscard]] double top_rise(double station_mm) const {
    const Vector2 corner = rim_.curve.point(station_mm), out = rim_.curve.out(station_mm);
    constexpr double reach = 5.0;
    const Vector2 inside = corner - reach * out;
    return (rim_.top.height_mm(corner.x(), corner.y()) - rim_.top.height_mm(inside.x(), inside.y())) / reach;
  }

  // Prefix sums over the bins of the slab. A bin counts by its mean only; scatter within it says nothing about lines,
  // it makes the mean less sure. It is pooled over neighbours, since a bin of a thin scan holds a few points only.
  [[nodiscard]] std::vector<Sums> bin_sums(double station_mm, const std::optional<BevelMovement>& movement) const {
    thread_local SlabBins bins;
    SlabBins::MovedBack back;
    if (movement) back = [&](const Vector2& p, double ds_mm) { return movement->moved_back(p, ds_mm); };
    bins.gather(rim_, finder_, station_mm, slab_mm_, enough_points_, back);
    const std::size_t count = bins.size();
    const auto gate = [&](std::size_t b) { return 0.75 * (borders_[b + 1] - borders_[b]) + 5.0 * noise_mm_ + 0.1; };
    for (std::size_t b = 0; b < count; ++b) bins.keep_near_median(b, gate(b) + 0.3 * slab_mm_);
    bins.take_out_movement();

    std::vector<Sums> means(count);
    std::vector<double> squares(count, 0.0), freedom(count, 0.0);
    for (std::size_t b = 0; b < count; ++b) {
      bins.keep_near_median(b, gate(b));
      if (bins[b].empty()) continue;
      Sums& mean = means[b];
      mean.points = static_cast<double>(bins[b].size());
      for (const SlabBins::Member& m : bins[b]) mean.x += m.along, mean.y += m.height;
      mean.x /= mean.points, mean.y /= mean.points;
      for (const SlabBins::Member& m : bins[b]) squares[b] += (m.height - mean.y) * (m.height - mean.y);
      freedom[b] = mean.points - 1.0;
    }
    std::vector<Sums> prefix(count + 1);
    constexpr std::size_t pooled_bins = 4;
    for (std::size_t b = 0; b < count; ++b) {
      Sums sums;
      if (means[b].points > 0) {
        double square = 0, free = 1e-9;
        for (std::size_t k = b >= pooled_bins ? b - pooled_bins : 0; k <= std::min(count - 1, b + pooled_bins); ++k)
          square += squares[k], free += freedom[k];
        const double scatter = std::max(2.0 * noise_mm_ * noise_mm_, square / free);
        const double w = 1.0 / (scatter / means[b].points + settings_.model_error_mm * settings_.model_error_mm);
        const double x = means[b].x, y = means[b].y;
        sums = {w, w * x, w * y, w * x * x, w * x * y, w * y * y, means[b].points};
      }
      prefix[b + 1] = prefix[b];
      prefix[b + 1] += sums;
    }
    return prefix;
  }

  const UnrolledRim& rim_;
  SegmentSettings settings_;
  double noise_mm_;
  double slab_mm_ = 0.0, enough_points_ = 0.0;
  std::vector<double> borders_;
  BinFinder finder_;
  std::array<SlopePrior, lie_count> priors_;
};

}  // namespace

double work_down_mm(const Expected& expected) { return working_zone(expected).down_mm; }

std::vector<SectionPieces> segment_sections(const UnrolledRim& rim, double noise_mm, double lean_rad,
                                            const Expected& expected, const SegmentSettings& settings,
                                            Workers& workers) {
  const Segmenter segmenter(rim, noise_mm, lean_rad, expected, settings);
  const auto stations =
      static_cast<std::size_t>(std::max(1.0, std::floor(rim.curve.length_mm() / settings.station_step_mm)));
  std::vector<SectionPieces> sections(stations);
  workers.for_chunks(stations, 8, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i)
      sections[i] = segmenter.segment((static_cast<double>(i) + 0.5) * settings.station_step_mm);
  });
  const auto cut = [&](double station_mm, const BevelMovement& movement) {
    return segmenter.segment(station_mm, movement);
  };
  sharpen_run_outs(sections, expected, lean_rad,
                   {settings.station_step_mm, segmenter.slab_mm(), segmenter.unseen_speed()}, cut, workers);
  return sections;
}

}  // namespace rimwright
