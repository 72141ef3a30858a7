#include "rim/trace_outline.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <deque>
#include <map>
#include <string>

#include "core/median.h"

namespace rimwright {

namespace {

struct WallPoint {
  Vector2 plan;
  Vector2 out;
  double up_mm;  // below the top there: negative
};

std::vector<WallPoint> wall_points(const SurfaceCells& cells, const Orientation& orientation) {
  std::vector<WallPoint> points;
  for (std::size_t k = 0; k < orientation.wall_cells.size(); ++k) {
    const Vector3 p = orientation.T_body_scan * cells.cells[orientation.wall_cells[k]].mean_mm.cast<double>();
    points.push_back({p.head<2>(), orientation.wall_out[k], p.z() - orientation.top.height_mm(p.x(), p.y())});
  }
  // The walls of channels stand a few millimetres inside the side. They reach 8 mm down at the most; where enough
  // side is seen below that, it alone is used.
  constexpr double below_channels_mm = -8.0;
  std::vector<WallPoint> deep;
  std::copy_if(points.begin(), points.end(), std::back_inserter(deep),
               [](const WallPoint& p) { return p.up_mm < below_channels_mm; });
  return deep.size() * 2 > points.size() ? deep : points;
}

// Wall points of one 5 mm square of the plan, merged.
struct Column {
  Vector2 plan = Vector2::Zero();
  Vector2 out = Vector2::Zero();
  int count = 0;
  bool used = false;
};

std::vector<Column> merge_columns(const std::vector<WallPoint>& points, double square_mm) {
  std::map<std::pair<int, int>, Column> squares;
  for (const auto& p : points) {
    Column& column = squares[{static_cast<int>(std::floor(p.plan.x() / square_mm)),
                              static_cast<int>(std::floor(p.plan.y() / square_mm))}];
    column.plan += p.plan;
    column.out += p.out;
    ++column.count;
  }
  std::vector<Column> columns;
  for (auto& [key, column] : squares) {
    column.plan /= column.count;
    if (column.out.norm() < 0.5 * column.count) continue;  // normals that contradict each other
    column.out.normalize();
    columns.push_back(column);
  }
  return columns;
}

Vector2 tangent_of(const Column& column) { return {-column.out.y(), column.out.x()}; }

// The next column along the rim from `from`, ahead of `direction`; -1 if none.
int next_column(const std::vector<Column>& columns, const Column& from, const Vector2& direction, double reach_mm,
                double square_mm) {
  int best = -1;
  double best_cost = reach_mm;
  for (std::size_t i = 0; i < columns.size(); ++i) {
    const Vector2 d = columns[i].plan - from.plan;
    const double along = d.dot(direction);
    if (along < 0.4 * square_mm || along > reach_mm) continue;
    const double across = std::abs(d.x() * direction.y() - d.y() * direction.x());
    // A rim of 60 mm radius, the tightest waist or cutaway, leaves its tangent by along^2 / 120.
    if (across > 0.7 * square_mm + along * along / 120.0 || across > along) continue;
    // On an arc the chord's direction lies midway between both tangents.
    const Vector2 chord = d.normalized();
    const Vector2 middle =
        (direction + (direction.dot(tangent_of(columns[i])) > 0 ? 1.0 : -1.0) * tangent_of(columns[i])).normalized();
    if (from.out.dot(columns[i].out) < (along < 15.0 ? 0.6 : 0.2) || chord.dot(middle) < 0.85) continue;
    const double cost = along + 2.0 * across;
    if (cost < best_cost) {
      best_cost = cost;
      best = static_cast<int>(i);
    }
  }
  return best;
}

struct Chain {
  std::deque<Vector2> points;
  bool closed = false;
  double supported_mm = 0.0;  // length without the bridged gaps
};

Chain trace_from(std::vector<Column>& columns, std::size_t seed, double longest_gap_mm, double square_mm) {
  Chain chain;
  chain.points.push_back(columns[seed].plan);
  // Which step of this chain passed a column; a chain that meets its own beginning is closed.
  constexpr int never = -1;
  std::vector<int> passed(columns.size(), never);
  const auto mark = [&](const Vector2& p, int step) {
    for (std::size_t i = 0; i < columns.size(); ++i)
      if ((columns[i].plan - p).squaredNorm() < square_mm * square_mm) {
        columns[i].used = true;
        if (passed[i] == never && step != never) passed[i] = step;
      }
  };
  mark(columns[seed].plan, 0);
  for (const double way : {1.0, -1.0}) {
    std::size_t here = seed;
    for (int step = 1; step < static_cast<int>(columns.size()); ++step) {
      const Vector2 direction = way * tangent_of(columns[here]);
      int next = next_column(columns, columns[here], direction, 3.0 * square_mm, square_mm);
      if (next < 0) next = next_column(columns, columns[here], direction, longest_gap_mm, square_mm);
      if (next < 0) break;
      const auto there = static_cast<std::size_t>(next);
      const double step_mm = (columns[there].plan - columns[here].plan).norm();
      constexpr int shortest_loop = 12;
      if (passed[there] != never && step - passed[there] >= shortest_loop) {
        // The way round: what was passed before that place belongs to no loop.
        for (int k = 0; k < passed[there]; ++k) way > 0 ? chain.points.pop_front() : chain.points.pop_back();
        chain.closed = true;
        break;
      }
      if (step_mm < 4.0 * square_mm) chain.supported_mm += step_mm;
      here = there;
      way > 0 ? chain.points.push_back(columns[here].plan) : chain.points.push_front(columns[here].plan);
      mark(columns[here].plan, way > 0 ? step : never);
    }
    if (chain.closed) break;
  }
  return chain;
}

Chain longest_chain(std::vector<Column> columns, double longest_gap_mm, double square_mm) {
  Chain best;
  for (std::size_t seed = 0; seed < columns.size(); ++seed) {
    if (columns[seed].used) continue;
    Chain chain = trace_from(columns, seed, longest_gap_mm, square_mm);
    if (chain.supported_mm > best.supported_mm) best = std::move(chain);
  }
  return best;
}

// Uniform cubic B-spline in plan with `spans` knot spans of unit parameter.
class PlanSpline {
 public:
  PlanSpline(std::size_t spans, bool closed) : spans_(spans), closed_(closed) {}
  [[nodiscard]] std::size_t control_count() const { return closed_ ? spans_ : spans_ + 3; }

  struct Basis {
    std::array<std::size_t, 4> index;
    std::array<double, 4> value;
  };
  [[nodiscard]] Basis basis(double parameter) const {
    const double limited = std::clamp(parameter, 0.0, static_cast<double>(spans_) - 1e-9);
    const auto span = static_cast<std::size_t>(limited);
    const double t = limited - static_cast<double>(span), u = 1 - t;
    Basis b{};
    b.value = {u * u * u / 6, (3 * t * t * t - 6 * t * t + 4) / 6, (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6,
               t * t * t / 6};
    for (std::size_t k = 0; k < 4; ++k) b.index[k] = closed_ ? (span + k) % spans_ : span + k;
    return b;
  }
  [[nodiscard]] Vector2 point(const Eigen::MatrixX2d& control, double parameter) const {
    const Basis b = basis(parameter);
    Vector2 p = Vector2::Zero();
    for (std::size_t k = 0; k < 4; ++k)
      p += b.value[k] * control.row(static_cast<Eigen::Index>(b.index[k])).transpose();
    return p;
  }

 private:
  std::size_t spans_;
  bool closed_;
};

// Least squares for the control points, third differences damped.
Eigen::MatrixX2d fit_control(const PlanSpline& spline, bool closed, const std::vector<double>& parameters,
                             const std::vector<Vector2>& targets, const std::vector<double>& weights,
                             double stiffness) {
  const auto n = static_cast<Eigen::Index>(spline.control_count());
  Eigen::MatrixXd normal = Eigen::MatrixXd::Identity(n, n) * 1e-9;
  Eigen::MatrixX2d right = Eigen::MatrixX2d::Zero(n, 2);
  double total = 0.0;
  for (std::size_t i = 0; i < parameters.size(); ++i) {
    if (weights[i] <= 0.0) continue;
    total += weights[i];
    const auto b = spline.basis(parameters[i]);
    for (std::size_t j = 0; j < 4; ++j) {
      const auto row = static_cast<Eigen::Index>(b.index[j]);
      for (std::size_t k = 0; k < 4; ++k)
        normal(row, static_cast<Eigen::Index>(b.index[k])) += weights[i] * b.value[j] * b.value[k];
      right.row(row) += weights[i] * b.value[j] * targets[i].transpose();
    }
  }
  const double damping = stiffness * total / static_cast<double>(n);
  constexpr std::array<double, 4> third_difference{-1, 3, -3, 1};
  const Eigen::Index differences = closed ? n : n - 3;
  for (Eigen::Index i = 0; i < differences; ++i)
    for (std::size_t j = 0; j < 4; ++j)
      for (std::size_t k = 0; k < 4; ++k)
        normal((i + static_cast<Eigen::Index>(j)) % n, (i + static_cast<Eigen::Index>(k)) % n) +=
            damping * third_difference[j] * third_difference[k];
  return normal.ldlt().solve(right);
}

// The part of an open curve between two stations.
RimCurve trimmed(const RimCurve& curve, double from_mm, double to_mm) {
  from_mm = std::max(0.0, from_mm);
  to_mm = std::min(curve.length_mm(), to_mm);
  const auto pieces = std::max<std::size_t>(8, static_cast<std::size_t>((to_mm - from_mm) / 0.5));
  std::vector<Vector2> points;
  for (std::size_t i = 0; i <= pieces; ++i)
    points.push_back(curve.point(from_mm + (to_mm - from_mm) * static_cast<double>(i) / static_cast<double>(pieces)));
  return {points, false};
}

}  // namespace

Outcome<RimOutline> trace_outline(const SurfaceCells& cells, const Orientation& orientation,
                                  const OutlineSettings& settings) {
  const std::vector<WallPoint> points = wall_points(cells, orientation);
  const double square_mm = std::max(5.0, 1.5 * cells.cell_mm);
  const Chain chain = longest_chain(merge_columns(points, square_mm), settings.longest_gap_mm, square_mm);
  const auto rough_length = [&] {
    double sum = 0.0;
    for (std::size_t i = 1; i < chain.points.size(); ++i) sum += (chain.points[i] - chain.points[i - 1]).norm();
    return sum;
  }();
  if (chain.points.size() < 4 || rough_length < settings.shortest_rim_mm)
    return refuse(RefusalReason::no_rim_found,
                  "the side can be followed for " + std::to_string(static_cast<int>(rough_length)) + " mm only",
                  "scan at least 60 mm of rim with top and side in view, without gaps wider than 90 mm");

  std::vector<Vector2> start(chain.points.begin(), chain.points.end());
  if (!chain.closed) {
    // The chain's ends are middles of squares; the wall goes on for up to a square beyond them.
    const Vector2 before = start.front() - start[1], after = start.back() - start[start.size() - 2];
    start.insert(start.begin(), start.front() + 1.5 * square_mm * before.normalized());
    start.push_back(start.back() + 1.5 * square_mm * after.normalized());
  }
  RimCurve curve(start, chain.closed);
  double lean_slope = 0.0;                             // out per millimetre down
  double first_mm = 0.0, last_mm = curve.length_mm();  // stations between which the wall is seen
  for (int round = 0; round < 6; ++round) {
    const auto spans = std::max<std::size_t>(
        chain.closed ? 6 : 1, static_cast<std::size_t>(std::lround(curve.length_mm() / settings.knot_spacing_mm)));
    const PlanSpline spline(spans, chain.closed);
    const double per_mm = static_cast<double>(spans) / curve.length_mm();
    const double reach_mm = round == 0 ? 2.0 * square_mm : 6.0;
    const RimLocator locator(curve, reach_mm, reach_mm);
    std::vector<double> parameters, residuals, drops;
    std::vector<Vector2> targets;
    std::vector<double> outs;
    for (const auto& p : points) {
      const auto foot = locator.locate(p.plan);
      if (!foot || foot->station_mm < 0.0 || foot->station_mm > curve.length_mm()) continue;
      const Vector2 out = curve.out(foot->station_mm);
      const double lean_mm = -p.up_mm * lean_slope;
      parameters.push_back(foot->station_mm * per_mm);
      targets.push_back(p.plan - lean_mm * out);
      outs.push_back(foot->out_mm - lean_mm);
      drops.push_back(-p.up_mm);
    }
    if (targets.size() < 8) break;
    std::vector<double> deviations = outs;
    for (double& d : deviations) d = std::abs(d);
    const double gate_mm = std::max(0.3, 4.685 * 1.4826 * median_of(deviations));
    std::vector<double> weights(targets.size());
    for (std::size_t i = 0; i < targets.size(); ++i) {
      const double r = outs[i] / gate_mm;
      weights[i] = std::abs(r) < 1.0 ? (1 - r * r) * (1 - r * r) : 0.0;
    }
    if (round == 0) std::fill(weights.begin(), weights.end(), 1.0);
    first_mm = curve.length_mm(), last_mm = 0.0;
    for (std::size_t i = 0; i < weights.size(); ++i) {
      if (weights[i] <= 0.0) continue;
      first_mm = std::min(first_mm, parameters[i] / per_mm);
      last_mm = std::max(last_mm, parameters[i] / per_mm);
    }
    const Eigen::MatrixX2d control =
        fit_control(spline, chain.closed, parameters, targets, weights, settings.stiffness);
    std::vector<Vector2> refined;
    const auto samples = std::max<std::size_t>(8, static_cast<std::size_t>(curve.length_mm() / 0.5));
    const std::size_t last = chain.closed ? samples - 1 : samples;
    for (std::size_t i = 0; i <= last; ++i)
      refined.push_back(
          spline.point(control, static_cast<double>(spans) * static_cast<double>(i) / static_cast<double>(samples)));
    curve = RimCurve(refined, chain.closed);

    // The lean: slope of what is left against depth below the top, by weighted regression.
    double sw = 0, sd = 0, so = 0, sdd = 0, sdo = 0;
    for (std::size_t i = 0; i < outs.size(); ++i) {
      const double w = weights[i];
      sw += w, sd += w * drops[i], so += w * outs[i], sdd += w * drops[i] * drops[i], sdo += w * drops[i] * outs[i];
    }
    const double spread = sdd - sd * sd / sw;
    if (spread > 1.0 * sw && round < 5) lean_slope += (sdo - sd * so / sw) / spread;  // needs more than 1 mm of depth
  }
  if (!chain.closed) curve = trimmed(curve, first_mm - cells.cell_mm / 2, last_mm + cells.cell_mm / 2);
  return RimOutline{std::move(curve), std::atan(lean_slope)};
}

}  // namespace rimwright
