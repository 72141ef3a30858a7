// Reading a scan file, against PCL, Open3D and a plain fread of the same file, in one run.
// usage: read_cloud_bench [Google Benchmark's options]; RIMWRIGHT_BENCH_POINTS sets the number of points (1500000).
// Medians and ratios are printed at the end: above 1 = faster than PCL.
#include <benchmark/benchmark.h>
#include <open3d/Open3D.h>
#include <pcl/io/pcd_io.h>
#include <pcl/io/ply_io.h>
#include <pcl/point_types.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "capture/clean_cloud.h"
#include "capture/read_cloud.h"

namespace rimwright {
namespace {

using PclCloud = pcl::PointCloud<pcl::PointXYZRGBNormal>;

struct Files {
  std::filesystem::path folder;
  std::size_t points = 1'500'000;
  [[nodiscard]] std::string path(const std::string& name) const { return (folder / name).string(); }
};

Files& files() {
  static Files all;
  return all;
}

// Points of a body's size in random order, with normals and colours. The text file holds a fifth of them.
void write_files() {
  std::mt19937 random(5);
  std::uniform_real_distribution<float> place(-250.0F, 250.0F);
  PclCloud cloud;
  cloud.resize(files().points);
  for (auto& p : cloud) {
    p.x = place(random);
    p.y = place(random);
    p.z = 0.1F * place(random);
    p.normal_z = 1.0F;
    p.r = 200;
    p.g = 150;
    p.b = 100;
  }
  std::ofstream binary(files().path("binary.ply"), std::ios::binary);
  binary << "ply\nformat binary_little_endian 1.0\nelement vertex " << cloud.size()
         << "\nproperty float x\nproperty float y\nproperty float z\nproperty float nx\nproperty float ny\n"
            "property float nz\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n";
  std::vector<char> rows(27 * cloud.size());
  for (std::size_t i = 0; i < cloud.size(); ++i) {
    const std::array<float, 6> values = {cloud[i].x, cloud[i].y, cloud[i].z, 0.0F, 0.0F, 1.0F};
    std::memcpy(rows.data() + 27 * i, values.data(), 24);
    const std::array<std::uint8_t, 3> colour = {200, 150, 100};
    std::memcpy(rows.data() + 27 * i + 24, colour.data(), 3);
  }
  binary.write(rows.data(), static_cast<std::streamsize>(rows.size()));
  pcl::io::savePCDFileBinary(files().path("binary.pcd"), cloud);
  cloud.resize(files().points / 5);
  pcl::io::savePLYFileASCII(files().path("text.ply"), cloud);
}

void plain_fread(benchmark::State& state, const std::string& name) {
  std::vector<char> buffer(std::size_t{1} << 20);
  for (auto _ : state) {
    std::FILE* file = std::fopen(files().path(name).c_str(), "rb");
    while (std::fread(buffer.data(), 1, buffer.size(), file) == buffer.size()) benchmark::ClobberMemory();
    std::fclose(file);
  }
}

void with_pcl(benchmark::State& state, const std::string& name) {
  for (auto _ : state) {
    PclCloud cloud;
    if (name.ends_with(".pcd")) {
      pcl::io::loadPCDFile(files().path(name), cloud);
    } else {
      pcl::io::loadPLYFile(files().path(name), cloud);
    }
    benchmark::DoNotOptimize(cloud.points.data());
  }
}

void with_open3d(benchmark::State& state, const std::string& name) {
  for (auto _ : state) {
    open3d::geometry::PointCloud cloud;
    open3d::io::ReadPointCloud(files().path(name), cloud);
    benchmark::DoNotOptimize(cloud.points_.data());
  }
}

void with_rimwright(benchmark::State& state, const std::string& name, std::size_t threads, bool clean) {
  Workers workers(threads);
  for (auto _ : state) {
    auto scan = read_cloud(files().path(name), {}, workers);
    if (!scan) {
      state.SkipWithError(scan.error().sentence().c_str());
      break;
    }
    if (clean) {
      auto cloud = clean_cloud(std::move(scan->cloud), {}, workers);
      benchmark::DoNotOptimize(cloud->x.data());
    }
    benchmark::DoNotOptimize(scan->cloud.x.data());
  }
}

void in_blocks(benchmark::State& state, const std::string& name) {
  Workers workers(2);
  for (auto _ : state) {
    std::size_t points = 0;
    const auto done = for_each_block(files().path(name), std::size_t{1} << 20, {}, workers,
                                     [&](Cloud& block) { points += block.size(); });
    benchmark::DoNotOptimize(points);
    benchmark::DoNotOptimize(done.has_value());
  }
}

// Keeps the medians, prints as usual.
class Collecting : public benchmark::ConsoleReporter {
 public:
  void ReportRuns(const std::vector<Run>& runs) override {
    benchmark::ConsoleReporter::ReportRuns(runs);
    for (const Run& run : runs) {
      if (run.aggregate_name == "median") medians[run.run_name.function_name] = run.GetAdjustedRealTime();
    }
  }
  std::map<std::string, double> medians;
};

int run(int argc, char** argv) {
  if (const char* points = std::getenv("RIMWRIGHT_BENCH_POINTS")) files().points = std::strtoull(points, nullptr, 10);
  files().folder = std::filesystem::temp_directory_path() / ("rimwright-bench-" + std::to_string(::getpid()));
  std::filesystem::create_directories(files().folder);
  write_files();
  const std::vector<std::string> names = {"binary.ply", "binary.pcd", "text.ply"};
  for (const std::string& name : names) {
    const auto add = [&](const std::string& how, auto body) {
      benchmark::RegisterBenchmark((name + ": " + how).c_str(), body)
          ->Unit(benchmark::kMillisecond)
          ->UseRealTime()
          ->Iterations(1)
          ->Repetitions(5)
          ->ReportAggregatesOnly();
    };
    add("fread", [name](benchmark::State& state) { plain_fread(state, name); });
    add("PCL", [name](benchmark::State& state) { with_pcl(state, name); });
    add("Open3D", [name](benchmark::State& state) { with_open3d(state, name); });
    add("rimwright, 1 thread", [name](benchmark::State& state) { with_rimwright(state, name, 1, false); });
    add("rimwright, 2 threads", [name](benchmark::State& state) { with_rimwright(state, name, 2, false); });
    add("rimwright, 2 threads, cleaned", [name](benchmark::State& state) { with_rimwright(state, name, 2, true); });
    add("rimwright, 2 threads, blocks", [name](benchmark::State& state) { in_blocks(state, name); });
  }
  benchmark::Initialize(&argc, argv);
  Collecting reporter;
  benchmark::RunSpecifiedBenchmarks(&reporter);
  std::printf("\n%-48s %10s %8s\n", "reading", "median", "x PCL");
  for (const auto& [name, median] : reporter.medians) {
    const auto pcl = reporter.medians.find(name.substr(0, name.find(':')) + ": PCL");
    std::printf("%-48s %7.1f ms %8.2f\n", name.c_str(), median,
                pcl == reporter.medians.end() ? 0.0 : pcl->second / median);
  }
  std::filesystem::remove_all(files().folder);
  return 0;
}

}  // namespace
}  // namespace rimwright

int main(int argc, char** argv) { return rimwright::run(argc, argv); }
