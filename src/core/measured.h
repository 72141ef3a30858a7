// A measured quantity with its uncertainty budget, or the reason why there is none.
//
// Terms follow the GUM (JCGM 100:2008): standard uncertainty u, combined by root sum of squares; effective degrees
// of freedom by Welch-Satterthwaite (G.4.1, formula G.2b); expanded uncertainty U95 = k u with k from Student's t.
#pragma once

#include <array>
#include <cstddef>
#include <limits>
#include <string>
#include <string_view>

#include "core/refusal.h"

namespace rimwright {

// The sources an uncertainty is split into. Only point_noise averages out with more points or a longer stretch.
enum class UncertaintySource {
  point_noise,      // independent noise of the points, through the fit
  correlated,       // noise shared by neighbouring points; falls with area, not with count
  reference_faces,  // extrapolating top and side to their corner, dome and lean
  face_form,        // the face is not quite what the model says; rounded corners
  scale,            // relative scale of the capture
  capture,          // slow warp, camera or sensor bias
};
inline constexpr std::size_t uncertainty_source_count = 6;
[[nodiscard]] std::string_view name_of(UncertaintySource source);          // stable key: "point_noise"
[[nodiscard]] std::string_view plain_words_for(UncertaintySource source);  // "the scale of the target or the units"

// k for 95 % coverage at the given effective degrees of freedom (two-sided Student's t; 1.96 for infinity).
// Degrees of freedom below 1 are taken as 1.
[[nodiscard]] double coverage_factor_95(double degrees_of_freedom);

struct Measured {
  double value = std::numeric_limits<double>::quiet_NaN();
  std::array<double, uncertainty_source_count> standard_u{};  // by UncertaintySource, in the unit of value
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
  std::size_t points_used = 0;
  std::size_t points_rejected = 0;
  Refusal why_not{RefusalReason::not_seen, "not measured", ""};  // meaningful only while !is_measured()

  [[nodiscard]] static Measured not_measured(RefusalReason reason, std::string what, std::string what_to_do = "");

  [[nodiscard]] bool is_measured() const { return value == value; }
  [[nodiscard]] double u(UncertaintySource source) const { return standard_u[static_cast<std::size_t>(source)]; }
  double& u(UncertaintySource source) { return standard_u[static_cast<std::size_t>(source)]; }
  [[nodiscard]] double combined_u() const;  // root sum of squares
  [[nodiscard]] double u95() const;         // NaN while not measured
  [[nodiscard]] UncertaintySource largest_source() const;
};

}  // namespace rimwright
