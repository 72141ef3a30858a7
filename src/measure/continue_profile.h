// Continue: a profile known along a stretch, carried on beyond its ends and across its gaps, and how sure that is.
//
// A filter that is longer than the distance to an end needs what lies beyond it, where the run-out hides the face's
// waves. They go on as waves of their own height and length do: the profile is taken as a sample of a Gaussian process
// with correlation exp(-x^2 / (2 l^2)), whose height and length l come from the profile itself (Rice 1944: l is the
// ratio of its standard deviation to that of its slope); what is not seen follows by conditioning on what is (Rasmussen
// and Williams 2006, equations 2.23 and 2.24). A profile without waves goes on level, and surely so.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace rimwright {

struct ContinuedProfile {
  std::vector<double> heights_mm;     // beyond_samples more at each end, gaps filled; samples that are seen as they are
  std::vector<std::size_t> unseen;    // indices of the others
  Eigen::MatrixXd unseen_covariance;  // mm^2, in their order
};

// NaN samples are not seen; at least two are. white_u_mm: standard uncertainty of a sample. l is held between
// shortest_mm and longest_mm.
[[nodiscard]] ContinuedProfile continue_profile(const std::vector<double>& profile, double step_mm,
                                                std::size_t beyond_samples, double white_u_mm, double shortest_mm,
                                                double longest_mm);

}  // namespace rimwright
