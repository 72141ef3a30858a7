// The printable scale target: one flat sheet with a ChArUco board and a check bar, and its geometry for finding it.
//
// Target frame: millimetres, x right and y down on the page, z into the page; the origin is the outer corner of the
// board's top left square. A sheet laid on a body thus has its z axis pointing into the wood.
// Board: chessboard whose white squares carry ArUco markers (Garrido-Jurado et al., Pattern Recognition 47, 2014).
#pragma once

#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include "core/frames.h"
#include "core/refusal.h"

namespace rimwright {

// The sizes as meant; the print may be off by up to a percent, which the check bar tells.
struct ScaleTarget {
  int squares_across = 11;             // along x
  int squares_down = 8;                // along y
  double square_mm = 17.0;             // 187 x 136 mm fits A4 and Letter with margins every printer can do
  double marker_mm = 12.75;            // three quarters of a square: wide enough quiet zone, large enough bits
  std::string dictionary = "5X5_100";  // an OpenCV predefined dictionary, without its DICT_ prefix
  double check_bar_mm = 100.0;         // long enough that 0.05 mm of reading is 0.05 %

  [[nodiscard]] int corner_count() const { return (squares_across - 1) * (squares_down - 1); }
  [[nodiscard]] double width_mm() const { return squares_across * square_mm; }
  [[nodiscard]] double height_mm() const { return squares_down * square_mm; }
  // Whether a place lies over or under the board, or within a margin of it; y down the page as in the target frame.
  [[nodiscard]] bool covers(double x_mm, double y_mm, double margin_mm) const {
    return x_mm > -margin_mm && x_mm < width_mm() + margin_mm && y_mm > -margin_mm && y_mm < height_mm() + margin_mm;
  }
};

// Inner chessboard corners in the target frame (z = 0), index = row * (squares_across - 1) + column.
[[nodiscard]] std::vector<Vector3> target_corners_mm(const ScaleTarget& target);

// Refuses a board that does not exist: sizes not finite or out of order, fewer than 3 squares a way or more than 40,
// an unknown dictionary, or one with too few markers for the board.
[[nodiscard]] Outcome<void> check_scale_target(const ScaleTarget& target);

// The board's black modules as rectangles {left, top, width, height} in target-frame millimetres, and the white
// bits lying on the marker rectangles; painting black, then white, gives the board.
struct TargetArtwork {
  std::vector<std::array<double, 4>> black_mm;
  std::vector<std::array<double, 4>> white_mm;
};
[[nodiscard]] Outcome<TargetArtwork> draw_scale_target(const ScaleTarget& target);

enum class Paper { a4, letter };

// The sheet as a vector PDF at true size, landscape, with check bar and advice. Refuses a board that does not fit.
[[nodiscard]] Outcome<std::string> scale_target_pdf(const ScaleTarget& target, Paper paper);

// Writes the sheet to a file, aside first and then renamed, so that a failure leaves an earlier file as it was.
[[nodiscard]] Outcome<void> write_scale_target(const ScaleTarget& target, Paper paper,
                                               const std::filesystem::path& path);

}  // namespace rimwright
