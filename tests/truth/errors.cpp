#include "errors.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

namespace {

struct Place {
  std::size_t before = 0;
  double share = 0.0;
  double distance_mm = 1e9;
};

Place place_on(const Truth& truth, const Vector3& at) {
  Place best;
  for (std::size_t i = 0; i + 1 < truth.stations.size(); ++i) {
    const Vector3 a = truth.stations[i].at_scan_mm, b = truth.stations[i + 1].at_scan_mm;
    const Vector3 d = b - a;
    if (d.squaredNorm() > 100.0) continue;
    const double share = std::clamp((at - a).dot(d) / std::max(1e-12, d.squaredNorm()), 0.0, 1.0);
    const double distance = (at - a - share * d).norm();
    if (distance < best.distance_mm) best = {i, share, distance};
  }
  return best;
}

}  // namespace

Errors compare_with_truth(const Measures& measures, const Truth& truth, const ErrorSettings& settings) {
  Errors errors;
  std::vector<char> bevel_hit(truth.stations.size(), 0);
  const auto mix = [](double a, double b, double share) { return (1 - share) * a + share * b; };
  const auto add = [&](const std::string& name, const Measured& measured, double true_value, double station) {
    if (measured.is_measured())
      errors.by_quantity[name].push_back({measured.value - true_value, measured.u95(), true_value, station});
  };
  for (const auto& station : measures.bevel.stations) {
    const Place place = place_on(truth, station.at_scan_mm);
    if (place.distance_mm > settings.furthest_mm) {
      ++errors.bevel_false;
      continue;
    }
    const TrueStation &a = truth.stations[place.before], &b = truth.stations[place.before + 1];
    if (!a.bevel_present && !b.bevel_present) {
      ++errors.bevel_false;
      continue;
    }
    if (!a.bevel_present || !b.bevel_present) continue;
    const double s = mix(a.station_mm, b.station_mm, place.share);
    bevel_hit[place.before] = bevel_hit[place.before + 1] = station.angle_deg.is_measured();
    if (std::min(a.drop_mm, b.drop_mm) < settings.least_drop_mm) continue;
    add("angle", station.angle_deg, mix(a.angle_deg, b.angle_deg, place.share), s);
    add("drop", station.drop_mm, mix(a.drop_mm, b.drop_mm, place.share), s);
    add("top_reach", station.top_reach_mm, mix(a.top_reach_mm, b.top_reach_mm, place.share), s);
    add("straightness", station.straightness_mm, mix(a.straightness_mm, b.straightness_mm, place.share), s);
  }
  for (std::size_t i = 0; i < truth.stations.size(); ++i) {
    if (!truth.stations[i].bevel_present || truth.stations[i].drop_mm < settings.least_drop_mm) continue;
    ++errors.bevel_true;
    errors.bevel_measured += bevel_hit[i];
  }

  for (std::size_t c = 0; c < measures.channels.size(); ++c) {
    std::map<std::pair<std::size_t, std::size_t>, char> hit;
    for (const auto& station : measures.channels[c].stations) {
      const Place place = place_on(truth, station.at_scan_mm);
      const TrueStation &a = truth.stations[place.before], &b = truth.stations[place.before + 1];
      for (std::size_t k = 0; k < station.steps.size(); ++k) {
        const TrueStep &sa = a.channels[c][k], &sb = b.channels[c][k];
        const StepMeasures& step = station.steps[k];
        if (!sa.present && !sb.present) {
          errors.steps_false += step.depth_mm.is_measured();
          continue;
        }
        if (!sa.present || !sb.present) continue;
        if (step.depth_mm.is_measured() && step.width_mm.is_measured())
          hit[{place.before, k}] = hit[{place.before + 1, k}] = 1;
        if (std::min(sa.from_end_mm, sb.from_end_mm) < settings.from_run_out_mm) continue;
        const double s = mix(a.station_mm, b.station_mm, place.share);
        const std::string name = " " + std::to_string(c) + "." + std::to_string(k);
        for (const std::string& suffix : {std::string(), name}) {
          add("depth" + suffix, step.depth_mm, mix(sa.depth_mm, sb.depth_mm, place.share), s);
          add("width" + suffix, step.width_mm, mix(sa.width_mm, sb.width_mm, place.share), s);
        }
      }
    }
    for (std::size_t i = 0; i < truth.stations.size(); ++i)
      for (std::size_t k = 0; k < truth.stations[i].channels[c].size(); ++k) {
        const TrueStep& step = truth.stations[i].channels[c][k];
        if (!step.present || step.from_end_mm < settings.from_run_out_mm) continue;
        ++errors.steps_true;
        errors.steps_measured += hit.contains({i, k});
      }
  }
  return errors;
}

Expected expected_from(const BodySpec& body) {
  Expected expected;
  if (body.bevel) expected.bevel = ExpectedBevel{radians_from_degrees(body.bevel->angle_deg), body.bevel->drop_mm};
  for (const auto& channel : body.channels) {
    ExpectedChannel out;
    out.corner = channel.corner == BodyCorner::top_side    ? ExpectedCorner::top_side
                 : channel.corner == BodyCorner::top_bevel ? ExpectedCorner::top_bevel
                                                           : ExpectedCorner::side_bevel;
    for (const auto& step : channel.steps) out.steps.push_back({step.width_mm, step.depth_mm});
    expected.channels.push_back(out);
  }
  return expected;
}

Summary summarise(const std::vector<Error>& errors) {
  Summary summary;
  summary.count = errors.size();
  if (errors.empty()) return summary;
  std::vector<double> sizes, u95;
  for (const auto& e : errors) {
    summary.bias += e.error / static_cast<double>(errors.size());
    summary.covered += (std::abs(e.error) <= e.u95 ? 1.0 : 0.0) / static_cast<double>(errors.size());
    sizes.push_back(std::abs(e.error));
    u95.push_back(e.u95);
  }
  std::sort(sizes.begin(), sizes.end());
  std::sort(u95.begin(), u95.end());
  summary.median = sizes[sizes.size() / 2];
  summary.p95 = sizes[std::min(sizes.size() - 1, sizes.size() * 95 / 100)];
  summary.median_u95 = u95[u95.size() / 2];
  return summary;
}

}  // namespace rimwright
