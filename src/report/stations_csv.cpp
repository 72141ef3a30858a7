#include "report/stations_csv.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

namespace rimwright {
namespace {

std::string number(double value, int digits) {
  if (!std::isfinite(value)) return "";
  std::array<char, 400> text{};  // the largest double has 309 digits before the point
  const auto end = std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed, digits);
  return {text.data(), end.ptr};
}

struct Row {
  const std::string& feature;
  std::string quantity;
  const char* unit;
  double station_mm;
  const Vector3& at;
  const Measured& measured;
};

class Table {
 public:
  explicit Table(const std::vector<JudgedSeries>& judged) : judged_(judged) {}

  void add(const Row& row) {
    csv_ += csv_cell(row.feature) + ',' + csv_cell(row.quantity) + ',' + number(row.station_mm, 3) + ',' +
            number(row.at.x(), 3) + ',' + number(row.at.y(), 3) + ',' + number(row.at.z(), 3) + ',' +
            number(row.measured.value, 5) + ',' + number(row.measured.u95(), 5) + ',' + row.unit + ',';
    const JudgedStation* station = judged_station(row);
    csv_ += (station ? number(station->lower, 5) : "") + ',' + (station ? number(station->upper, 5) : "") + ',' +
            (station ? std::string(name_of(station->verdict)) : "") + ',' +
            csv_cell(row.measured.is_measured() ? "" : row.measured.why_not.what) + "\r\n";
  }

  std::string csv_ =
      "feature,quantity,station_mm,x_mm,y_mm,z_mm,value,u95,unit,lower_limit,upper_limit,verdict,why_not_measured\r\n";

 private:
  const JudgedStation* judged_station(const Row& row) const {
    for (const JudgedSeries& series : judged_) {
      if (series.feature != row.feature || series.quantity != row.quantity) continue;
      const auto found =
          std::lower_bound(series.stations.begin(), series.stations.end(), row.station_mm,
                           [](const JudgedStation& station, double at_mm) { return station.station_mm < at_mm; });
      if (found != series.stations.end() && found->station_mm == row.station_mm) return &*found;
    }
    return nullptr;
  }

  const std::vector<JudgedSeries>& judged_;
};

}  // namespace

std::string csv_cell(std::string_view text) {
  // A spreadsheet may also split at other separators than the comma, so what follows one counts as a beginning.
  constexpr std::string_view separators = ",;|\t\r\n";
  static constexpr std::array<std::string_view, 12> formula_beginnings{
      "=", "+", "-", "@", "\t", "\r", "\n", {"\0", 1}, "\uFF1D", "\uFF0B", "\uFF0D", "\uFF20"};
  std::string cell;
  bool quoted = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool beginning = i == 0 || separators.find(text[i - 1]) != std::string_view::npos;
    if (beginning && std::any_of(formula_beginnings.begin(), formula_beginnings.end(),
                                 [&](std::string_view sign) { return text.substr(i).starts_with(sign); })) {
      cell += '\'';
    }
    if (text[i] == '"') cell += '"';
    cell += text[i];
    quoted = quoted || text[i] == '"' || separators.find(text[i]) != std::string_view::npos;
  }
  return quoted ? '"' + cell + '"' : cell;
}

std::string stations_csv(const Inspection& inspection) {
  const std::string bevel = "bevel", block = "block";
  Table table(inspection.judged);
  if (inspection.plan.bevel) {
    for (const BevelStation& s : inspection.measures.bevel.stations) {
      table.add({bevel, "angle", "deg", s.station_mm, s.at_scan_mm, s.angle_deg});
      table.add({bevel, "drop", "mm", s.station_mm, s.at_scan_mm, s.drop_mm});
      table.add({bevel, "top reach", "mm", s.station_mm, s.at_scan_mm, s.top_reach_mm});
      table.add({bevel, "straightness", "mm", s.station_mm, s.at_scan_mm, s.straightness_mm});
    }
  }
  if (inspection.plan.block) {
    for (const BlockStation& s : inspection.measures.block) {
      table.add({block, "top left", "mm", s.station_mm, s.at_scan_mm, s.top_left_mm});
      table.add({block, "side left", "mm", s.station_mm, s.at_scan_mm, s.side_left_mm});
    }
  }
  for (const ChannelMeasures& channel : inspection.measures.channels) {
    if (channel.planned_channel >= inspection.plan.channels.size()) continue;
    const std::string& name = inspection.plan.channels[channel.planned_channel].name;
    for (const ChannelStation& s : channel.stations) {
      for (std::size_t step = 0; step < s.steps.size(); ++step) {
        const std::string prefix = "step " + std::to_string(step + 1);
        table.add({name, prefix + " width", "mm", s.station_mm, s.at_scan_mm, s.steps[step].width_mm});
        table.add({name, prefix + " depth", "mm", s.station_mm, s.at_scan_mm, s.steps[step].depth_mm});
      }
    }
  }
  return std::move(table.csv_);
}

}  // namespace rimwright
