#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <exception>
#include <new>
#include <string>
#include <vector>

#include "app/commands.h"
#include "app/messages.h"
#include "core/safe_text.h"
#include "plan/yaml_reader.h"

namespace rimwright {

int report_refusal(const Refusal& refusal) {
  constexpr std::size_t longest = 300;  // names of files may be gigantic
  const Refusal shown{refusal.reason, safe_text_without_middle(refusal.what, longest),
                      safe_text_without_middle(refusal.what_to_do, longest)};
  std::fprintf(messages(), "rimwright: %s\n", shown.sentence().c_str());
  return exit_unusable;
}

namespace {

// CLI11 only says that some command is missing.
Refusal refusal_for(const CLI::App& program, const CLI::ParseError& error, const std::string& first_word) {
  std::vector<std::string> commands;
  for (const CLI::App* command : program.get_subcommands({})) commands.push_back(command->get_name());
  if (first_word.empty()) return {RefusalReason::command_not_valid, "no command is given", "try rimwright --help"};
  const bool known = std::find(commands.begin(), commands.end(), first_word) != commands.end();
  if (known || first_word.starts_with('-')) {
    return {RefusalReason::command_not_valid, error.what(), "try rimwright --help"};
  }
  const auto nearest = nearest_word(first_word, commands);
  return {RefusalReason::command_not_valid, "there is no command " + shown_safely(first_word),
          nearest ? "write '" + *nearest + "' if that is meant" : "try rimwright --help"};
}

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
    return report_refusal(refusal_for(program, error, argc > 1 ? argv[1] : ""));
  }
  return exit_status;
}

}  // namespace
}  // namespace rimwright

int main(int argc, char** argv) {
  rimwright::keep_messages_ours();
  try {
    return rimwright::run(argc, argv);
  } catch (const std::bad_alloc&) {
    std::fputs(
        "rimwright: internal fault: not enough memory; close other programs, or scan or export fewer points; an "
        "earlier "
        "result is untouched.\n",
        rimwright::messages());
    return rimwright::exit_internal;
  } catch (const std::exception& fault) {
    std::fprintf(rimwright::messages(), "rimwright: internal fault: %s; please report it with the plan and the scan.\n",
                 fault.what());
    return rimwright::exit_internal;
  }
}
