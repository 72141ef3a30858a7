// Form of a bevel face in a grid made by hand.
#include "measure/face_form.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>

namespace {

using namespace rimwright;

struct Made {
  FaceGrid grid;
  FaceFits face;
};

// A face of the given fitted width, whose rows half a millimetre wide hold `count(row)` points a cell at `height(t)`.
Made made_face(double fitted_mm, double margin_mm, const std::function<double(double t)>& height,
               const std::function<float(std::size_t row, std::size_t rows)>& count) {
  Made made;
  FaceGrid& grid = made.grid;
  grid.columns = 9;
  grid.t_step_mm = 0.5;
  grid.first_t_mm = 0.0;
  grid.rows = static_cast<std::size_t>(std::ceil(fitted_mm / grid.t_step_mm));
  FaceFit fit;
  fit.measured = true;
  fit.to_t_mm = fitted_mm;
  fit.t0_mm = 0.5 * fitted_mm;
  fit.margin_mm = margin_mm;
  fit.window_mm = 4.5;
  fit.noise_mm = 0.03;
  made.face.at.assign(grid.columns, fit);
  for (std::size_t row = 0; row < grid.rows; ++row)
    for (std::size_t column = 0; column < grid.columns; ++column) {
      // A row's scatter from column to column, the same with either sign, so that the noise is not none.
      const double scatter = column % 2 == 0 ? 0.004 : -0.005;
      grid.count.push_back(count(row, grid.rows));
      grid.mean_mm.push_back(static_cast<float>(height(grid.t(row)) + scatter));
    }
  return made;
}

constexpr double usual_bend_per_mm = 0.004;

TEST(FaceForm, CrownAndHollowOfAWideFace) {
  // 0.3 mm over 20 mm and its margins; its height above its own line is the same, since it is symmetric.
  const double half = 0.5 * 20.0 + 0.8;
  const auto crown = [&](double t) { return 0.3 * (1.0 - std::pow((t - 10.0) / half, 2)); };
  const Made made = made_face(20.0, 0.8, crown, [](std::size_t, std::size_t) { return 10.0F; });
  const FaceForm form = measure_face_form(made.grid, 4, made.face, {}, usual_bend_per_mm);
  ASSERT_TRUE(form.straightness_mm.is_measured());
  EXPECT_NEAR(form.straightness_mm.value, 0.3,
              0.01);  // the scatter, 0.005 over the root of nine columns, at two places
  EXPECT_NEAR(form.crown_mm, 0.3, 0.01);
}

TEST(FaceForm, AFaceWithTooFewRowsHasNone) {
  // Of four rows the outer two are thin: two are left, through which any parabola goes.
  for (const double margin : {0.98, 1.2}) {
    const Made made = made_face(
        2.0, margin, [](double t) { return 0.02 * t * t; },
        [](std::size_t row, std::size_t rows) { return row == 0 || row + 1 == rows ? 4.0F : 10.0F; });
    const FaceForm form = measure_face_form(made.grid, 4, made.face, {}, usual_bend_per_mm);
    EXPECT_FALSE(form.straightness_mm.is_measured());
    EXPECT_EQ(form.crown_mm, 0.0);
    const double half_width = 0.5 * 2.0 + margin;
    EXPECT_DOUBLE_EQ(form.crown_u_mm, usual_bend_per_mm * half_width * half_width);
  }
}

TEST(FaceForm, AMissingPartOfTheWidthIsSaid) {
  const Made made = made_face(
      20.0, 0.8, [](double) { return 0.0; }, [](std::size_t row, std::size_t) { return row < 12 ? 0.0F : 10.0F; });
  const FaceForm form = measure_face_form(made.grid, 4, made.face, {}, usual_bend_per_mm);
  EXPECT_FALSE(form.straightness_mm.is_measured());
  EXPECT_EQ(form.straightness_mm.why_not.reason, RefusalReason::not_seen);
}

}  // namespace
