// Every stage of an inspection on one scan, for 1 and 2 threads, with its share of the whole.
// usage: stages_bench PLAN SCAN [Google Benchmark's options]
#include <benchmark/benchmark.h>
#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "measure/doubt_fits.h"
#include "measure/fit_faces.h"
#include "measure/name_faces.h"
#include "measure/segment_sections.h"
#include "measure/summarise_scan.h"
#include "pipelines/cloud_from_file.h"
#include "pipelines/inspect_scan.h"
#include "plan/read_plan.h"
#include "report/write_result.h"

namespace rimwright {
namespace {

template <class Value>
Value value_or_exit(Outcome<Value> outcome) {
  if (outcome) return std::move(*outcome);
  std::fprintf(stderr, "%s\n", outcome.error().sentence().c_str());
  std::exit(2);
}

// The values between stages, computed once.
struct Chain {
  Plan plan;
  std::string scan;
  std::filesystem::path out;
  MeasureRimSettings settings;
  std::optional<ScanFile> file;
  Cloud cloud, copy;
  Expected expected;
  SurfaceCells cells;
  Orientation orientation;
  std::optional<RimOutline> outline;
  std::optional<UnrolledRim> rim;
  double noise_mm = 0.0;
  std::vector<SectionPieces> sections;
  FaceTracks tracks;
  std::optional<Inspection> inspection;

  Chain(const char* plan_path, const char* scan_path)
      : plan(value_or_exit(read_plan(plan_path))),
        scan(scan_path),
        out(std::filesystem::temp_directory_path() / ("rimwright-stages-" + std::to_string(::getpid()))) {
    Workers workers;
    file = value_or_exit(read_cloud(scan, {.keep_colours = false}, workers));
    cloud = value_or_exit(cloud_from_file(scan, {}, workers));
    expected = expected_from(plan);
    cells = value_or_exit(gather_cells(cloud, settings.gather, workers));
    orientation = value_or_exit(orient(cells, settings.orient, workers));
    outline = value_or_exit(trace_outline(cells, orientation, settings.outline));
    Cloud used_up = cloud;
    rim = unroll(used_up, orientation, outline->curve, settings.unroll, workers, work_down_mm(expected));
    noise_mm = noise_of_cells(cells, orientation.top_cells);
    sections = segment_sections(*rim, noise_mm, outline->lean_rad, expected, settings.segment, workers);
    tracks = name_faces(sections, *rim, noise_mm, outline->lean_rad, expected, settings.name);
    inspection = value_or_exit(inspect_scan(cloud, plan, {}, workers));
  }
};

class Collecting : public benchmark::ConsoleReporter {
 public:
  void ReportRuns(const std::vector<Run>& runs) override {
    for (const Run& run : runs)
      if (run.aggregate_name == "median") medians[run.run_name.function_name] = run.GetAdjustedRealTime();
  }
  std::map<std::string, double> medians;
};

struct Stage {
  std::string name;
  std::function<void(Workers&)> work;
  const Cloud* uses_up = nullptr;  // a copy of it lies in Chain::copy before the work, outside its time
};

std::vector<Stage> stages_of(Chain& c) {
  return {
      {"read", [&c](Workers& w) { benchmark::DoNotOptimize(read_cloud(c.scan, {.keep_colours = false}, w)); }},
      {"clean", [&c](Workers& w) { benchmark::DoNotOptimize(clean_cloud(std::move(c.copy), {}, w)); }, &c.file->cloud},
      {"gather", [&c](Workers& w) { benchmark::DoNotOptimize(gather_cells(c.cloud, c.settings.gather, w)); }},
      {"orient", [&c](Workers& w) { benchmark::DoNotOptimize(orient(c.cells, c.settings.orient, w)); }},
      {"refit top",
       [&c](Workers& w) {
         benchmark::DoNotOptimize(refit_top(c.orientation, c.cloud, c.cells, c.settings.refit_top, w));
       }},
      {"outline",
       [&c](Workers&) { benchmark::DoNotOptimize(trace_outline(c.cells, c.orientation, c.settings.outline)); }},
      {"unroll",
       [&c](Workers& w) {
         benchmark::DoNotOptimize(
             unroll(c.copy, c.orientation, c.outline->curve, c.settings.unroll, w, work_down_mm(c.expected)));
       },
       &c.cloud},
      {"segment",
       [&c](Workers& w) {
         benchmark::DoNotOptimize(
             segment_sections(*c.rim, c.noise_mm, c.outline->lean_rad, c.expected, c.settings.segment, w));
       }},
      {"name",
       [&c](Workers&) {
         benchmark::DoNotOptimize(
             name_faces(c.sections, *c.rim, c.noise_mm, c.outline->lean_rad, c.expected, c.settings.name));
       }},
      {"fit",
       [&c](Workers& w) {
         benchmark::DoNotOptimize(fit_faces(*c.rim, c.tracks, c.noise_mm, c.outline->lean_rad, c.settings.fit, w));
       }},
      {"all of inspect_scan",
       [&c](Workers& w) { benchmark::DoNotOptimize(inspect_scan(std::move(c.copy), c.plan, {}, w)); }, &c.cloud},
      {"report",
       [&c](Workers& w) { benchmark::DoNotOptimize(write_result(*c.inspection, {}, (c.out / "out").string(), w)); }},
  };
}

int run(int argc, char** argv) {
  if (argc < 3) return 2;
  Chain chain(argv[1], argv[2]);
  std::filesystem::create_directories(chain.out);
  const std::vector<Stage> stages = stages_of(chain);
  for (const std::size_t threads : {std::size_t{1}, std::size_t{2}})
    for (const Stage& stage : stages)
      benchmark::RegisterBenchmark((stage.name + "|" + std::to_string(threads)).c_str(),
                                   [threads, &stage, &chain](benchmark::State& state) {
                                     Workers workers(threads);
                                     if (stage.uses_up != nullptr) chain.copy = *stage.uses_up;
                                     for (auto _ : state) stage.work(workers);
                                   })
          ->Unit(benchmark::kMillisecond)
          ->UseRealTime()
          ->Iterations(1)
          ->Repetitions(7)
          ->ReportAggregatesOnly();
  argc -= 2;
  argv += 2;
  benchmark::Initialize(&argc, argv);
  Collecting reporter;
  benchmark::RunSpecifiedBenchmarks(&reporter);
  const auto median = [&](const std::string& name) { return reporter.medians[name]; };
  const double whole = median("read|2") + median("clean|2") + median("all of inspect_scan|2") + median("report|2");
  std::printf("| stage, %zu points | 1 thread, ms | 2 threads, ms | ratio | share with 2 threads |\n",
              chain.cloud.size());
  std::printf("| --- | --- | --- | --- | --- |\n");
  for (const auto& [name, work, uses_up] : stages)
    std::printf("| %s | %.0f | %.0f | %.2f | %.0f %% |\n", name.c_str(), median(name + "|1"), median(name + "|2"),
                median(name + "|1") / median(name + "|2"), 100.0 * median(name + "|2") / whole);
  std::filesystem::remove_all(chain.out);
  return 0;
}

}  // namespace
}  // namespace rimwright

int main(int argc, char** argv) { return rimwright::run(argc, argv); }
