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

// Departure of the rim from fair at each station, outward positive, with knots knots_apart_mm apart on average. A
// closed rim is taken a longest wave beyond its seam at both ends.
std::vector<double> departures_from_fair(const RimCurve& curve, const std::vector<double>& station_mm,
                                         double knots_apart_mm, double beyond_mm, const FairCurveSettings& settings) {
  std::vector<double> along = station_mm;
  if (curve.closed()) {
    const double length = curve.length_mm();
    for (const double s : station_mm) {
      if (s < beyond_mm) along.push_back(s + length);
      if (s > length - beyond_mm) along.push_back(s - length);
    }
    std::sort(along.begin(), along.end());
  } else {
    beyond_mm = 0.0;
  }
  const double length_mm = curve.length_mm() + 2.0 * beyond_mm;
  Eigen::MatrixX2d places(static_cast<Eigen::Index>(along.size()), 2);
  for (std::size_t i = 0; i < along.size(); ++i) {
    places.row(static_cast<Eigen::Index>(i)) = curve.point(curve.wrapped(along[i])).transpose();
    along[i] += beyond_mm;
  }
  const auto spans = static_cast<std::size_t>(std::max(1.0, std::round(length_mm / knots_apart_mm)));
  std::vector<double> inner_mm;
  for (std::size_t k = 1; k < spans; ++k)
    inner_mm.push_back(length_mm * static_cast<double>(k) / static_cast<double>(spans));
  const FairSpline spline(along, places, length_mm);
  Eigen::MatrixX2d departures;
  spline.misfit(best_knots(spline, inner_mm, length_mm, settings), &departures);
  const auto first = static_cast<std::size_t>(
      std::lower_bound(along.begin(), along.end(), station_mm.front() + beyond_mm) - along.begin());
  std::vector<double> result(station_mm.size());
  for (std::size_t i = 0; i < result.size(); ++i)
    result[i] = departures.row(static_cast<Eigen::Index>(first + i)).dot(curve.out(station_mm[i]).transpose());
  return result;
}

double steepness(const std::vector<double>& height_mm, const std::vector<double>& station_mm, std::size_t i) {
  const std::size_t before = i > 0 ? i - 1 : i, after = std::min(i + 1, station_mm.size() - 1);
  return after > before ? (height_mm[after] - height_mm[before]) / (station_mm[after] - station_mm[before]) : 0.0;
}

}  // namespace

FairRim fair_rim(const RimCurve& curve, const std::vector<double>& station_mm, double longest_mm,
                 const FairCurveSettings& settings, Workers& workers) {
  const std::size_t count = station_mm.size();
  FairRim fair{std::vector<double>(count, 0.0), std::vector<double>(count, 0.0), std::vector<double>(count, 0.0)};
  if (count == 0) return fair;
  const double apart_mm = std::max(settings.closest_knots_mm, settings.knots_in_longest_wave * longest_mm);
  FairCurveSettings closer = settings;
  closer.closest_knots_mm *= settings.other_knots;
  std::vector<double> other;
  workers.do_all(
      {[&] { fair.unfairness_mm = departures_from_fair(curve, station_mm, apart_mm, longest_mm, settings); },
       [&] { other = departures_from_fair(curve, station_mm, apart_mm * settings.other_knots, longest_mm, closer); }});
  for (std::size_t i = 0; i < count; ++i) {
    const double turn = std::atan(steepness(fair.unfairness_mm, station_mm, i));
    const double u = std::hypot(settings.least_turn_u_rad, turn - std::atan(steepness(other, station_mm, i)));
    fair.turn_u_rad[i] = u;
    bool follows = true;
    for (std::size_t j = i; j-- > 0 && station_mm[i] - station_mm[j] < apart_mm;)
      follows = follows && std::abs(fair.unfairness_mm[j]) < settings.farthest_mm;
    for (std::size_t j = i; j < count && station_mm[j] - station_mm[i] < apart_mm; ++j)
      follows = follows && std::abs(fair.unfairness_mm[j]) < settings.farthest_mm;
    if (!follows)
      fair.turn_u_rad[i] = settings.least_turn_u_rad;
    else if (std::abs(turn) > 2.0 * u)
      fair.turn_rad[i] = turn;
  }
  return fair;
}

std::vector<SectionTurn> section_turns(const FairRim& fair, const UnrolledRim& rim,
                                       const std::vector<double>& station_mm) {
  std::vector<SectionTurn> turns(station_mm.size());
  for (std::size_t i = 0; i < turns.size(); ++i) {
    const double s = station_mm[i];
    turns[i] = {fair.turn_rad[i], fair.turn_u_rad[i], rim.curve.curvature(s),
                0.5 * (rim.rim_height_mm(s + 1.0) - rim.rim_height_mm(s - 1.0))};
  }
  return turns;
}

}  // namespace rimwright
