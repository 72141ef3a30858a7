#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <exception>
#include <string>

#include "app/commands.h"

namespace rimwright {

int report_refusal(const Refusal& refusal) {
  std::string sentence = refusal.sentence();
  std::replace_if(
      sentence.begin(), sentence.end(), [](unsigned char c) { return c < 0x20 || c == 0x7f; }, ' ');
  std::fprintf(stderr, "rimwright: %s\n", sentence.c_str());
  return exit_unusable;
}

namespace {

int run(int argc, char** argv) {
  CLI::App program{"rimwright holds a scan of an arm bevel and its channels against the plan."};
  program.set_version_flag("--version", "rimwright " RIMWRIGHT_VERSION);
  program.require_subcommand(1);
  int exit_status = exit_pass;
  add_compare_command(program, exit_status);
  add_explain_command(program, exit_status);
  add_history_command(program, exit_status);
  add_target_command(program, exit_status);
  add_inspect_command(program, exit_status);
  add_simulate_command(program, exit_status);

  try {
    program.parse(argc, argv);
  } catch (const CLI::Success& answered) {  // --help and --version
    return program.exit(answered);
  } catch (const CLI::ParseError& error) {
    return report_refusal({RefusalReason::command_not_valid, error.what(), "try rimwright --help"});
  }
  return exit_status;
}

}  // namespace
}  // namespace rimwright

int main(int argc, char** argv) {
  try {
    return rimwright::run(argc, argv);
  } catch (const std::exception& fault) {
    std::fprintf(stderr, "rimwright: internal fault: %s; please report it with the plan and the scan.\n", fault.what());
    return rimwright::exit_internal;
  }
}
