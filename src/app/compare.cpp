// rimwright compare: two results of one instrument.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>
#include <string>

#include "app/commands.h"
#include "judge/compare_passes.h"
#include "report/comparison_report.h"
#include "report/read_results.h"

namespace rimwright {
namespace {

int compare(const std::string& before_folder, const std::string& after_folder, const std::string& out, bool out_given) {
  const Outcome<Pass> before = read_results(before_folder);
  if (!before) return report_refusal(before.error());
  const Outcome<Pass> after = read_results(after_folder);
  if (!after) return report_refusal(after.error());
  const Outcome<PassComparison> comparison = compare_passes(*before, *after);
  if (!comparison) return report_refusal(comparison.error());
  const Outcome<void> written = write_comparison(*before, *after, *comparison, out);
  if (!written && out_given) return report_refusal(written.error());
  const std::string text = comparison_text(*before, *after, *comparison);
  std::fwrite(text.data(), 1, text.size(), stdout);
  if (written) {
    std::printf("map and page: %s\n", out.c_str());
  } else {
    // The usual folder holds something else, such as an inspection: the comparison is not worth refusing for that.
    std::printf("no map and page written: %s\n", written.error().sentence().c_str());
  }
  switch (after->verdict) {
    case Verdict::pass: return exit_pass;
    case Verdict::fail: return exit_fail;
    case Verdict::undecided: return exit_undecided;
  }
  return exit_undecided;
}

}  // namespace

void add_compare_command(CLI::App& program, int& exit_status) {
  struct Words {
    std::string before, after, out = "rimwright-out";
  };
  const auto words = std::make_shared<Words>();
  CLI::App* command = program.add_subcommand(
      "compare", "Compare two results of one instrument: what came off, what is left; exit status as the later one's");
  command->add_option("BEFORE", words->before, "Result folder of the earlier pass")->required();
  command->add_option("AFTER", words->after, "Result folder of the later pass")->required();
  CLI::Option* out = command->add_option("--out", words->out, "Folder for compare.html, compare.json and the map")
                         ->capture_default_str();
  command->callback(
      [words, out, &exit_status] { exit_status = compare(words->before, words->after, words->out, out->count() > 0); });
}

}  // namespace rimwright
