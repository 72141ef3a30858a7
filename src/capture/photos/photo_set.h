// Photos in memory, and those that were left out.
//
// Pixel coordinates everywhere in this folder: the centre of the top left pixel as stored is (0, 0), x right, y down.
// Photos are kept as the sensor saw them (the orientation note is not applied), so that one lens means one set of
// lens numbers whichever way the phone was held.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/frames.h"

namespace rimwright {

struct Photo {
  std::string name;  // of the file, without its folder
  int width = 0, height = 0;
  std::vector<std::uint8_t> grey;  // row-major
  double focal_mm_35 = 0.0;        // 35 mm equivalent from the EXIF; 0 = not stated
  std::string phone;               // model from the EXIF; may be empty
  std::size_t lens = 0;            // photos of one phone, size and focal length share a lens
  double sharpness = 0.0;          // rms of the Laplacian over the rms of grey, at a common size; only for comparing
  double dark_grey = 0.0, bright_grey = 0.0;  // a tenth of the picture is darker, a tenth brighter
};

struct LeftOutPhoto {
  std::string name;
  std::string why;  // "blurred", "shows no target", ...
};

struct PhotoSet {
  std::vector<Photo> photos;  // in the order of their names
  std::vector<LeftOutPhoto> left_out;
  std::size_t lens_count = 0;
  std::size_t other_files = 0;  // files in the folder that are no photos
};

}  // namespace rimwright
