#include "core/measured.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace rimwright {

std::string_view name_of(UncertaintySource source) {
  switch (source) {
    case UncertaintySource::point_noise: return "point_noise";
    case UncertaintySource::correlated: return "correlated";
    case UncertaintySource::reference_faces: return "reference_faces";
    case UncertaintySource::face_form: return "face_form";
    case UncertaintySource::scale: return "scale";
    case UncertaintySource::capture: return "capture";
  }
  return "unknown";
}

std::string_view plain_words_for(UncertaintySource source) {
  switch (source) {
    case UncertaintySource::point_noise: return "scatter of the scanned points";
    case UncertaintySource::correlated: return "scan error shared by neighbouring points";
    case UncertaintySource::reference_faces: return "extending the top and side to their corner";
    case UncertaintySource::face_form: return "the form of the face, not quite flat or rounded at its corners";
    case UncertaintySource::scale: return "the scale of the scan";
    case UncertaintySource::capture: return "slow distortion of the capture";
  }
  return "unknown";
}

double coverage_factor_95(double degrees_of_freedom) {
  constexpr double normal_limit = 1e6;  // beyond this Student's t equals the normal distribution to six digits
  if (!(degrees_of_freedom < normal_limit)) return 1.959963984540054;
  if (degrees_of_freedom > 200.0) {
    // Abramowitz, Stegun, 26.7.5, the quantile by powers of 1 / dof, z = 1.96: the next term is below 1e-9 here.
    const double n = 1.0 / degrees_of_freedom;
    return 1.959963984540054 + n * (2.3722712303 + n * (2.822498616 + n * (2.55584968 + n * 1.5895341)));
  }
  return boost::math::quantile(boost::math::students_t(std::max(1.0, degrees_of_freedom)), 0.975);
}

Measured Measured::not_measured(RefusalReason reason, std::string what, std::string what_to_do) {
  Measured result;
  result.why_not = Refusal{reason, std::move(what), std::move(what_to_do)};
  return result;
}

double Measured::combined_u() const {
  double sum = 0.0;
  for (const double component : standard_u) sum += component * component;
  return std::sqrt(sum);
}

double Measured::u95() const {
  if (!is_measured()) return std::numeric_limits<double>::quiet_NaN();
  return coverage_factor_95(degrees_of_freedom) * combined_u();
}

UncertaintySource Measured::largest_source() const {
  const auto largest = std::max_element(standard_u.begin(), standard_u.end());
  return static_cast<UncertaintySource>(largest - standard_u.begin());
}

}  // namespace rimwright
