// The photo chain against pairwise semi-global matching, over the same adjusted cameras.
//
//   against_stereo BODY.yaml SET [half] [half-8] [full]
//
// SET is what `rimwright simulate BODY.yaml --as photos --from 0 --to 300` wrote. Each point of both surfaces is held
// against the true surface; two tables are printed. Stereo pairs are matched at half size (the default), at half size
// along all eight paths, or at full size, which takes minutes. Work is kept beside the photos for the run only.
#include <array>
#include <chrono>
#include <cstdio>
#include <ctime>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>

#include "capture/photos/surface_zone.h"
#include "pipelines/place_photos.h"
#include "simulate/body_file.h"
#include "stereo_surface.h"
#include "true_surface.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;

class Stopwatch {
 public:
  struct Time {
    double wall_s, processor_s;
  };
  [[nodiscard]] Time lap() {
    const auto wall = std::chrono::steady_clock::now();
    const std::clock_t processor = std::clock();
    const Time time{std::chrono::duration<double>(wall - wall_).count(),
                    static_cast<double>(processor - processor_) / CLOCKS_PER_SEC};
    wall_ = wall;
    processor_ = processor;
    return time;
  }

 private:
  std::chrono::steady_clock::time_point wall_ = std::chrono::steady_clock::now();
  std::clock_t processor_ = std::clock();
};

Transform body_from_sheet(const fs::path& cameras) {
  const auto json = nlohmann::json::parse(std::ifstream(cameras));
  Transform T_body_target = Transform::Identity();
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t k = 0; k < 4; ++k) {
      T_body_target(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(k)) = json["target"]["T_body_target"][i][k];
    }
  }
  Transform T_target_sheet = Transform::Identity();
  T_target_sheet.linear().diagonal() = Vector3(1, -1, -1);
  return T_body_target * T_target_sheet;
}

constexpr std::array<std::pair<BodyFace, const char*>, 5> faces{{{BodyFace::bevel, "bevel"},
                                                                 {BodyFace::top, "top"},
                                                                 {BodyFace::side, "side"},
                                                                 {BodyFace::floor, "floors"},
                                                                 {BodyFace::wall, "walls"}}};

// Signed distances of the points of one face, and what share of its square millimetres they lie on.
struct OnFace {
  std::vector<double> off_mm;
  std::set<std::size_t> cells;
};

double quantile(std::vector<double>& values, double share) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

void print_rows(const char* what, const std::vector<Vector3>& points_body, const TrueSurface& truth) {
  std::array<OnFace, 6> on;
  for (const Vector3& p : points_body) {
    const auto place = truth.place_of(p);
    if (!place) continue;
    OnFace& face = on[static_cast<std::size_t>(place->face)];
    face.off_mm.push_back(place->off_mm);
    face.cells.insert(place->cell);
  }
  constexpr double far_off_mm = 0.4;
  for (const auto& [face, name] : faces) {
    OnFace& found = on[static_cast<std::size_t>(face)];
    if (found.off_mm.empty()) {
      std::printf("| %s | %s | 0 | | | | | 0 %% |\n", name, what);
      continue;
    }
    const double bias = quantile(found.off_mm, 0.5);
    std::vector<double> size = found.off_mm;
    for (double& off : size) off = std::abs(off);
    const double median = quantile(size, 0.5), most = quantile(size, 0.95);
    const auto far = std::count_if(size.begin(), size.end(), [](double off) { return off > far_off_mm; });
    std::printf("| %s | %s | %zu | %.4f | %.4f | %+.4f | %.1f %% | %.0f %% |\n", name, what, size.size(), median, most,
                bias, 100.0 * static_cast<double>(far) / static_cast<double>(size.size()),
                100.0 * static_cast<double>(found.cells.size()) / static_cast<double>(truth.cell_count(face)));
  }
}

void print_time(const char* what, const Stopwatch::Time& time) {
  std::printf("| %s | %.0f | %.0f |\n", what, time.processor_s, time.wall_s);
}

int fail(const Refusal& refusal) {
  std::fprintf(stderr, "%s\n", refusal.sentence().c_str());
  return 1;
}

struct Variant {
  const char *argument, *name;
  int shrink;
  bool all_ways;
};
constexpr std::array<Variant, 3> variants{{{"half", "stereo, half size", 2, false},
                                           {"half-8", "stereo, half size, eight paths", 2, true},
                                           {"full", "stereo, full size", 1, false}}};

int compare(const fs::path& body_path, const fs::path& folder, const std::vector<Variant>& asked) {
  const auto file = read_body_file(body_path);
  if (!file) return fail(file.error());
  const auto body = Body::from(file->body);
  if (!body) return fail(body.error());
  const TrueSurface truth(*body, {.to_mm = body->rim_length_mm()});
  const Transform T_body_sheet = body_from_sheet(folder / "cameras.json");

  Workers workers;
  PhotoSettings settings;
  settings.work = folder / "work-of-comparison";
  fs::remove_all(settings.work);
  Stopwatch watch;
  WorkFolder work(settings.work);
  const auto placed = place_photos(folder / "photos", settings, work, workers);
  if (!placed) return fail(placed.error());
  const Stopwatch::Time cameras = watch.lap();

  // The chain again: it finds its cameras in the work folder, and looks for the surface.
  std::vector<Vector3> ours, theirs;
  Stopwatch surface_watch;
  settings.progress = [&](const std::string& stage) {
    if (stage == "measuring the surface") surface_watch = Stopwatch();
  };
  const auto cloud = cloud_from_photos(folder / "photos", settings, workers);
  if (!cloud) return fail(cloud.error());
  const Stopwatch::Time our_surface = surface_watch.lap();
  fs::remove_all(settings.work);
  for (std::size_t i = 0; i < cloud->size(); ++i) ours.push_back(T_body_sheet * cloud->point_mm(i));

  const auto& [network, adjusted, seeds] = placed->cameras;
  const SurfaceZone zone(seeds, settings.target, settings.zone);
  const auto wanted = [&zone](const Vector3& at) { return zone.holds(at); };
  std::printf(
      "| face | surface | points | median (mm) | 95 %% (mm) | bias (mm) | off by > 0.4 mm | mm² covered |\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- |\n");
  print_rows("rimwright", ours, truth);
  std::vector<std::pair<std::string, Stopwatch::Time>> stereo_times;
  for (const Variant& variant : asked) {
    StereoSurfaceSettings stereo_settings;
    stereo_settings.shrink = variant.shrink;
    stereo_settings.all_ways = variant.all_ways;
    (void)watch.lap();
    const StereoSurface stereo = stereo_surface(placed->set, network, wanted, stereo_settings);
    const Stopwatch::Time time = watch.lap();
    stereo_times.emplace_back(std::string(variant.name) + ": " + std::to_string(stereo.pairs) + " pairs, " +
                                  std::to_string(std::lround(stereo.megapixels)) + " megapixels",
                              time);
    theirs.clear();
    for (const Vector3& p : stereo.points_sheet_mm) theirs.push_back(T_body_sheet * p);
    print_rows(variant.name, theirs, truth);
  }
  std::printf("\n| time (s) | of processors | wall |\n| --- | --- | --- |\n");
  print_time("photos read and cameras placed, for all", cameras);
  print_time("surface, rimwright (with the comparison of halves)", our_surface);
  for (const auto& [name, time] : stereo_times) print_time(name.c_str(), time);
  return 0;
}

}  // namespace
}  // namespace rimwright

int main(int count, char** arguments) {
  std::vector<rimwright::Variant> asked;
  for (int i = 3; i < count; ++i) {
    for (const rimwright::Variant& variant : rimwright::variants) {
      if (std::string_view(arguments[i]) == variant.argument) asked.push_back(variant);
    }
  }
  if (count < 3 || static_cast<int>(asked.size()) != count - 3) {
    std::fprintf(stderr, "usage: against_stereo BODY.yaml SET [half] [half-8] [full]\n");
    return 2;
  }
  if (asked.empty()) asked.push_back(rimwright::variants.front());
  std::setvbuf(stdout, nullptr, _IOLBF, 0);  // rows are seen as they come, through pipes too
  return rimwright::compare(arguments[1], arguments[2], asked);
}
