// Reads every photo of a folder, and sets aside, by name and reason, what cannot help.
#pragma once

#include <cstdint>
#include <filesystem>

#include "capture/photos/photo_set.h"
#include "core/parallel.h"
#include "core/refusal.h"

namespace rimwright {

struct ReadPhotosSettings {
  std::uint64_t largest_file_bytes = 100u << 20;     // a 50-megapixel phone JPEG is below 30 MB
  std::uint64_t largest_photo_pixels = 120'000'000;  // sensors of phones end at 108 to 200 megapixels, binned to less
  std::size_t most_photos = 150;                     // 12 megapixels each make 2 GB of grey pixels
  std::uint64_t most_pixels = 3'000'000'000;         // of all photos together: 3 GB of grey
  int smallest_side_px = 480;                        // below, a board of 17 mm squares is not readable at 30 cm
  double blurred_below = 0.33;                       // sharpness over that of the median photo
  double darkest = 30.0, brightest = 235.0;          // grey levels of 255 that a tenth of the picture must lie above
                                                     // and below: before a black or white backdrop no more may
};

// Photos in name order. A photo that is damaged, gigantic, tiny, blurred, black or white, or the same as another is
// left out and named. Refuses (capture_insufficient) when fewer than 3 are left, (file_not_found, file_not_readable)
// when the folder cannot be read. The result does not depend on the number of workers.
[[nodiscard]] Outcome<PhotoSet> read_photos(const std::filesystem::path& folder, const ReadPhotosSettings& settings,
                                            Workers& workers);

}  // namespace rimwright
