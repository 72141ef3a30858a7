#include <malloc.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <limits>
#include <memory>
#include <string>

#include "app/commands.h"
#include "app/messages.h"
#include "app/number_between.h"
#include "capture/file_hash.h"
#include "pipelines/cloud_from_scan.h"
#include "pipelines/inspect_scan.h"
#include "pipelines/read_settings.h"
#include "plan/read_plan.h"
#include "report/keep_result.h"
#include "report/result_folder.h"
#include "report/write_result.h"

namespace rimwright {

namespace {

struct InspectArguments {
  std::string plan, scan;
  std::string out = "rimwright-out";
  std::string settings;
  std::string units = "auto";
  double bar_mm = 0.0;
  unsigned threads = 0;
  bool quiet = false;
  bool progress = false;
  bool for_client = false;
  double sanding_block_mm = 100.0;
  std::string keep;
};

// Stages and their times on standard error: on a terminal, or when asked.
class Progress {
 public:
  explicit Progress(bool shown) : shown_(shown), begin_(std::chrono::steady_clock::now()) {}
  void say(const std::string& stage) const {
    if (!shown_) return;
    const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin_).count();
    std::fprintf(messages(), "%6.1f s  %s\n", seconds, stage.c_str());
  }

 private:
  bool shown_;
  std::chrono::steady_clock::time_point begin_;
};

std::string today() {
  const std::time_t now = std::time(nullptr);
  std::tm local{};
  localtime_r(&now, &local);
  char text[16];
  return std::strftime(text, sizeof text, "%Y-%m-%d", &local) > 0 ? text : "";
}

FileUnits units_from(const std::string& name) {
  for (const auto units : {FileUnits::mm, FileUnits::cm, FileUnits::m, FileUnits::inch})
    if (name == name_of(units)) return units;
  return FileUnits::automatic;
}

int exit_status_for(Verdict verdict) {
  return verdict == Verdict::pass ? exit_pass : verdict == Verdict::fail ? exit_fail : exit_undecided;
}

void print_summary(const Inspection& inspection, const std::string& out) {
  const auto findings = inspection.findings.size();
  std::printf("%s: %s\n", inspection.plan.instrument.c_str(), std::string(name_of(inspection.verdict)).c_str());
  for (std::size_t i = 0; i < findings; ++i) {
    const Finding& finding = inspection.findings[i];
    std::printf("%2zu. %s, %s, %.0f to %.0f mm (%s): %s\n", i + 1, finding.feature.c_str(), finding.quantity.c_str(),
                std::round(finding.from_mm), std::round(finding.to_mm), std::string(name_of(finding.verdict)).c_str(),
                finding.advice.c_str());
  }
  std::printf("The report is in %s/report.html\n", out.c_str());
}

// What one stage gives back serves the next: asked of the system anew, memory cost a fortieth of an inspection of ten
// million points. 32 MB is the most that the library keeps so.
void keep_freed_memory() {
  ::mallopt(M_MMAP_THRESHOLD, 32 << 20);
  ::mallopt(M_TRIM_THRESHOLD, std::numeric_limits<int>::max());
}

int inspect(const InspectArguments& arguments) {
  const Progress progress(!arguments.quiet && (arguments.progress || isatty(fileno(messages())) == 1));
  const auto plan = read_plan(arguments.plan);
  if (!plan) return report_refusal(plan.error());

  AllSettings settings;
  if (!arguments.settings.empty()) {
    const auto given = read_settings(arguments.settings);
    if (!given) return report_refusal(given.error());
    settings = *given;
  }

  if (const auto free = can_hold_result(arguments.out); !free) return report_refusal(free.error());
  const std::filesystem::path scan = std::filesystem::path(arguments.scan).lexically_normal();
  if (std::error_code error; std::filesystem::is_regular_file(scan, error)) keep_freed_memory();
  FileHash hash(arguments.scan);  // this and what it finds outlive the workers, who fill them in
  std::string scan_sha256;
  Workers workers(arguments.threads);
  CloudFromScanSettings& capture = settings.capture;
  capture.file.units.units = units_from(arguments.units);
  capture.file.read.hash = &hash;
  if (arguments.bar_mm > 0.0) capture.photos.print.bar_mm = capture.depth.target.bar_mm = arguments.bar_mm;
  capture.photos.work = std::filesystem::path(arguments.out) / work_folder_name();
  capture.photos.progress = [&](const std::string& stage) { progress.say(stage); };
  progress.say("reading " + arguments.scan);
  auto cloud = cloud_from_scan(arguments.scan, capture, workers);
  if (!cloud) return report_refusal(cloud.error());

  workers.begin_beside([&] { scan_sha256 = hash.finished(); });
  progress.say("measuring " + std::to_string(cloud->size()) + " points");
  const auto inspection = inspect_scan(*std::move(cloud), *plan, settings.inspect, workers);
  if (!inspection) return report_refusal(inspection.error());

  progress.say("writing the report");
  ReportContext context;
  context.version = RIMWRIGHT_VERSION;
  context.made_on = today();
  context.scan_name = (scan.has_filename() ? scan : scan.parent_path()).filename().string();
  workers.finish_beside();
  context.scan_sha256 = scan_sha256;
  std::error_code error;
  if (std::filesystem::is_regular_file(scan, error)) context.scan_bytes = std::filesystem::file_size(scan, error);
  context.plan_name = std::filesystem::path(arguments.plan).filename().string();
  context.plan_sha256 = FileHash(arguments.plan).finished();
  context.settings = changed_settings(settings);
  context.for_client = arguments.for_client;
  context.sanding_block_mm = arguments.sanding_block_mm;
  if (const auto written = write_result(*inspection, context, arguments.out, workers); !written)
    return report_refusal(written.error());
  if (!arguments.keep.empty()) {
    const auto kept = keep_result(arguments.out, arguments.keep);
    if (!kept) return report_refusal(kept.error());
  }
  progress.say("done");
  if (!arguments.quiet) print_summary(*inspection, arguments.out);
  return exit_status_for(inspection->verdict);
}

}  // namespace

void add_inspect_command(CLI::App& program, int& exit_status) {
  auto arguments = std::make_shared<InspectArguments>();
  CLI::App* command = program.add_subcommand("inspect", "hold a scan against the plan and write the report");
  command->add_option("PLAN", arguments->plan, "the plan, a YAML file")->required();
  command->add_option("SCAN", arguments->scan, "a scan file, a folder of photos, or a depth capture")->required();
  command->add_option("--out", arguments->out, "folder for the result")->capture_default_str();
  command->add_option("--settings", arguments->settings, "a settings file (YAML) that names what it changes");
  command->add_option("--units", arguments->units, "of the scan file")
      ->check(CLI::IsMember({"auto", "mm", "cm", "m", "inch"}))
      ->capture_default_str();
  command->add_option("--bar", arguments->bar_mm, "length of the scale target's check bar as measured, mm")
      ->check(number_between(10.0, 1000.0));
  command->add_option("--threads", arguments->threads, "0 = all cores")->check(CLI::Range(0, 256));
  command->add_option("--block", arguments->sanding_block_mm, "length of your flat sanding block, mm")
      ->check(number_between(10.0, 500.0))
      ->capture_default_str();
  command->add_option("--keep", arguments->keep, "also keep the result beside earlier passes in this folder");
  command->add_option(
      "--for",
      [arguments](const CLI::results_t& words) {
        arguments->for_client = words.front() == "client";
        return words.front() == "client" || words.front() == "builder";
      },
      "whom the report opens for: builder or client");
  command->add_flag("--quiet", arguments->quiet, "print nothing but refusals");
  command->add_flag("--progress", arguments->progress, "say the stages on standard error even where it is no terminal");
  command->callback([arguments, &exit_status] { exit_status = inspect(*arguments); });
}

}  // namespace rimwright
