// rimwright explain: what the plan implies, in words and drawings.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>
#include <string>

#include "app/commands.h"
#include "core/write_whole.h"
#include "plan/draw_section.h"
#include "plan/explain_plan.h"
#include "plan/read_plan.h"

namespace rimwright {
namespace {

int explain(const std::string& plan_path, const std::string& svg_path) {
  const Outcome<Plan> plan = read_plan(plan_path);
  if (!plan) return report_refusal(plan.error());
  if (!svg_path.empty()) {
    if (const Outcome<void> written = write_whole(svg_path, draw_sections_svg(*plan)); !written) {
      return report_refusal(written.error());
    }
  }
  const std::string text = explain_plan(*plan);
  std::fwrite(text.data(), 1, text.size(), stdout);
  return exit_pass;
}

}  // namespace

void add_explain_command(CLI::App& program, int& exit_status) {
  struct Words {
    std::string plan, svg;
  };
  const auto words = std::make_shared<Words>();
  CLI::App* command =
      program.add_subcommand("explain", "Say what the plan implies: steps, routing order, cutter and guide set-up");
  command->add_option("PLAN", words->plan, "The plan file")->required();
  command->add_option("--svg", words->svg, "Also draw the sections into this file")->type_name("FILE.svg");
  command->callback([words, &exit_status] { exit_status = explain(words->plan, words->svg); });
}

}  // namespace rimwright
