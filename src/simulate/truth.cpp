#include "simulate/truth.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rimwright {

namespace {

constexpr double fine_step_mm = 0.5;  // for filtering and for the ends of channels

// Least-squares line through points of the bevel face: residual span, and the mean departure along `normal`.
double straightness_of(const Section& section, const std::vector<SectionPiece>& pieces) {
  std::vector<Vector2> points;
  double length = 0.0;
  for (const SectionPiece& piece : pieces) {
    if (piece.label.face == BodyFace::bevel) length += piece.u_to - piece.u_from;
  }
  if (length <= 0.0) return 0.0;
  for (const SectionPiece& piece : pieces) {
    if (piece.label.face != BodyFace::bevel) continue;
    const int n = std::max(3, static_cast<int>(400.0 * (piece.u_to - piece.u_from) / length));
    for (int i = 0; i <= n; ++i) {
      points.push_back(section.out_up(piece.u_from + (piece.u_to - piece.u_from) * i / n, piece.curve));
    }
  }
  Vector2 mean = Vector2::Zero();
  for (const Vector2& p : points) mean += p / static_cast<double>(points.size());
  Eigen::Matrix2d spread = Eigen::Matrix2d::Zero();
  for (const Vector2& p : points) spread += (p - mean) * (p - mean).transpose();
  const double direction = 0.5 * std::atan2(2.0 * spread(0, 1), spread(0, 0) - spread(1, 1));
  const Vector2 normal(-std::sin(direction), std::cos(direction));
  double low = 0.0, high = 0.0;
  for (const Vector2& p : points) {
    const double d = (p - mean).dot(normal);
    low = std::min(low, d);
    high = std::max(high, d);
  }
  return high - low;
}

// Mean distance of the actual face from the intended one (planned angle, intended drop), along the intended normal.
double departure_of(const Section& actual, const Section& intended) {
  const Vector2 along = (intended.upper_edge - intended.lower_edge).normalized();
  const Vector2 normal(along.y(), -along.x());
  const SectionCurve& curve = actual.curves[2];
  const double u_from = uh_from_out_up(actual.lower_edge).x(), u_to = uh_from_out_up(actual.upper_edge).x();
  const int n = 64;
  double sum = 0.0;
  for (int i = 0; i < n; ++i) {
    const double u = u_from + (u_to - u_from) * (i + 0.5) / n;
    sum += (out_up_from_uh({u, curve.height(u)}) - intended.lower_edge).dot(normal);
  }
  return sum / n;
}

// Seen lengths of a step's floor and wall, as shares of what the step alone would show.
struct SeenStep {
  double floor = 0.0, wall = 0.0;
};
SeenStep seen_step(const Section& section, const std::vector<SectionPiece>& pieces, const ChannelSpec& spec,
                   int channel, std::size_t step) {
  SeenStep seen;
  for (const SectionPiece& piece : pieces) {
    if (piece.label.channel != channel || piece.label.step != static_cast<int>(step)) continue;
    const double length = (section.out_up(piece.u_to, piece.curve) - section.out_up(piece.u_from, piece.curve)).norm();
    if (piece.label.face == BodyFace::floor) seen.floor += length;
    if (piece.label.face == BodyFace::wall) seen.wall += length;
  }
  const auto& cut = section.steps[static_cast<std::size_t>(channel)];
  const double outer_width = step > 0 ? cut[step - 1].width_mm : 0.0;
  const double next_depth = step + 1 < cut.size() ? cut[step + 1].depth_mm : 0.0;
  const double r = spec.corner_radius_mm;
  seen.floor /= std::max(1e-9, cut[step].width_mm - outer_width - r);
  seen.wall /= std::max(1e-9, cut[step].depth_mm - next_depth - r);
  return seen;
}

double span(const std::vector<double>& values, const std::vector<bool>& counted) {
  double low = std::numeric_limits<double>::infinity(), high = -low;
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (!counted[i]) continue;
    low = std::min(low, values[i]);
    high = std::max(high, values[i]);
  }
  return high > low ? high - low : 0.0;
}

TrueFairness fairness_of(const Body& body, const Body& intended, const TruthSpec& spec) {
  TrueFairness fairness;
  fairness.band_mm = spec.band_mm;
  if (!body.spec().bevel) return fairness;
  const BevelSpec& bevel = *body.spec().bevel;
  double stretch = bevel.to_mm - bevel.from_mm;
  if (body.closed() && stretch < 0.0) stretch += body.rim_length_mm();
  const auto count = static_cast<std::size_t>(stretch / fine_step_mm) + 1;
  std::vector<double> departure(count, 0.0), lower(count, 0.0), upper(count, 0.0);
  std::vector<bool> anywhere(count, false), full(count, false);
  for (std::size_t i = 0; i < count; ++i) {
    const double past = fine_step_mm * static_cast<double>(i);
    const double station = bevel.from_mm + past;
    const Section actual = body.section(station), meant = intended.section(station);
    if (!actual.has_bevel || !meant.has_bevel) continue;
    anywhere[i] = true;
    full[i] = past >= bevel.start_run_out_mm && stretch - past >= bevel.end_run_out_mm;
    departure[i] = departure_of(actual, meant);
    lower[i] = (actual.lower_edge - meant.lower_edge).dot(meant.down);
    upper[i] = (actual.upper_edge - meant.upper_edge).dot(meant.inward);
  }
  auto banded = [&](const std::vector<double>& profile) {
    return gaussian_band(profile, fine_step_mm, spec.band_mm[0], spec.band_mm[1]);
  };
  const std::vector<double> wavy = banded(departure);
  fairness.waviness_mm = span(wavy, full);
  fairness.waviness_whole_mm = span(wavy, anywhere);
  fairness.lower_edge_mm = span(banded(lower), full);
  fairness.upper_edge_mm = span(banded(upper), full);
  return fairness;
}

}  // namespace

std::vector<double> gaussian_band(const std::vector<double>& profile, double step_mm, double shortest_mm,
                                  double longest_mm) {
  const double alpha = std::sqrt(std::numbers::ln2 / std::numbers::pi);
  auto low_pass = [&](double cutoff_mm) {
    const double width = alpha * cutoff_mm;
    const auto reach = static_cast<std::ptrdiff_t>(std::ceil(2.5 * width / step_mm));  // weights below 3e-9 beyond
    std::vector<double> weights;
    for (std::ptrdiff_t k = -reach; k <= reach; ++k) {
      const double x = static_cast<double>(k) * step_mm / width;
      weights.push_back(std::exp(-std::numbers::pi * x * x) * step_mm / width);
    }
    std::vector<double> smooth(profile.size(), 0.0);
    const auto n = static_cast<std::ptrdiff_t>(profile.size());
    for (std::ptrdiff_t i = 0; i < n; ++i) {
      for (std::ptrdiff_t k = std::max(-reach, i - n + 1); k <= std::min(reach, i); ++k) {
        smooth[static_cast<std::size_t>(i)] +=
            weights[static_cast<std::size_t>(k + reach)] * profile[static_cast<std::size_t>(i - k)];
      }
    }
    return smooth;
  };
  std::vector<double> band = shortest_mm > 0.0 ? low_pass(shortest_mm) : profile;
  if (longest_mm > 0.0) {
    const std::vector<double> slow = low_pass(longest_mm);
    for (std::size_t i = 0; i < band.size(); ++i) band[i] -= slow[i];
  }
  return band;
}

Truth truth_of(const Body& body, const Transform& T_scan_body, const TruthSpec& spec) {
  Truth truth;
  truth.T_scan_body = T_scan_body;
  BodySpec sound = body.spec();
  sound.defects.clear();
  const Body intended = Body::from(sound).value();
  truth.fairness = fairness_of(body, intended, spec);

  const bool part = spec.to_mm > spec.from_mm;
  const double from = part ? spec.from_mm : 0.0, to = part ? spec.to_mm : body.rim_length_mm();
  const auto parts = static_cast<std::size_t>(std::max(1.0, std::round(spec.step_mm / fine_step_mm)));
  const double fine = spec.step_mm / static_cast<double>(parts);
  const auto count = static_cast<std::size_t>(std::floor((to - from) / fine + 1e-9)) + 1;

  // Whether each step is whole, on the fine grid. Where the scan or the rim stops the channel does not end.
  const auto& channels = body.spec().channels;
  std::vector<std::vector<std::vector<bool>>> whole(channels.size());
  for (std::size_t c = 0; c < channels.size(); ++c) whole[c].resize(channels[c].steps.size());
  for (std::size_t i = 0; i < count; ++i) {
    const double station = from + fine * static_cast<double>(i);
    const Section section = body.section(station);
    const std::vector<SectionPiece> pieces = section.pieces();
    TrueStation here;
    here.channels.resize(channels.size());
    for (std::size_t c = 0; c < channels.size(); ++c) {
      const bool inside =
          !channels[c].from_mm || body.inside_mm(station, *channels[c].from_mm, *channels[c].to_mm) >= 0.0;
      for (std::size_t k = 0; k < channels[c].steps.size(); ++k) {
        TrueStep step;
        const SeenStep seen = seen_step(section, pieces, channels[c], static_cast<int>(c), k);
        step.present = seen.floor > 0.0 && seen.wall > 0.0 && section.steps[c][k].width_mm > 0.0;
        if (step.present) {
          step.width_mm = section.steps[c][k].width_mm;
          step.depth_mm = section.steps[c][k].depth_mm;
        }
        whole[c][k].push_back(inside && seen.floor > 0.98 && seen.wall > 0.98);
        here.channels[c].push_back(step);
      }
    }
    if (i % parts != 0) continue;
    here.station_mm = station;
    here.at_scan_mm = T_scan_body * body.point(section, section.corner);
    const bool seen_bevel = std::any_of(pieces.begin(), pieces.end(),
                                        [](const SectionPiece& p) { return p.label.face == BodyFace::bevel; });
    here.bevel_present = section.has_bevel && seen_bevel;
    if (here.bevel_present) {
      here.angle_deg = degrees_from_radians(section.angle_rad);
      here.drop_mm = section.drop_mm;
      here.top_reach_mm = section.top_reach_mm;
      here.straightness_mm = straightness_of(section, pieces);
      const Section meant = intended.section(station);
      if (meant.has_bevel) here.departure_mm = departure_of(section, meant);
    }
    truth.stations.push_back(std::move(here));
  }
  const bool wraps = body.closed() && !part;
  for (std::size_t c = 0; c < channels.size(); ++c) {
    for (std::size_t k = 0; k < channels[c].steps.size(); ++k) {
      const std::vector<bool>& flags = whole[c][k];
      std::vector<double> away(count, body.rim_length_mm());
      auto sweep = [&](auto index) {
        double distance = body.rim_length_mm();
        for (std::size_t round = 0; round < (wraps ? 2u : 1u); ++round) {
          for (std::size_t j = 0; j < count; ++j) {
            const std::size_t i = index(j);
            distance = flags[i] ? distance + fine : 0.0;
            away[i] = std::min(away[i], distance);
          }
        }
      };
      sweep([](std::size_t j) { return j; });
      sweep([&](std::size_t j) { return count - 1 - j; });
      for (std::size_t i = 0; i < truth.stations.size(); ++i) {
        truth.stations[i].channels[c][k].from_end_mm = away[i * parts];
      }
    }
  }
  return truth;
}

TrueStation truth_at(const Truth& truth, const Vector3& at_scan_mm, double* away_mm) {
  const std::vector<TrueStation>& all = truth.stations;
  std::size_t best = 0;
  double best_share = 0.0, least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < all.size(); ++i) {
    const Vector3& p = all[i].at_scan_mm;
    const Vector3 chord = i + 1 < all.size() ? Vector3(all[i + 1].at_scan_mm - p) : Vector3::Zero();
    const double length2 = chord.squaredNorm();
    const double share = length2 > 0.0 ? std::clamp((at_scan_mm - p).dot(chord) / length2, 0.0, 1.0) : 0.0;
    const double d = (at_scan_mm - p - share * chord).squaredNorm();
    if (d < least) {
      least = d;
      best = i;
      best_share = share;
    }
  }
  if (away_mm != nullptr) *away_mm = std::sqrt(least);
  TrueStation here = all[best];
  if (best_share == 0.0) return here;
  const TrueStation& next = all[best + 1];
  auto between = [&](double a, double b) { return a + best_share * (b - a); };
  here.station_mm = between(here.station_mm, next.station_mm);
  here.at_scan_mm += best_share * (next.at_scan_mm - here.at_scan_mm);
  here.bevel_present = here.bevel_present && next.bevel_present;
  here.angle_deg = between(here.angle_deg, next.angle_deg);
  here.drop_mm = between(here.drop_mm, next.drop_mm);
  here.top_reach_mm = between(here.top_reach_mm, next.top_reach_mm);
  here.straightness_mm = between(here.straightness_mm, next.straightness_mm);
  here.departure_mm = between(here.departure_mm, next.departure_mm);
  for (std::size_t c = 0; c < here.channels.size(); ++c) {
    for (std::size_t k = 0; k < here.channels[c].size(); ++k) {
      TrueStep& step = here.channels[c][k];
      const TrueStep& other = next.channels[c][k];
      step.present = step.present && other.present;
      step.width_mm = between(step.width_mm, other.width_mm);
      step.depth_mm = between(step.depth_mm, other.depth_mm);
      step.from_end_mm = between(step.from_end_mm, other.from_end_mm);
    }
  }
  return here;
}

}  // namespace rimwright
