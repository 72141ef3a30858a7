// A second estimate of U95, by Monte Carlo as in JCGM 101:2008, clause 7: the same body is scanned again and again with
// fresh noise, and what the answers scatter about their own mean is held against the standard uncertainty that each of
// them states from noise (sensitivities and residuals, GUM 5.1.2). The two share no formula.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "errors.h"
#include "pipelines/measure_rim.h"
#include "simulate/scanner.h"

namespace rimwright {
namespace {

constexpr int scans = 24;
constexpr double apart_mm = 24.0;  // windows of the fits reach 12 mm each way: stations so far apart share no point

BodySpec body_with_channels() {
  BodySpec body;
  body.outline.pieces = {{150.0, 1.0 / 300, 1.0 / 220}, {150.0, 1.0 / 220, 1.0 / 260}};
  body.top.dome_radius_mm = 5000.0;
  body.side.lean_deg = 0.4;
  BevelSpec bevel;
  bevel.angle_deg = 124.0, bevel.drop_mm = 15.0;
  bevel.from_mm = 20.0, bevel.to_mm = 280.0;
  bevel.start_run_out_mm = bevel.end_run_out_mm = 50.0;
  body.bevel = bevel;
  body.channels.push_back({"lower", BodyCorner::side_bevel, {{1.8, 1.6}}, 0.0, 12.0});
  body.channels.push_back({"upper", BodyCorner::top_bevel, {{2.2, 1.6}}, 0.0, 12.0});
  return body;
}

// By quantity and place along the rim: the answers of all scans, and the variances that they state.
struct Answers {
  std::vector<double> value, stated_variance;
};
using ByQuantity = std::map<std::string, std::map<long, Answers>>;

// Stations of different scans lie up to half a millimetre from the place: the truth there is taken off.
void add(ByQuantity& all, const std::string& name, double station_mm, const Measured& measured, double true_value) {
  const long place = std::lround(station_mm / apart_mm);
  if (!measured.is_measured() || std::abs(station_mm - apart_mm * static_cast<double>(place)) > 0.5) return;
  Answers& answers = all[name][place];
  answers.value.push_back(measured.value - true_value);
  answers.stated_variance.push_back(std::pow(measured.u(UncertaintySource::point_noise), 2) +
                                    std::pow(measured.u(UncertaintySource::reference_faces), 2) +
                                    std::pow(measured.u(UncertaintySource::correlated), 2));
}

struct Scatter {
  double over_stated = 0.0;  // root of (scattered variance over stated variance), pooled over places
  double independent = 0.0;  // degrees of freedom
};

Scatter scatter_of(const std::map<long, Answers>& places) {
  double scattered = 0, stated = 0, independent = 0;
  for (const auto& [place, answers] : places) {
    const auto n = static_cast<double>(answers.value.size());
    if (n < 0.8 * scans) continue;
    double mean = 0, variance = 0, said = 0;
    for (const double v : answers.value) mean += v / n;
    for (const double v : answers.value) variance += (v - mean) * (v - mean) / (n - 1.0);
    for (const double v : answers.stated_variance) said += v / n;
    // Each place counts alike, whatever its size of uncertainty.
    scattered += variance / said;
    stated += 1.0;
    independent += n - 1.0;
  }
  return {std::sqrt(scattered / std::max(1.0, stated)), independent};
}

void compare(const ScannerSpec& scanner, double most_apart) {
  const auto body = Body::from(body_with_channels());
  ASSERT_TRUE(body);
  const Expected expected = expected_from(body_with_channels());
  Workers workers;
  ByQuantity all;
  for (int scan = 0; scan < scans; ++scan) {
    const auto seed = static_cast<std::uint64_t>(9100 + scan);
    const auto scanned = scan_cloud(*body, scanner, seed, &workers);
    ASSERT_TRUE(scanned) << "seed " << seed;
    const auto measures = measure_rim(scanned->cloud, expected, {}, workers);
    ASSERT_TRUE(measures) << "seed " << seed << ": " << measures.error().sentence();
    // Stations count from where the scan's rim begins, which moves with its noise: places are the truth's.
    for (const auto& station : measures->bevel.stations) {
      double away = 0.0;
      const TrueStation truth = truth_at(scanned->truth, station.at_scan_mm, &away);
      if (!truth.bevel_present) continue;
      add(all, "angle", truth.station_mm, station.angle_deg, truth.angle_deg);
      add(all, "drop", truth.station_mm, station.drop_mm, truth.drop_mm);
      add(all, "top reach", truth.station_mm, station.top_reach_mm, truth.top_reach_mm);
    }
    for (const auto& channel : measures->channels)
      for (const auto& station : channel.stations) {
        double away = 0.0;
        const TrueStation truth = truth_at(scanned->truth, station.at_scan_mm, &away);
        const std::string which = channel.planned_channel == 0 ? " below" : " above";
        const TrueStep& step = truth.channels[channel.planned_channel][0];
        if (!step.present) continue;
        add(all, "depth" + which, truth.station_mm, station.steps[0].depth_mm, step.depth_mm);
        add(all, "width" + which, truth.station_mm, station.steps[0].width_mm, step.width_mm);
      }
  }
  ASSERT_EQ(all.size(), 7U) << "angle, drop, reach and both channels' depths and widths";
  for (const auto& [name, places] : all) {
    const Scatter scatter = scatter_of(places);
    ASSERT_GE(scatter.independent, 60.0) << name;
    std::printf("%-10s scatters %.2f times what it states (%.0f degrees of freedom)\n", name.c_str(),
                scatter.over_stated, scatter.independent);
    // Twenty percent apart at most; three standard deviations of a standard deviation from so many values on top.
    const double by_chance = 3.0 / std::sqrt(2.0 * scatter.independent);
    EXPECT_NEAR(scatter.over_stated, 1.0, most_apart + by_chance) << name;
  }
}

TEST(RepeatedScans, ScatterAsTheyStateInWhiteNoise) {
  ScannerSpec scanner;
  scanner.density_per_mm2 = 12.0;
  scanner.far_density_per_mm2 = 3.0;
  scanner.normal_noise_mm = 0.05;
  scanner.sideways_noise_mm = 0.015;
  compare(scanner, 0.2);
}

TEST(RepeatedScans, ScatterAsTheyStateWhereNeighboursShareTheirError) {
  ScannerSpec scanner;
  scanner.density_per_mm2 = 8.0;
  scanner.far_density_per_mm2 = 3.0;
  scanner.normal_noise_mm = 0.04;
  scanner.sideways_noise_mm = 0.012;
  scanner.correlated_noise_mm = 0.02;
  scanner.correlation_length_mm = 4.0;
  compare(scanner, 0.2);
}

}  // namespace
}  // namespace rimwright
