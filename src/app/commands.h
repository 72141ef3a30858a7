// The program's commands, one file each: arguments, progress and exit status, nothing else.
//
// An add_... function adds its subcommand to the program; when the subcommand runs it sets exit_status:
// 0 passes, 1 out of tolerance, 3 undecided, 2 command, plan or scan cannot be used, 4 internal fault.
#pragma once

#include "core/refusal.h"

namespace CLI {
class App;
}

namespace rimwright {

inline constexpr int exit_pass = 0;
inline constexpr int exit_fail = 1;
inline constexpr int exit_unusable = 2;
inline constexpr int exit_undecided = 3;
inline constexpr int exit_internal = 4;

// Prints "rimwright: <sentence>" on standard error, on one line whatever the text holds, and returns exit_unusable.
int report_refusal(const Refusal& refusal);

void add_compare_command(CLI::App& program, int& exit_status);
void add_inspect_command(CLI::App& program, int& exit_status);
void add_explain_command(CLI::App& program, int& exit_status);
void add_history_command(CLI::App& program, int& exit_status);
void add_target_command(CLI::App& program, int& exit_status);
void add_simulate_command(CLI::App& program, int& exit_status);

}  // namespace rimwright
