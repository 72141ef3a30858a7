#include "core/refusal.h"

namespace rimwright {

std::string_view name_of(RefusalReason reason) {
  switch (reason) {
    case RefusalReason::file_not_found: return "file not found";
    case RefusalReason::file_not_readable: return "file not readable";
    case RefusalReason::file_truncated: return "file truncated";
    case RefusalReason::file_malformed: return "file malformed";
    case RefusalReason::file_not_supported: return "file not supported";
    case RefusalReason::file_over_limit: return "file over limit";
    case RefusalReason::output_not_writable: return "output not writable";
    case RefusalReason::command_not_valid: return "command not valid";
    case RefusalReason::plan_not_valid: return "plan not valid";
    case RefusalReason::settings_not_valid: return "settings not valid";
    case RefusalReason::too_few_points: return "too few points";
    case RefusalReason::shape_degenerate: return "shape degenerate";
    case RefusalReason::no_top_found: return "no top found";
    case RefusalReason::no_side_found: return "no side found";
    case RefusalReason::no_rim_found: return "no rim found";
    case RefusalReason::units_doubtful: return "units doubtful";
    case RefusalReason::scale_unknown: return "scale unknown";
    case RefusalReason::capture_insufficient: return "capture insufficient";
    case RefusalReason::not_seen: return "not seen";
    case RefusalReason::not_present: return "not present";
    case RefusalReason::not_separable: return "not separable";
  }
  return "unknown";
}

std::string Refusal::sentence() const { return what_to_do.empty() ? what + "." : what + "; " + what_to_do + "."; }

}  // namespace rimwright
