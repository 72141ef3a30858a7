// rimwright history: the passes of one instrument, oldest first.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "app/commands.h"
#include "core/write_whole.h"
#include "report/history_report.h"
#include "report/keep_result.h"
#include "report/read_results.h"

namespace rimwright {
namespace {

int history(const std::string& folder, const std::string& out) {
  const Outcome<std::vector<std::string>> folders = kept_passes(folder);
  if (!folders) return report_refusal(folders.error());
  std::vector<Pass> passes;
  std::vector<std::string> notes;
  std::optional<Refusal> first_refusal;
  for (const std::string& pass_folder : *folders) {
    Outcome<Pass> pass = read_results(pass_folder);
    if (!pass) {
      notes.push_back("left out: " + pass.error().sentence());
      if (!first_refusal) first_refusal = pass.error();
      continue;
    }
    pass->faces = {};  // the course of the quantities needs no points
    if (!passes.empty() && passes.back().instrument != pass->instrument) {
      notes.push_back(pass_folder + " is of another instrument than the pass before it");
    }
    passes.push_back(std::move(*pass));
  }
  if (passes.empty() && first_refusal) return report_refusal(*first_refusal);
  if (passes.empty()) {
    return report_refusal(
        {RefusalReason::file_not_found, folder + " holds no passes", "keep results there with inspect --keep"});
  }
  const std::vector<Course> courses = courses_of(passes);
  const std::string text = history_text(passes, courses, notes);
  std::fwrite(text.data(), 1, text.size(), stdout);
  std::error_code error;
  if (!out.empty()) std::filesystem::create_directories(out, error);
  const std::string page = (std::filesystem::path(out.empty() ? folder : out) / "history.html").string();
  const Outcome<void> written = write_whole(page, history_page(passes, courses, notes));
  if (!written && !out.empty()) return report_refusal(written.error());
  std::printf("%s%s\n", written ? "page: " : "no page: ", written ? page.c_str() : written.error().sentence().c_str());
  return exit_pass;
}

}  // namespace

void add_history_command(CLI::App& program, int& exit_status) {
  struct Words {
    std::string folder, out;
  };
  const auto words = std::make_shared<Words>();
  CLI::App* command = program.add_subcommand("history", "List the passes kept of one instrument, oldest first");
  command->add_option("FOLDER", words->folder, "Folder that inspect --keep writes to")->required();
  command->add_option("--out", words->out, "Folder for history.html (default: FOLDER itself)");
  command->callback([words, &exit_status] { exit_status = history(words->folder, words->out); });
}

}  // namespace rimwright
