// What whole inspections of simulated depth captures reach: 120 images of 640 x 480 pixels at 300 mm, in the two
// classes of camera, held against the exact body. usage: depth_reach [seed] [part of a case's name]
// Captures are kept in the temporary folder (or RIMWRIGHT_BENCH_FILES) and reused; each case is inspected by the
// program itself for time and memory, and once more here for its errors.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>

#include "../truth/errors.h"
#include "judge/compare.h"
#include "pipelines/cloud_from_depth.h"
#include "pipelines/inspect_scan.h"
#include "plan/read_plan.h"
#include "simulated_capture.h"

namespace {

using namespace rimwright;
using namespace rimwright_test;
namespace fs = std::filesystem;

struct Case {
  const char* name;
  const char* body;  // of sample-scans/bodies
  bool is_phone;
  bool closes;  // goes along 400 mm of rim and back
};

constexpr Case cases[] = {
    {"structured-light", "octave-mandola-sound", false, false},
    {"structured-light, there and back", "octave-mandola-sound", false, true},
    {"structured-light, narrow channels", "channel-narrow", false, false},
    {"structured-light, channels off", "channel-shallow-deep", false, false},
    {"structured-light, angle drift", "angle-drift", false, false},
    {"phone", "octave-mandola-sound", true, false},
    {"phone, there and back", "octave-mandola-sound", true, true},
    {"phone, narrow channels", "channel-narrow", true, false},
    {"phone, angle drift", "angle-drift", true, false},
};

struct Run {
  double seconds = 0.0, peak_mb = 0.0;
  int status = -1;
};

Run inspect_by_program(const fs::path& folder) {
  const auto begin = std::chrono::steady_clock::now();
  const std::string plan = (folder / "plan.yaml").string(), out = (folder / "result").string();
  const pid_t child = fork();
  if (child == 0) {
    execl(RIMWRIGHT_PROGRAM, "rimwright", "inspect", plan.c_str(), folder.c_str(), "--out", out.c_str(), "--threads",
          "2", "--quiet", static_cast<char*>(nullptr));
    _exit(127);
  }
  Run run;
  int status = 0;
  rusage usage{};
  if (child < 0 || wait4(child, &status, 0, &usage) != child) return run;
  run.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  run.peak_mb = static_cast<double>(usage.ru_maxrss) / 1024.0;
  run.status = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return run;
}

// Turned, moved and scaled alike; distances that are left then are errors of shape.
double trajectory_error_mm(std::vector<Transform> estimate, const std::vector<Transform>& truth, double scale,
                           double ahead_mm) {
  for (Transform& pose : estimate) pose.translation() /= scale;
  return absolute_trajectory_error_mm(estimate, truth, ahead_mm);
}

void print_alignment(const fs::path& folder, const std::vector<Transform>& truth, double scale, Workers& workers) {
  const auto capture = read_depth_capture(folder);
  if (!capture) return;
  auto patches = patches_of_all(*capture, settings_for(*capture, {}), workers);
  const auto noise = estimate_noise(patches);
  if (!noise) return;
  drop_edge_patches(patches, *noise);
  const auto alignment = align_frames(*capture, patches, *noise, {}, workers);
  if (!alignment) return void(std::printf("not aligned: %s\n", alignment.error().sentence().c_str()));
  std::vector<Transform> seen, true_of_seen;
  for (std::size_t i = 0; i < truth.size(); ++i) {
    if (!alignment->frames[i].aligned) continue;
    seen.push_back(alignment->frames[i].T_scan_camera);
    true_of_seen.push_back(truth[i]);
  }
  constexpr double ahead_mm = 300.0;  // where a camera looks
  Transform last_seen = seen.front().inverse() * seen.back();
  last_seen.translation() /= scale;
  const Transform last_true = true_of_seen.front().inverse() * true_of_seen.back();
  const Vector3 looked_at(0.0, 0.0, ahead_mm);
  std::printf("alignment: %zu left out, %zu rounds, %s; noise %.3f mm at %.0f mm, bias %.4f mm, weakest u %.3f mm\n",
              alignment->frames_left_out, alignment->joint_steps, alignment->settled ? "settled" : "not settled",
              noise->sigma_mm, noise->range_mm, alignment->bias_mm, alignment->weakest_u_mm);
  std::printf("absolute trajectory error: rigid %.3f mm, true scale %.3f mm, where the camera looks %.3f mm\n",
              trajectory_error_mm(seen, true_of_seen, 1.0, 0.0), trajectory_error_mm(seen, true_of_seen, scale, 0.0),
              trajectory_error_mm(seen, true_of_seen, scale, ahead_mm));
  std::printf("drift of the last image against the first, where it looks: %.3f mm\n",
              (last_seen * looked_at - last_true * looked_at).norm());
}

// Single stations of channels that the rule would pass though they are out of tolerance, or fail though they are in.
struct Wrong {
  std::size_t held = 0, passed_wrongly = 0, failed_wrongly = 0, undecided = 0;
};

void hold(const std::vector<Error>& errors, const Toleranced& limits, Wrong& wrong) {
  for (const Error& e : errors) {
    const bool in = e.true_value >= limits.lower_limit() && e.true_value <= limits.upper_limit();
    const Verdict verdict = verdict_of(e.true_value + e.error, e.u95, limits.lower_limit(), limits.upper_limit());
    ++wrong.held;
    wrong.passed_wrongly += verdict == Verdict::pass && !in;
    wrong.failed_wrongly += verdict == Verdict::fail && in;
    wrong.undecided += verdict == Verdict::undecided;
  }
}

Wrong wrong_channels(const Plan& plan, Errors& errors) {
  Wrong wrong;
  for (std::size_t c = 0; c < plan.channels.size(); ++c)
    for (std::size_t k = 0; k < plan.channels[c].steps.size(); ++k) {
      const std::string name = " " + std::to_string(c) + "." + std::to_string(k);
      const auto& channel = plan.channels[c];
      hold(errors.by_quantity["width" + name], {channel.steps[k].width_mm, channel.width_tolerance_mm}, wrong);
      hold(errors.by_quantity["depth" + name], {channel.steps[k].depth_mm, channel.depth_tolerance_mm}, wrong);
    }
  return wrong;
}

bool print_errors(const fs::path& folder, Truth truth, double scale, Workers& workers) {
  const auto plan = read_plan((folder / "plan.yaml").string());
  if (!plan) return std::printf("%s\n", plan.error().sentence().c_str()), false;
  const auto cloud = cloud_from_depth(folder, {}, workers);
  if (!cloud) return std::printf("%s\n", cloud.error().sentence().c_str()), false;
  const auto inspection = inspect_scan(*cloud, *plan, {}, workers);
  if (!inspection) return std::printf("%s\n", inspection.error().sentence().c_str()), false;
  for (TrueStation& station : truth.stations) station.at_scan_mm *= scale;  // places as the camera reads them
  Errors errors = compare_with_truth(inspection->measures, truth);
  const auto& scan = inspection->measures.scan;
  std::printf("verdict %s; %llu points near the rim, noise %.3f mm, correlated %.3f mm over %.1f mm\n",
              std::string(name_of(inspection->verdict)).c_str(), static_cast<unsigned long long>(scan.points_near_rim),
              scan.noise_mm, scan.correlated_noise_mm, scan.correlation_length_mm);
  std::printf("scale: true error %+.3f %%, U95 stated %.3f %%\n", 100.0 * (scale - 1.0),
              200.0 * cloud->scale.relative_standard_u);
  std::printf("bevel %zu of %zu stations, false %zu; steps %zu of %zu, false %zu\n", errors.bevel_measured,
              errors.bevel_true, errors.bevel_false, errors.steps_measured, errors.steps_true, errors.steps_false);
  const Wrong wrong = wrong_channels(*plan, errors);
  std::printf("channels: %zu held, %zu passed wrongly, %zu failed wrongly, %zu undecided\n", wrong.held,
              wrong.passed_wrongly, wrong.failed_wrongly, wrong.undecided);
  for (const auto& [name, list] : errors.by_quantity) {
    const Summary s = summarise(list);
    if (s.count == 0) continue;
    std::printf("  %-14s n %5zu  bias %8.4f  median %7.4f  95 %% %7.4f  U95 %7.4f  covered %.3f\n", name.c_str(),
                s.count, s.bias, s.median, s.p95, s.median_u95, s.covered);
  }
  for (const auto& note : inspection->capture_notes) std::printf("  note: %s\n", note.c_str());
  return true;
}

bool run_case(const Case& what, std::uint64_t seed, const fs::path& files, Workers& workers) {
  const auto file = read_body_file(std::string(RIMWRIGHT_SAMPLES "/bodies/") + what.body + ".yaml");
  if (!file) return std::printf("%s\n", file.error().sentence().c_str()), false;
  const auto body = Body::from(file->body);
  if (!body) return std::printf("%s\n", body.error().sentence().c_str()), false;
  const DepthCamera camera = what.is_phone ? phone_class() : structured_light_class();
  HandHeldPath path = path_along_bevel(*body);
  if (what.closes) {
    path.from_mm = 70.0;
    path.to_mm = 470.0;
    path.returns = true;
  }
  std::string kept = what.name;
  for (char& c : kept)
    if (c == ' ' || c == ',') c = '-';
  const fs::path folder = files / (kept + "-" + std::to_string(seed));
  if (!fs::exists(folder / "plan.yaml")) {
    const auto recorded = record_capture(*body, path, camera, seed, workers);
    if (!write_capture(recorded, camera, seed, folder) || !write_capture_truth(recorded, *body, *file, seed, folder))
      return std::printf("%s cannot be written\n", folder.c_str()), false;
  }
  const CameraPath T_body_camera_at = hand_held_path(*body, path, seed);
  std::vector<Transform> poses;
  for (std::size_t i = 0; i < path.frames; ++i) poses.push_back(T_body_camera_at(static_cast<double>(i)));
  TruthSpec spec;
  spec.band_mm = file->plan.band_mm;
  const double scale = 1.0 + camera.scale_error;

  std::printf("== %s (%s, seed %llu)\n", what.name, what.body, static_cast<unsigned long long>(seed));
  const Run run = inspect_by_program(folder);
  std::printf("inspect: status %d, %.1f s, %.0f MB\n", run.status, run.seconds, run.peak_mb);
  print_alignment(folder, poses, scale, workers);
  const bool measured = print_errors(folder, truth_of(*body, poses.front().inverse(), spec), scale, workers);
  std::fflush(stdout);
  return measured;
}

}  // namespace

int main(int argc, char** argv) {
  const auto seed = static_cast<std::uint64_t>(argc > 1 ? std::atoll(argv[1]) : 1);
  const std::string part = argc > 2 ? argv[2] : "";
  const char* given = std::getenv("RIMWRIGHT_BENCH_FILES");
  const fs::path files = (given ? fs::path(given) : fs::temp_directory_path() / "rimwright-bench-files") / "depth";
  Workers workers(2);
  bool all = true;
  for (const Case& what : cases)
    if (std::string(what.name).find(part) != std::string::npos) all = run_case(what, seed, files, workers) && all;
  return all ? 0 : 1;
}
