// A refusal: why something cannot be done, what was seen, and what to do next.
//
// Refusals are values. A function that can refuse returns Outcome<T>; the caller hands the refusal on
// unchanged until it reaches the program's edge (exit status 2 and one sentence) or the report.
#pragma once

#include <string>
#include <string_view>
#include <tl/expected.hpp>
#include <utility>

namespace rimwright {

// The complete list of reasons. Add one only when no listed reason tells the user what kind of thing went wrong.
enum class RefusalReason {
  file_not_found,
  file_not_readable,
  file_truncated,
  file_malformed,       // breaks its own format
  file_not_supported,   // a valid file of a kind we do not read
  file_over_limit,      // claims or holds more than the stated limit
  output_not_writable,  // folder missing, read-only, disk full
  command_not_valid,    // the command line's words are off
  plan_not_valid,       // unknown or missing key, wrong type, impossible size
  settings_not_valid,
  too_few_points,
  shape_degenerate,  // coincident points, a line, a plane, a ball
  no_top_found,
  no_side_found,
  no_rim_found,
  units_doubtful,
  scale_unknown,
  capture_insufficient,  // photos or depth frames that cannot be measured
  not_seen,              // the scan does not cover the place
  not_present,           // the feature is not there
  not_separable,         // seen, but the noise or spacing hides it
};

[[nodiscard]] std::string_view name_of(RefusalReason reason);

struct Refusal {
  RefusalReason reason = RefusalReason::not_seen;
  std::string what;        // what was seen, and where: "line 3: the header promises 10 points, the file holds 4"
  std::string what_to_do;  // the next step, an imperative: "export the scan again"

  // One sentence for a person: "<what>; <what_to_do>."
  [[nodiscard]] std::string sentence() const;
};

template <class T>
using Outcome = tl::expected<T, Refusal>;

[[nodiscard]] inline tl::unexpected<Refusal> refuse(RefusalReason reason, std::string what, std::string what_to_do) {
  return tl::unexpected<Refusal>(Refusal{reason, std::move(what), std::move(what_to_do)});
}

}  // namespace rimwright
