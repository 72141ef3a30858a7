#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>
#include <string>

#include "app/commands.h"
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

int simulate(const SimulateArguments& arguments) {
  if (arguments.as == "photos") {
    return report_refusal({RefusalReason::command_not_valid, "bodies cannot be seen as " + arguments.as + " yet",
                           "simulate them --as cloud or depth"});
  }
  auto file = read_body_file(arguments.body);
  if (!file) return report_refusal(file.error());
  auto body = Body::from(file->body);
  if (!body) return report_refusal(body.error());
  Workers workers;
  if (arguments.as == "depth") return simulate_depth(arguments, *body, *file, workers);
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
  command->callback([arguments, &exit_status] { exit_status = simulate(*arguments); });
}

}  // namespace rimwright
