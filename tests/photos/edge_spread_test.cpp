// The blur of the target's edges, on boards whose picture has a closed form.
#include "capture/photos/edge_spread.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <random>
#include <string>

#include "capture/photos/photo_verdict.h"

namespace rimwright {
namespace {

constexpr double square_px = 60.0;

// A wave of squares, -1 and 1 in turn, blurred by a Gaussian; its steps are at whole multiples of the square.
double blurred_wave(double at_px, double sigma_px) {
  const double nearest = std::round(at_px / square_px);
  double sum = 0.0;
  for (int k = -2; k <= 2; ++k) {  // other steps are too far off to matter
    const double step = nearest + k;
    const double rise = std::fmod(std::abs(step), 2.0) == 0.0 ? 1.0 : -1.0;
    sum += rise * std::erf((at_px - step * square_px) / (sigma_px * std::sqrt(2.0)));
  }
  return sum;
}

struct Board {
  Photo photo;
  std::vector<TargetCorner> corners;
};

// The board's squares (a marker lies an eighth of a square off their edges, farther than is looked), blurred by
// different Gaussians across and down, with noise of 2 grey levels.
Board picture(const ScaleTarget& target, double sigma_x_px, double sigma_y_px, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0.0, 2.0);
  Board board;
  board.photo.width = static_cast<int>(square_px) * target.squares_across;
  board.photo.height = static_cast<int>(square_px) * target.squares_down;
  for (int row = 0; row < board.photo.height; ++row) {
    for (int column = 0; column < board.photo.width; ++column) {
      // A chessboard is the product of two waves; so is its blurred picture.
      const double grey = 128.0 + 90.0 * blurred_wave(column, sigma_x_px) * blurred_wave(row, sigma_y_px);
      board.photo.grey.push_back(static_cast<std::uint8_t>(std::lround(grey + noise(random))));
    }
  }
  for (int i = 0; i < target.corner_count(); ++i) {
    const int column = i % (target.squares_across - 1), row = i / (target.squares_across - 1);
    board.corners.push_back({i, square_px * Vector2(column + 1, row + 1)});
  }
  return board;
}

// The slope is taken over a pixel between values that lie between pixels: at most it is that over two pixels, erf(1 /
// (sigma sqrt 2)) / 2 of a step.
double most(double sigma) {
  return 2.0 / (std::erf(1.0 / (sigma * std::sqrt(2.0))) * std::sqrt(2.0 * std::numbers::pi));
}

TEST(EdgeSpread, IsTheBlursStandardDeviation) {
  const unsigned seed = 3;
  std::printf("seed %u\n", seed);
  const ScaleTarget target;
  for (const double sigma : {0.7, 1.0, 2.0, 3.0}) {
    const Board board = picture(target, sigma, sigma, seed);
    const double spread = edge_spread_px(board.photo, board.corners, target);
    // Noise of 2 levels over 9 lines is 0.7, of a slope over a pixel 0.9, against 180 / (2.5 sigma) of the edge; the
    // steepest of the few places by the middle of an edge is about one such deviation too steep.
    const double by_noise = 0.9 / (180.0 / (2.5 * sigma));
    EXPECT_GT(spread, sigma * (1.0 - 3.0 * by_noise)) << sigma;
    EXPECT_LT(spread, most(sigma) * (1.0 + by_noise)) << sigma;
  }
}

TEST(EdgeSpread, IsThatOfTheWorseDirectionWhereTheHandMoved) {
  const unsigned seed = 4;
  std::printf("seed %u\n", seed);
  const ScaleTarget target;
  const Board across = picture(target, 3.0, 0.8, seed), down = picture(target, 0.8, 3.0, seed);
  EXPECT_GT(edge_spread_px(across.photo, across.corners, target), 2.6);
  EXPECT_GT(edge_spread_px(down.photo, down.corners, target), 2.6);
}

TEST(EdgeSpread, SaysNothingOfABoardHardlySeen) {
  const ScaleTarget target;
  Board board = picture(target, 1.0, 1.0, 5);
  board.corners.resize(8);  // a single row: no edges down the board
  EXPECT_EQ(edge_spread_px(board.photo, board.corners, target), 0.0);
  EXPECT_EQ(edge_spread_px(board.photo, {}, target), 0.0);
}

// Evidence of four photos that look straight down on the board, one of which could not be placed.
std::vector<std::string> said_of(double sigma_px, std::size_t lost = 3, const std::string& named = "photo ",
                                 const PhotoVerdictSettings& settings = {}) {
  const ScaleTarget target;
  const Board board = picture(target, sigma_px, sigma_px, 6);
  PhotoSet set;
  CameraNetwork network;
  for (const Vector3& corner : target_corners_mm(target)) {
    const Vector3 at(corner.x(), -corner.y(), 0.0);
    network.points.push_back({at, at, Vector3::Ones(), true});
  }
  network.lenses.push_back({1000.0, 0.0, 0.0});
  for (std::uint32_t i = 0; i < 4; ++i) {
    set.photos.push_back(board.photo);
    set.photos.back().name = named + std::to_string(i);
    if (named.empty()) set.photos.back().name += static_cast<char>('d' - i);
    network.lens_of.push_back(0);
    network.size_px.emplace_back(board.photo.width, board.photo.height);
    Transform T_camera_sheet = Transform::Identity();
    T_camera_sheet.linear().diagonal() = Vector3(1, -1, -1);
    T_camera_sheet.translation().z() = 300.0;
    network.T_camera_sheet.push_back(T_camera_sheet);
    network.focal_factor.push_back(1.0);
    network.centre_shift_px.push_back(Vector2::Zero());
    network.placed.push_back(i != lost);
    for (const TargetCorner& c : board.corners)
      if (i != lost) network.sightings.push_back({i, static_cast<std::uint32_t>(c.index), c.pixel});
  }
  Patch patch;
  AdjustReport adjusted;
  for (std::uint16_t i = 0; i < 4; ++i) {
    if (i != lost) patch.photos.push_back(i);
    adjusted.photo_rms_px.push_back(i == lost ? 0.0 : 0.05);
  }
  const PhotoStack stack{network.views(), std::vector<SmoothPhoto>(4)};
  return photo_verdict({target, set, network, adjusted, stack, {patch}, {}, {}}, settings);
}

bool any_says(const std::vector<std::string>& notes, const std::string& words) {
  return std::any_of(notes.begin(), notes.end(),
                     [&](const std::string& note) { return note.find(words) != std::string::npos; });
}

TEST(PhotoVerdict, SaysThatAllPhotosAreUnsharpAlike) {
  EXPECT_TRUE(any_says(said_of(2.5), "3 of the 3 photos that show it are unsharp"));
  EXPECT_FALSE(any_says(said_of(0.7), "unsharp"));
}

TEST(PhotoVerdict, SharpnessIsThatOfALensNotOfItsPixels) {
  PhotoVerdictSettings settings;
  settings.unsharp_size_px = 11.0 * square_px / 2.0;  // these photos are twice as long
  EXPECT_FALSE(any_says(said_of(1.8, 3, "photo ", settings), "unsharp"));
  EXPECT_TRUE(any_says(said_of(1.8), "unsharp"));
  EXPECT_TRUE(any_says(said_of(2.6, 3, "photo ", settings), "sharp ones over 6"));
}

TEST(PhotoVerdict, SaysOfAPhotoThatCouldNotBePlacedWhatIsTrue) {
  EXPECT_TRUE(any_says(said_of(0.7), "photo 3 (neither the target nor enough wood that other photos show"));
}

TEST(PhotoVerdict, SaysWhatTiesAPhotoToTheOthers) {
  EXPECT_TRUE(any_says(said_of(0.7, 2), "take one more photo from between where photo 1 and photo 3 were taken"));
  EXPECT_TRUE(any_says(said_of(0.7, 3), "take one more photo from near where photo 2 was taken"));
  EXPECT_TRUE(any_says(said_of(0.7, 0), "take one more photo from near where photo 1 was taken"));
  for (const char* words : {"take one more", "take what was not recognised again"})
    EXPECT_FALSE(any_says(said_of(0.7, 4), words));  // all four are placed
  // Names that count nothing tell no place.
  EXPECT_FALSE(any_says(said_of(0.7, 2, ""), "take one more"));
  EXPECT_TRUE(any_says(said_of(0.7, 2, ""), "take what was not recognised again, with the whole target in view"));
}

}  // namespace
}  // namespace rimwright
