// Points of a face in cells, of faces too narrow to have any as well.
#include "measure/grid_face.h"

#include <gtest/gtest.h>

#include "made_rim.h"

namespace rimwright {
namespace {

constexpr double length_mm = 20.0;

// The side of a rim, 45 mm deep, taken for a face that at station 5 is as narrow as given.
FaceGrid grid_with_a_narrow_place(double narrow_mm, double edge_margin_mm) {
  const UnrolledRim rim = test::made_rim(
      length_mm, [](double) { return test::bevelled_profile(15.0, 125.0); }, 40.0, 0.02, 1);
  FaceTrack track;
  track.name = FaceName::side;
  FaceFits side;
  side.track = &track;
  FittedRim fitted;
  for (int i = 0; i < static_cast<int>(length_mm); ++i) {
    fitted.station_mm.push_back(i + 0.5);
    FaceFit fit;
    fit.measured = true;
    fit.from_t_mm = -35.0;
    fit.to_t_mm = i == 5 ? -35.0 + narrow_mm : -20.0;
    side.at.push_back(fit);
  }
  Workers workers;
  constexpr double enough = 8.0;  // a cell: of 20 points it holds
  return grid_face(rim, fitted, side, 0.5, edge_margin_mm, 0.5, workers, enough);
}

double points_in(const FaceGrid& grid, std::size_t column) {
  double points = 0.0;
  for (std::size_t row = 0; row < grid.rows; ++row) points += static_cast<double>(grid.count[grid.index(row, column)]);
  return points;
}

TEST(GridFace, AFaceNarrowerThanItsMarginsHasNoCells) {
  for (const double narrow_mm : {0.0, 0.5, 0.8}) {
    const FaceGrid grid = grid_with_a_narrow_place(narrow_mm, 0.4);
    EXPECT_EQ(points_in(grid, 5), 0.0) << narrow_mm;
    EXPECT_GT(points_in(grid, 4), 0.0) << narrow_mm;
  }
}

}  // namespace
}  // namespace rimwright
