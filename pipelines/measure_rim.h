// From a cloud to measures: orient, fit the top again, outline, unroll, segment, name, fit, measure.
#pragma once

#include "core/cloud.h"
#include "core/parallel.h"
#include "measure/doubt_fits.h"
#include "measure/expected.h"
#include "measure/fair_curve.h"
#include "measure/find_torn.h"
#include "measure/fit_faces.h"
#include "measure/measure_bevel.h"
#include "measure/measures.h"
#include "measure/name_faces.h"
#include "measure/segment_sections.h"
#include "rim/gather_cells.h"
#include "rim/orient.h"
#include "rim/refit_top.h"
#include "rim/trace_outline.h"
#include "rim/unroll.h"

namespace rimwright {

struct MeasureRimSettings {
  GatherSettings gather;
  OrientSettings orient;
  RefitTopSettings refit_top;
  OutlineSettings outline;
  UnrollSettings unroll;
  SegmentSettings segment;
  NameSettings name;
  FitSettings fit;
  DoubtSettings doubt;
  BevelSettings bevel;
  FairCurveSettings fair;
  TornSettings torn;
};

// Refuses what orient and outline refuse (no top, no side, no rim), and no_rim_found where no section shows both.
[[nodiscard]] Outcome<Measures> measure_rim(Cloud cloud, const Expected& expected, const MeasureRimSettings& settings,
                                            Workers& workers);

}  // namespace rimwright
