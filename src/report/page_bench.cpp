#include "report/page_bench.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "judge/compare.h"
#include "judge/cut_list.h"
#include "judge/dry_fit.h"
#include "judge/ready_to_glue.h"
#include "judge/sanding_block.h"
#include "judge/words.h"
#include "report/json_number.h"

namespace rimwright {
namespace {

using Json = nlohmann::ordered_json;

// One for each planned channel; one that was not measured has no stations.
std::vector<DryFit> dry_fits(const Inspection& inspection) {
  DryFitSettings settings;
  settings.units = inspection.plan.units;
  std::vector<DryFit> fits;
  for (std::size_t i = 0; i < inspection.plan.channels.size(); ++i) {
    ChannelMeasures none;
    none.planned_channel = i;
    const ChannelMeasures* measured = &none;
    for (const ChannelMeasures& channel : inspection.measures.channels) {
      if (channel.planned_channel == i) measured = &channel;
    }
    fits.push_back(dry_fit(inspection.plan.channels[i], *measured, settings));
  }
  return fits;
}

void add_plan(const Plan& plan, Json& page) {
  page["channels"] = Json::array();
  for (const PlannedChannel& channel : plan.channels) {
    Json entry;
    entry["name"] = channel.name;
    entry["corner"] = std::string(name_of(channel.corner));
    entry["glue_mm"] = channel.glue_mm;
    entry["proud_mm"] = channel.proud_mm;
    entry["strips"] = Json::array();
    for (const Strip& strip : channel.strips) {
      entry["strips"].push_back({{"name", strip.name},
                                 {"thickness_mm", strip.thickness_mm},
                                 {"height_mm", strip.height_mm},
                                 {"later", strip.later}});
    }
    entry["steps"] = Json::array();
    for (const PlannedStep& step : channel.steps) {
      entry["steps"].push_back({{"first_strip", step.first_strip}, {"last_strip", step.last_strip}});
    }
    page["channels"].push_back(std::move(entry));
  }
}

void add_fits(const std::vector<DryFit>& fits, LengthUnit units, Json& page) {
  page["fits"] = Json::array();
  for (const DryFit& fit : fits) {
    Json one;
    one["channel"] = fit.planned_channel;
    one["summary"] = fit.summary;
    one["mends"] = Json::array();
    for (const Mend& mend : fit.mends) {
      one["mends"].push_back(stretch_words(mend.from_mm, mend.to_mm, units) + ": " + mend.sentence);
    }
    one["stations"] = Json::array();
    for (const StationFit& station : fit.stations) {
      Json steps = Json::array();
      for (const StepFit& step : station.steps) {
        steps.push_back({{"proud_mm", number(step.proud_mm)},
                         {"gap_under_mm", number(step.gap_under_mm)},
                         {"gap_behind_mm", number(step.gap_behind_mm)}});
      }
      one["stations"].push_back({{"station_mm", number(station.station_mm)}, {"steps", std::move(steps)}});
    }
    page["fits"].push_back(std::move(one));
  }
}

// Where each feature runs along the rim, for the drawing in plan.
void add_extents(const Measures& measures, const Plan& plan, Json& page) {
  page["extents"] = Json::array();
  const auto add = [&](const std::string& name, const auto& stations) {
    constexpr double break_mm = 8.0;
    for (std::size_t i = 0; i < stations.size();) {
      std::size_t end = i;
      while (end + 1 < stations.size() && stations[end + 1].station_mm - stations[end].station_mm < break_mm) ++end;
      page["extents"].push_back(
          {{"name", name}, {"from_mm", number(stations[i].station_mm)}, {"to_mm", number(stations[end].station_mm)}});
      i = end + 1;
    }
  };
  add("bevel", measures.bevel.stations);
  for (const ChannelMeasures& channel : measures.channels) {
    if (channel.planned_channel < plan.channels.size())
      add(plan.channels[channel.planned_channel].name, channel.stations);
  }
}

void add_fullest(const Inspection& inspection, Json& page) {
  page["fullest_mm"] = {1.0, 0.0};
  if (!inspection.plan.bevel) return;
  const FullestStretch fullest =
      find_fullest(inspection.measures.bevel.stations, inspection.plan.bevel->drop_mm.upper_limit());
  if (fullest.is_known()) page["fullest_mm"] = {number(fullest.from_mm), number(fullest.to_mm)};
}

// For the builder's own block and a few common lengths beside it.
void add_sanding(const Inspection& inspection, const ReportContext& context, Json& page) {
  std::vector<double> lengths_mm{context.sanding_block_mm};
  for (const double length_mm : {60.0, 100.0, 150.0, 250.0}) {
    if (std::abs(length_mm - context.sanding_block_mm) > 1.0) lengths_mm.push_back(length_mm);
  }
  std::sort(lengths_mm.begin(), lengths_mm.end());
  page["sanding"] = Json::array();
  for (const double length_mm : lengths_mm) {
    SandingSettings settings;
    settings.block_length_mm = length_mm;
    const SandingBlock sanded = sand_with_block(inspection.plan, inspection.measures, settings);
    if (sanded.stations.size() < 2) return;
    Json stations = Json::array();
    for (const SandedStation& station : sanded.stations) {
      stations.push_back({number(station.station_mm), number(station.deepest_mark_mm), number(station.to_take_off_mm)});
    }
    page["sanding"].push_back({{"block_length_mm", sanded.block_length_mm},
                               {"own", std::abs(length_mm - context.sanding_block_mm) < 1e-9},
                               {"stations", std::move(stations)},
                               {"sentences", sanded.sentences}});
  }
}

// The checklist before glue and the strips to cut.
void add_gluing(const Inspection& inspection, const std::vector<DryFit>& fits, Json& page) {
  const GlueCheck check = ready_to_glue(inspection, fits);
  page["glue"] = {{"ready", std::string(name_of(check.ready))}, {"items", Json::array()}};
  for (const GlueCheckItem& item : check.items) {
    page["glue"]["items"].push_back(
        {{"kind", std::string(name_of(item.kind))}, {"feature", item.feature}, {"text", item.text}});
  }
  const CutList list = cut_list(inspection.plan, inspection.measures, inspection.scale);
  page["cut"] = {{"pieces", Json::array()}, {"notes", list.notes}};
  for (const CutPiece& piece : list.pieces) {
    if (piece.planned_channel >= inspection.plan.channels.size()) continue;
    const PlannedChannel& channel = inspection.plan.channels[piece.planned_channel];
    if (piece.strip >= channel.strips.size()) continue;
    page["cut"]["pieces"].push_back({{"channel", channel.name},
                                     {"strip", channel.strips[piece.strip].name},
                                     {"from_mm", number(piece.from_mm)},
                                     {"to_mm", number(piece.to_mm)},
                                     {"cut_mm", number(piece.cut_mm)},
                                     {"note", piece.note}});
  }
}

}  // namespace

void add_bench_facts(const Inspection& inspection, const ReportContext& context, Json& page) {
  add_fullest(inspection, page);
  add_extents(inspection.measures, inspection.plan, page);
  const std::vector<DryFit> fits = dry_fits(inspection);
  add_plan(inspection.plan, page);
  add_fits(fits, inspection.plan.units, page);
  add_sanding(inspection, context, page);
  add_gluing(inspection, fits, page);
}

}  // namespace rimwright
