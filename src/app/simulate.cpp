#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>
#include <string>

#include "app/commands.h"
#include "app/number_between.h"
#include "simulate/photo_session.h"
#include "simulate/write_depth_capture.h"
#include "simulate/write_scan.h"

namespace rimwright {

namespace {

struct SimulateArguments {
  std::string body;
  std::string as = "cloud";
  std::string out;
  std::string camera = "structured-light";
  std::uint64_t seed = 1;
  PhotoSessionSpec photos;
  bool target_beside = false;
};

int simulate_depth(const SimulateArguments& arguments, const Body& body, const BodyFile& file, Workers& workers) {
  const DepthCamera camera = arguments.camera == "phone" ? phone_class() : structured_light_class();
  const auto capture = record_capture(body, path_along_bevel(body), camera, arguments.seed, workers);
  auto written = write_capture(capture, camera, arguments.seed, arguments.out);
  if (written) written = write_capture_truth(capture, body, file, arguments.seed, arguments.out);
  if (!written) return report_refusal(written.error());
  std::printf("%zu depth images of '%s', truth.json and plan.yaml are in %s\n", capture.frames.size(),
              file.body.name.c_str(), arguments.out.c_str());
  return exit_pass;
}

int take_photos_of(const Body& body, const BodyFile& file, const SimulateArguments& arguments, Workers& workers) {
  PhotoSessionSpec spec = arguments.photos;
  spec.phone.height = spec.phone.width * 3 / 4;
  if (arguments.target_beside) spec.target_place = TargetPlace::beside;
  const auto taken = photograph_body(body, file, spec, arguments.seed, arguments.out, workers);
  if (!taken) return report_refusal(taken.error());
  std::printf("%zu photos of '%s' are in %s/photos; cameras.json, truth.json and plan.yaml lie beside them\n",
              taken->size(), file.body.name.c_str(), arguments.out.c_str());
  return exit_pass;
}

int simulate(const SimulateArguments& arguments) {
  auto file = read_body_file(arguments.body);
  if (!file) return report_refusal(file.error());
  auto body = Body::from(file->body);
  if (!body) return report_refusal(body.error());
  Workers workers;
  if (arguments.as == "depth") return simulate_depth(arguments, *body, *file, workers);
  if (arguments.as == "photos") return take_photos_of(*body, *file, arguments, workers);
  auto scan = scan_cloud(*body, file->scanner, arguments.seed, &workers);
  if (!scan) return report_refusal(scan.error());
  if (auto written = write_scan(arguments.out, *body, *file, *scan, arguments.seed); !written) {
    return report_refusal(written.error());
  }
  std::printf("%zu points of '%s': scan.ply, truth.json and plan.yaml are in %s\n", scan->cloud.size(),
              file->body.name.c_str(), arguments.out.c_str());
  return exit_pass;
}

}  // namespace

void add_simulate_command(CLI::App& program, int& exit_status) {
  CLI::App* command = program.add_subcommand("simulate", "Make a scan of an invented body whose truth is known");
  auto arguments = std::make_shared<SimulateArguments>();
  command->add_option("BODY", arguments->body, "The body file (YAML)")->required();
  command->add_option("--as", arguments->as, "How it is captured: cloud, depth or photos")
      ->check(CLI::IsMember({"cloud", "depth", "photos"}));
  command->add_option("--out", arguments->out, "The folder for scan.ply, truth.json and plan.yaml")->required();
  command->add_option("--camera", arguments->camera, "The depth camera's class: structured-light or phone")
      ->check(CLI::IsMember({"structured-light", "phone"}));
  command->add_option("--seed", arguments->seed, "The same seed gives the same scan");
  PhotoSessionSpec& photos = arguments->photos;
  const auto option = [&](const char* name, auto& value, double least, double most, const char* help) {
    command->add_option(name, value, help)
        ->check(number_between(least, most))
        ->group("For photos")
        ->capture_default_str();
  };
  option("--shots", photos.shots.count, 1, 2000, "How many photos");
  option("--width", photos.phone.width, 64, 20000, "Pixels across; the height is three quarters of it");
  option("--nearest", photos.shots.nearest_mm, 50, 5000, "Nearest distance, mm");
  option("--farthest", photos.shots.farthest_mm, 50, 5000, "Farthest distance, mm");
  option("--from", photos.from_mm, -10000, 10000, "Start of the stretch of rim to walk round, mm");
  option("--to", photos.to_mm, -10000, 10000, "End of that stretch, mm");
  option("--contrast", photos.wood.contrast, 0, 10, "Of the wood's figure: 1 figured, 0.35 plain");
  option("--grain", photos.wood.shortest_mm, 0.01, 100, "Finest detail of the wood across the grain, mm");
  option("--scribble", photos.wood.scribble, 0, 1, "Pencil scribble: 0 none, 0.6 well scribbled");
  option("--gloss", photos.mirror_share, 0, 1, "Share of light mirrored: 0 matt, 0.04 sealed and polished");
  option("--motion", photos.phone.motion_px, 0, 1000, "Smear by the hand, pixels at 4032 across");
  option("--focus-error", photos.phone.focus_error, 0, 1, "Share of the distance the focus is off, standard deviation");
  option("--bow", photos.target_bow_mm, -50, 50, "Rise of the target's middle, mm");
  option("--target-shots", photos.target_shots, 0, 2000, "For how many photos the target lies there; 0 = for all");
  option("--phones", photos.phones, 1, 2, "2: another phone takes every other photo");
  command->add_flag("--target-beside", arguments->target_beside, "The target lies on the table beside the body")
      ->group("For photos");
  option("--table-figure", photos.table_figure, 0, 1, "Of the table: 0 nearly even, 1 as bold as newspaper");
  option("--blocks", photos.blocks_mm, 0, 1000, "Height of the blocks the body stands on, mm");
  option("--albedo", photos.wood.mean_albedo, 0.02, 0.98, "Share of light the wood reflects: spruce 0.55, walnut 0.2");
  option("--print-scale", photos.target_print_scale, 0.5, 2, "Printed size over true size of the target");
  option("--rays", photos.samples_per_pixel, 1, 64, "Rays a pixel");
  command->callback([arguments, &exit_status] { exit_status = simulate(*arguments); });
}

}  // namespace rimwright
