#include <nlohmann/json.hpp>

#include "report/comparison_report.h"
#include "report/json_number.h"

namespace rimwright {
namespace {

using Json = nlohmann::ordered_json;

Json side_of(const Pass& pass) {
  return {{"folder", pass.folder}, {"measured_at", pass.measured_at}, {"verdict", std::string(name_of(pass.verdict))}};
}

constexpr const char* face_names[] = {"side", "top", "bevel", "floor", "wall"};

Json cells_of(const PassComparison& comparison) {
  Json cells = {{"face", Json::array()},       {"station_mm", Json::array()},     {"across_mm", Json::array()},
                {"removed_mm", Json::array()}, {"removed_u95_mm", Json::array()}, {"left_mm", Json::array()}};
  for (const RemovalCell& cell : comparison.cells) {
    cells["face"].push_back(face_names[static_cast<std::size_t>(cell.kind)]);
    cells["station_mm"].push_back(number(cell.station_mm));
    cells["across_mm"].push_back(number(cell.across_mm));
    cells["removed_mm"].push_back(number(cell.removed_mm));
    cells["removed_u95_mm"].push_back(number(cell.u95_mm()));
    cells["left_mm"].push_back(number(cell.left_mm));
  }
  return cells;
}

}  // namespace

std::string comparison_json(const Pass& before, const Pass& after, const PassComparison& comparison) {
  Json root;
  root["format"] = "rimwright-comparison/1";
  root["instrument"] = after.instrument;
  root["units"] = "mm";
  root["before"] = side_of(before);
  root["after"] = side_of(after);
  root["station_shift_mm"] = number(comparison.station_shift_mm);
  root["alignment"] = nullptr;
  if (comparison.alignment) {
    root["alignment"] = {{"patches", comparison.alignment->patches},
                         {"disagreement_mm", number(comparison.alignment->rms_mm)},
                         {"scale_after_to_before", comparison.alignment->scale}};
  } else {
    root["no_map_because"] = comparison.no_map_because;
  }
  root["tell_mm"] = number(comparison.tell_mm);
  root["findings"] = Json::array();
  for (const FindingProgress& progress : comparison.progress) {
    root["findings"].push_back({{"feature", progress.finding.feature},
                                {"quantity", progress.finding.quantity},
                                {"from_mm", number(progress.finding.from_mm)},
                                {"to_mm", number(progress.finding.to_mm)},
                                {"progress", std::string(name_of(progress.progress))},
                                {"was_beyond_limit", number(progress.was_mm)},
                                {"is_beyond_limit", number(progress.is_mm)},
                                {"change_u95", number(progress.u95_mm)},
                                {"sentence", progress.sentence}});
  }
  root["stretches"] = Json::array();
  for (const RemovalStretch& stretch : comparison.stretches) {
    root["stretches"].push_back({{"face", face_names[static_cast<std::size_t>(stretch.kind)]},
                                 {"from_mm", number(stretch.from_mm)},
                                 {"to_mm", number(stretch.to_mm)},
                                 {"removed_mm", number(stretch.removed_mm)},
                                 {"removed_u95_mm", number(stretch.u95_mm)},
                                 {"most_removed_mm", number(stretch.most_removed_mm)},
                                 {"cells", stretch.cells}});
  }
  root["passes_left"] = nullptr;
  if (comparison.passes_left) {
    root["passes_left"] = {{"left_mm", number(comparison.passes_left->left_mm)},
                           {"last_pass_mm", number(comparison.passes_left->last_pass_mm)},
                           {"passes", comparison.passes_left->passes}};
  }
  root["notes"] = comparison.notes;
  if (!comparison.passes_left_note.empty()) root["notes"].push_back(comparison.passes_left_note);
  root["cells"] = cells_of(comparison);
  return root.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace rimwright
