// Points as plain lines of numbers: .xyz .pts .csv .txt .asc.
//
// Rules
// * Values are separated by blanks, by commas or by semicolons, as the first line of numbers shows. A comma inside a
//   number (decimal comma) is refused, never guessed.
// * Empty lines and lines beginning with '#' or "//" are skipped. Lines of text at the start are headers; one that
//   names x, y and z names the columns (nx ny nz, normal_x.., red green blue or r g b, sigma, others are left out).
// * A first line that is one whole number is the count of points (PTS) and is held to it.
// * Without names: 3 columns x y z; 4 and 5: the rest is left out; 6: x y z and a colour where all three are whole
//   numbers from 0 to 255, else a normal where their length is 1 (2 %), else left out; 7: x y z, intensity, colour
//   (PTS), or x y z, colour, alpha; 9 and more: x y z and a colour and a normal in either order, by the same tests.
//   Judged on the first 256 lines.
// * Every line holds the same number of values.
#pragma once

#include "capture/file/bytes.h"
#include "capture/file/cloud_arrays.h"
#include "capture/read_cloud.h"
#include "capture/scan_file.h"

namespace rimwright {

[[nodiscard]] Outcome<ScanFile> read_xyz(const FileBytes& file, const ReadCloudSettings& settings, Workers& workers);
[[nodiscard]] Outcome<void> for_each_xyz_block(const FileBytes& file, std::size_t block_points, Workers& workers,
                                               const UseBlock& use_block);

}  // namespace rimwright
