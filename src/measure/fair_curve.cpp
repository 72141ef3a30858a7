#include "measure/fair_curve.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>

namespace rimwright {

namespace {

// Least-squares cubic spline through places of the rim, on given inner knots.
class FairSpline {
 public:
  FairSpline(const std::vector<double>& station_mm, const Eigen::MatrixX2d& places, double length_mm)
      : station_mm_(station_mm), places_(places), length_mm_(length_mm) {}

  // Sum of squared departures, mm^2; the departures themselves if asked for.
  double misfit(const std::vector<double>& inner_mm, Eigen::MatrixX2d* departures = nullptr) const {
    std::vector<double> knots(4, 0.0);
    knots.insert(knots.end(), inner_mm.begin(), inner_mm.end());
    knots.insert(knots.end(), 4, length_mm_);
    const auto terms = static_cast<Eigen::Index>(knots.size()) - 4;
    Eigen::MatrixXd normal = 1e-9 * Eigen::MatrixXd::Identity(terms, terms);
    Eigen::MatrixX2d right = Eigen::MatrixX2d::Zero(terms, 2);
    std::vector<std::array<double, 4>> basis(station_mm_.size());
    std::vector<Eigen::Index> first(station_mm_.size());
    std::size_t span = 3;
    for (std::size_t i = 0; i < station_mm_.size(); ++i) {
      const double s = std::clamp(station_mm_[i], 0.0, length_mm_ * (1.0 - 1e-12));
      while (s >= knots[span + 1]) ++span;
      basis[i] = basis_at(knots, span, s);
      first[i] = static_cast<Eigen::Index>(span) - 3;
      const Eigen::Map<const Eigen::Vector4d> row(basis[i].data());
      normal.block<4, 4>(first[i], first[i]) += row * row.transpose();
      right.middleRows<4>(first[i]) += row * places_.row(static_cast<Eigen::Index>(i));
    }
    const Eigen::MatrixX2d ordinates = normal.ldlt().solve(right);
    if (departures) departures->resize(places_.rows(), 2);
    double sum = 0.0;
    for (std::size_t i = 0; i < station_mm_.size(); ++i) {
      const Eigen::Map<const Eigen::Vector4d> row(basis[i].data());
      const Eigen::RowVector2d left =
          places_.row(static_cast<Eigen::Index>(i)) - row.transpose() * ordinates.middleRows<4>(first[i]);
      sum += left.squaredNorm();
      if (departures) departures->row(static_cast<Eigen::Index>(i)) = left;
    }
    return sum;
  }

 private:
  // The four cubic B-splines that are not zero between knots[span] and knots[span + 1] (Cox and de Boor's recursion).
  static std::array<double, 4> basis_at(const std::vector<double>& knots, std::size_t span, double s) {
    std::array<double, 4> basis{1.0, 0.0, 0.0, 0.0};
    for (std::size_t degree = 1; degree <= 3; ++degree) {
      double carried = 0.0;
      for (std::size_t k = 0; k < degree; ++k) {
        const double right = knots[span + k + 1], left = knots[span + k + 1 - degree];
        const double share = basis[k] / (right - left);
        basis[k] = carried + (right - s) * share;
        carried = (s - left) * share;
      }
      basis[degree] = carried;
    }
    return basis;
  }

  const std::vector<double>& station_mm_;
  const Eigen::MatrixX2d& places_;
  double length_mm_;
};

// Moves each inner knot, in ever smaller steps, to where the misfit is least.
std::vector<double> best_knots(const FairSpline& spline, std::vector<double> inner_mm, double length_mm,
                               const FairCurveSettings& settings) {
  double least = spline.misfit(inner_mm);
  const auto has_room = [&](std::size_t k, double at_mm) {
    const double before = k > 0 ? inner_mm[k - 1] : 0.0;
    const double after = k + 1 < inner_mm.size() ? inner_mm[k + 1] : length_mm;
    return at_mm >= before + settings.closest_knots_mm && at_mm <= after - settings.closest_knots_mm;
  };
  for (int round = 0; round < settings.rounds; ++round)
    for (std::size_t k = 0; k < inner_mm.size(); ++k)
      for (double step = settings.farthest_move_mm; step > settings.farthest_move_mm / 20.0; step /= 2.0)
        for (const double way : {-step, step}) {
          const double kept = inner_mm[k];
          if (!has_room(k, kept + way)) continue;
          inner_mm[k] = kept + way;
          const double misfit = spline.misfit(inner_mm);
          if (misfit < least)
            least = misfit;
          else
            inner_mm[k] = kept;
        }
  return inner_mm;
}

}  // namespace

std::vector<double> unfairness_of_curve(const RimCurve& curve, const std::vector<double>& station_mm, double longest_mm,
                                        const FairCurveSettings& settings) {
  const double length_mm = curve.length_mm();
  Eigen::MatrixX2d places(static_cast<Eigen::Index>(station_mm.size()), 2);
  for (std::size_t i = 0; i < station_mm.size(); ++i)
    places.row(static_cast<Eigen::Index>(i)) = curve.point(station_mm[i]).transpose();
  const double knots_apart_mm = std::max(settings.closest_knots_mm, settings.knots_in_longest_wave * longest_mm);
  const auto spans = static_cast<std::size_t>(std::max(1.0, std::round(length_mm / knots_apart_mm)));
  std::vector<double> inner_mm;
  for (std::size_t k = 1; k < spans; ++k)
    inner_mm.push_back(length_mm * static_cast<double>(k) / static_cast<double>(spans));
  const FairSpline spline(station_mm, places, length_mm);
  Eigen::MatrixX2d departures;
  spline.misfit(best_knots(spline, inner_mm, length_mm, settings), &departures);
  std::vector<double> result(station_mm.size());
  for (std::size_t i = 0; i < result.size(); ++i)
    result[i] = departures.row(static_cast<Eigen::Index>(i)).dot(curve.out(station_mm[i]).transpose());
  return result;
}

}  // namespace rimwright
