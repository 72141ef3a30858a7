// rimwright target: writes the printable scale target.
#include <CLI/CLI.hpp>
#include <memory>
#include <string>

#include "app/commands.h"
#include "capture/scale_target.h"
#include "pipelines/read_settings.h"

namespace rimwright {

void add_target_command(CLI::App& program, int& exit_status) {
  struct Words {
    std::string paper = "a4";
    std::string out = "scale-target.pdf";
    std::string settings;
  };
  const auto words = std::make_shared<Words>();
  CLI::App* command = program.add_subcommand("target", "Write a printable scale target for photos (PDF at true size)");
  command->add_option("--paper", words->paper, "Size of the sheet")
      ->check(CLI::IsMember({"a4", "letter"}, CLI::ignore_case))
      ->capture_default_str();
  command->add_option("--out", words->out, "File to write")->type_name("FILE.pdf")->capture_default_str();
  command->add_option("--settings", words->settings, "A settings file (YAML) that describes another board")
      ->type_name("FILE");
  command->callback([words, &exit_status] {
    const Paper paper = CLI::detail::to_lower(words->paper) == "letter" ? Paper::letter : Paper::a4;
    ScaleTarget board;
    if (!words->settings.empty()) {
      const auto settings = read_settings(words->settings);
      if (!settings) {
        exit_status = report_refusal(settings.error());
        return;
      }
      board = settings->capture.photos.target;
    }
    const auto written = write_scale_target(board, paper, words->out);
    exit_status = written ? exit_pass : report_refusal(written.error());
  });
}

}  // namespace rimwright
