// Writes the result folder of a hand-made inspection, for looking at and for the browser tests.
// usage: write_made_report OUT [defects|sound|undecided|inch|client|hostile|empty|long]
#include <cstdio>
#include <string>

#include "judge/findings.h"
#include "made_inspection.h"
#include "report/write_result.h"

int main(int argc, char** argv) {
  using namespace rimwright;
  if (argc < 2) return 2;
  const std::string kind = argc > 2 ? argv[2] : "defects";
  MadeSettings settings;
  settings.with_defects = kind != "sound";
  settings.undecided_depths = kind == "undecided";
  if (kind == "inch") settings.units = LengthUnit::inch;
  if (kind == "long") settings.rim_mm = 1500.0;
  Inspection inspection = kind == "empty" ? Inspection{} : made_inspection(settings);
  ReportContext context = made_context();
  context.for_client = kind == "client";
  if (kind == "hostile") {
    const std::string hostile =
        "<script>window.hit=1</script>\"'><img src=x onerror=window.hit=1>&amp; \xD7\xA9\xD7\x9C\xD7\x95\xD7\x9D "
        "\xE2\x80\xAE"
        "gnp.elif</script><!--@DATA@";
    inspection.plan.instrument = hostile + std::string(10'000, 'w');
    for (PlannedChannel& channel : inspection.plan.channels) {
      channel.name = hostile + channel.name;
      for (Strip& strip : channel.strips) strip.name = hostile;
    }
    for (Finding& finding : inspection.findings) finding.feature = hostile, finding.advice = hostile + finding.advice;
    inspection.scale.source = hostile;
    inspection.capture_notes = {hostile, "bad \xFF\xFE bytes"};
    context.scan_name = hostile;
  }
  Workers workers;
  const Outcome<void> written = write_result(inspection, context, argv[1], workers);
  if (!written) std::fprintf(stderr, "%s\n", written.error().sentence().c_str());
  return written ? 0 : 1;
}
