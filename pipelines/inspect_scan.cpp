#include "pipelines/inspect_scan.h"

namespace rimwright {

Outcome<Inspection> inspect_scan(Cloud cloud, const Plan& plan, const InspectSettings& settings, Workers& workers) {
  const Scale scale = cloud.scale;
  const ReadingCounts counts = cloud.counts;
  const std::vector<std::string> notes = cloud.notes;
  auto measures = measure_rim(std::move(cloud), expected_from(plan), settings.measure, workers);
  if (!measures) return tl::unexpected(measures.error());
  auto judged = compare(plan, *measures, settings.compare);
  auto findings = find_and_advise(plan, *measures, judged, settings.findings);
  const Verdict verdict = overall_verdict(findings, judged);
  return Inspection{plan, std::move(*measures), std::move(judged), verdict, std::move(findings), scale, counts, notes};
}

Expected expected_from(const Plan& plan) {
  Expected expected;
  if (plan.bevel) {
    ExpectedBevel bevel{radians_from_degrees(plan.bevel->angle_deg.nominal), plan.bevel->drop_mm.nominal};
    if (plan.bevel->waviness) {
      bevel.shortest_wave_mm = plan.bevel->waviness->band.shortest_mm;
      bevel.longest_wave_mm = plan.bevel->waviness->band.longest_mm;
    }
    if (plan.bevel->edge_fairness) {
      bevel.shortest_edge_wave_mm = plan.bevel->edge_fairness->band.shortest_mm;
      bevel.longest_edge_wave_mm = plan.bevel->edge_fairness->band.longest_mm;
    }
    expected.bevel = bevel;
  }
  if (plan.block) expected.block = ExpectedBlock{plan.block->top_mm, plan.block->side_mm};
  for (const auto& channel : plan.channels) {
    ExpectedChannel out;
    switch (channel.corner) {
      case ChannelCorner::top_side: out.corner = ExpectedCorner::top_side; break;
      case ChannelCorner::top_bevel: out.corner = ExpectedCorner::top_bevel; break;
      case ChannelCorner::side_bevel: out.corner = ExpectedCorner::side_bevel; break;
    }
    for (const auto& step : channel.steps) out.steps.push_back({step.width_mm, step.depth_mm});
    expected.channels.push_back(std::move(out));
  }
  return expected;
}

}  // namespace rimwright
