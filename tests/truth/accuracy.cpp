// Prints errors against truth for one seeded body under a few scanners: accuracy [seed] [density] [noise]
#include <chrono>
#include <cstdio>
#include <cstdlib>

#include "errors.h"
#include "pipelines/measure_rim.h"

using namespace rimwright;

int main(int argc, char** argv) {
  const auto number = [&](int i, double otherwise) { return argc > i ? std::atof(argv[i]) : otherwise; };
  BodySpec spec;
  spec.outline.pieces = {{200, 1.0 / 300, 1.0 / 160}, {150, 1.0 / 160, 1.0 / 220}, {150, 1.0 / 220, -1.0 / 250}};
  spec.top.dome_radius_mm = number(4, 4500);
  spec.top.dome_centre_mm = {0, 150};
  spec.side.lean_deg = number(5, 0.5);
  spec.bevel = BevelSpec{124, 16, 90, 400};
  spec.channels.push_back({"edge", BodyCorner::top_side, {{1.85, 5.85}, {2.5, 1.65}}, 0.2});
  spec.channels.push_back({"lower", BodyCorner::side_bevel, {{1.85, 1.6}}, 0.2});
  spec.channels.push_back({"upper", BodyCorner::top_bevel, {{2.5, 1.65}}, 0.2});
  if (number(6, 1) == 0) spec.channels.clear();
  const auto body = Body::from(spec);
  if (!body) return std::fprintf(stderr, "%s\n", body.error().sentence().c_str()), 2;
  ScannerSpec scanner;
  scanner.density_per_mm2 = number(2, 24);
  scanner.far_density_per_mm2 = scanner.density_per_mm2;
  scanner.normal_noise_mm = number(3, 0.04);
  scanner.correlated_noise_mm = number(7, 0.0);
  scanner.random_pose = true;
  scanner.table = true;
  Workers workers;
  const auto scan = scan_cloud(*body, scanner, static_cast<std::uint64_t>(number(1, 1)), &workers);
  if (!scan) return std::fprintf(stderr, "%s\n", scan.error().sentence().c_str()), 2;
  std::printf("%zu points\n", scan->cloud.size());
  const auto begin = std::chrono::steady_clock::now();
  const auto measures = measure_rim(scan->cloud, expected_from(spec), {}, workers);
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  if (!measures) return std::fprintf(stderr, "%s\n", measures.error().sentence().c_str()), 2;
  std::printf("%.2f s; rim %.1f mm, %zu points near, noise %.4f, correlated %.4f over %.1f, lean %.3f\n", seconds,
              measures->scan.rim_length_mm, static_cast<std::size_t>(measures->scan.points_near_rim),
              measures->scan.noise_mm, measures->scan.correlated_noise_mm, measures->scan.correlation_length_mm,
              measures->scan.lean_deg);
  const Errors errors = compare_with_truth(*measures, scan->truth);
  std::printf("bevel %zu of %zu, false %zu; steps %zu of %zu, false %zu\n", errors.bevel_measured, errors.bevel_true,
              errors.bevel_false, errors.steps_measured, errors.steps_true, errors.steps_false);
  for (const auto& [name, list] : errors.by_quantity) {
    if (argc > 8 && name == argv[8])
      for (const auto& e : list)
        std::printf("  %.1f: %.4f (true %.3f) U95 %.4f\n", e.station_mm, e.error, e.true_value, e.u95);
    const Summary s = summarise(list);
    std::printf("%-14s n %5zu  bias %8.4f  median %7.4f  95%% %7.4f  U95 %7.4f  covered %.3f\n", name.c_str(), s.count,
                s.bias, s.median, s.p95, s.median_u95, s.covered);
  }
}
