#include "capture/photos/read_photos.h"

#include <libheif/heif.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <fstream>
#include <map>
#include <memory>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <tuple>

#include "capture/photos/image_file.h"
#include "core/median.h"
#include "core/picture_files.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;

bool has_photo_name(const fs::path& path) {
  std::string end = path.extension().string();
  std::transform(end.begin(), end.end(), end.begin(), [](unsigned char c) { return std::tolower(c); });
  return end == ".jpg" || end == ".jpeg" || end == ".png" || end == ".heic" || end == ".heif";
}

Outcome<std::vector<unsigned char>> read_bytes(const fs::path& path, std::uint64_t most) {
  std::error_code error;
  const std::uint64_t size = fs::file_size(path, error);
  if (error) return refuse(RefusalReason::file_not_readable, "the file cannot be read", "check its permissions");
  if (size > most) {
    return refuse(RefusalReason::file_over_limit, "the file is larger than " + std::to_string(most >> 20) + " MB",
                  "save a smaller copy");
  }
  std::vector<unsigned char> bytes(size);
  std::ifstream file(path, std::ios::binary);
  file.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(size));
  if (!file) return refuse(RefusalReason::file_not_readable, "the file cannot be read", "check its permissions");
  return bytes;
}

Outcome<void> check_size(int width, int height, std::uint64_t most_pixels) {
  const auto length = [](int pixels) { return static_cast<std::uint64_t>(std::max(0, pixels)); };
  if (length(width) * length(height) <= most_pixels) return {};
  return refuse(RefusalReason::file_over_limit,
                "the picture has more than " + std::to_string(most_pixels / 1'000'000) + " megapixels",
                "save a smaller copy");
}

Outcome<cv::Mat> decode_heic(const std::vector<unsigned char>& bytes, std::uint64_t most_pixels, ImageNotes& notes) {
  const auto broken = [](const heif_error& error) {
    return refuse(RefusalReason::file_malformed,
                  std::string("the HEIC picture cannot be decoded (") + error.message + ")",
                  "export the photo as JPEG");
  };
  const std::unique_ptr<heif_context, decltype(&heif_context_free)> context(heif_context_alloc(), heif_context_free);
  heif_error error = heif_context_read_from_memory_without_copy(context.get(), bytes.data(), bytes.size(), nullptr);
  if (error.code != heif_error_Ok) return broken(error);
  heif_image_handle* raw_handle = nullptr;
  error = heif_context_get_primary_image_handle(context.get(), &raw_handle);
  if (error.code != heif_error_Ok) return broken(error);
  const std::unique_ptr<heif_image_handle, decltype(&heif_image_handle_release)> handle(raw_handle,
                                                                                        heif_image_handle_release);
  // As stored: what is decoded is not cropped.
  if (const auto claimed = check_size(heif_image_handle_get_ispe_width(raw_handle),
                                      heif_image_handle_get_ispe_height(raw_handle), most_pixels);
      !claimed)
    return tl::unexpected(claimed.error());
  heif_item_id id = 0;
  if (heif_image_handle_get_list_of_metadata_block_IDs(raw_handle, "Exif", &id, 1) == 1) {
    std::vector<unsigned char> exif(heif_image_handle_get_metadata_size(raw_handle, id));
    if (exif.size() > 10 && heif_image_handle_get_metadata(raw_handle, id, exif.data()).code == heif_error_Ok) {
      // Four bytes tell how far into the rest the TIFF structure begins (ISO/IEC 23008-12, annex A).
      const std::size_t skip = 4 + (static_cast<std::size_t>(exif[2]) << 8 | exif[3]);
      if (skip < exif.size()) read_exif(exif.data() + skip, exif.size() - skip, notes);
    }
  }
  heif_image* raw_image = nullptr;
  const std::unique_ptr<heif_decoding_options, decltype(&heif_decoding_options_free)> options(
      heif_decoding_options_alloc(), heif_decoding_options_free);
  options->ignore_transformations = 1;
  error = heif_decode_image(raw_handle, &raw_image, heif_colorspace_RGB, heif_chroma_interleaved_RGB, options.get());
  if (error.code != heif_error_Ok) return broken(error);
  const std::unique_ptr<heif_image, decltype(&heif_image_release)> image(raw_image, heif_image_release);
  int stride = 0;
  const std::uint8_t* plane = heif_image_get_plane_readonly(raw_image, heif_channel_interleaved, &stride);
  if (plane == nullptr)
    return refuse(RefusalReason::file_malformed, "the HEIC picture is empty", "export the photo as JPEG");
  const int width = heif_image_get_width(raw_image, heif_channel_interleaved);
  const int height = heif_image_get_height(raw_image, heif_channel_interleaved);
  // The picture inside may be larger than the file says, which the library does not hold against it.
  if (const auto found = check_size(width, height, most_pixels); !found) return tl::unexpected(found.error());
  const cv::Mat rgb(height, width, CV_8UC3, const_cast<std::uint8_t*>(plane), static_cast<std::size_t>(stride));
  cv::Mat grey;
  cv::cvtColor(rgb, grey, cv::COLOR_RGB2GRAY);
  return grey;
}

Outcome<cv::Mat> decode(const std::vector<unsigned char>& bytes, const ReadPhotosSettings& settings,
                        ImageNotes& notes) {
  if (notes.kind == ImageKind::heic) return decode_heic(bytes, settings.largest_photo_pixels, notes);
  if (const auto claimed = check_size(notes.width, notes.height, settings.largest_photo_pixels); !claimed)
    return tl::unexpected(claimed.error());
  auto picture = grey_picture(bytes, settings.largest_photo_pixels);
  if (!picture) {
    return refuse(RefusalReason::file_malformed, "the picture cannot be decoded",
                  "copy the photo from the phone again");
  }
  return cv::Mat(picture->height, picture->width, CV_8UC1, picture->pixels.data()).clone();
}

// Sharpness and exposure at a size of about one megapixel, so that sizes compare.
void look_at(const cv::Mat& grey, Photo& photo) {
  cv::Mat small, laplacian;
  const double shrink = std::min(1.0, std::sqrt(1.5e6 / static_cast<double>(grey.total())));
  cv::resize(grey, small, {}, shrink, shrink, cv::INTER_AREA);
  cv::Laplacian(small, laplacian, CV_32F);
  cv::Scalar mean, spread, edge_mean, edge_spread;
  cv::meanStdDev(small, mean, spread);
  cv::meanStdDev(laplacian, edge_mean, edge_spread);
  photo.sharpness = edge_spread[0] / std::max(1.0, spread[0]);
  const int tenth = static_cast<int>(small.total() / 10);
  const auto as_dark = small.begin<std::uint8_t>() + tenth, as_bright = small.end<std::uint8_t>() - tenth - 1;
  std::nth_element(small.begin<std::uint8_t>(), as_dark, small.end<std::uint8_t>());
  photo.dark_grey = *as_dark;
  std::nth_element(small.begin<std::uint8_t>(), as_bright, small.end<std::uint8_t>());
  photo.bright_grey = *as_bright;
}

Outcome<Photo> read_photo(const fs::path& path, const ReadPhotosSettings& settings) {
  const auto bytes = read_bytes(path, settings.largest_file_bytes);
  if (!bytes) return tl::unexpected(bytes.error());
  auto notes = read_image_notes(*bytes);
  if (!notes) return tl::unexpected(notes.error());
  const auto grey = decode(*bytes, settings, *notes);
  if (!grey) return tl::unexpected(grey.error());
  Photo photo;
  photo.name = path.filename().string();
  photo.width = grey->cols;
  photo.height = grey->rows;
  photo.focal_mm_35 = notes->focal_mm_35;
  photo.phone = notes->phone;
  photo.grey.assign(grey->datastart, grey->dataend);
  look_at(*grey, photo);
  return photo;
}

std::string why_useless(const Photo& photo, const ReadPhotosSettings& settings) {
  if (std::min(photo.width, photo.height) < settings.smallest_side_px) return "too small to measure in";
  if (photo.bright_grey < settings.darkest) return "too dark";
  if (photo.dark_grey > settings.brightest) return "overexposed";
  return "";
}

void set_aside_blurred_and_doubles(PhotoSet& set, const ReadPhotosSettings& settings) {
  if (set.photos.empty()) return;
  std::vector<double> sharpness;
  for (const Photo& photo : set.photos) sharpness.push_back(photo.sharpness);
  const double usual = median_of(sharpness);
  std::vector<Photo> kept;
  for (Photo& photo : set.photos) {
    std::string why;
    if (photo.sharpness < settings.blurred_below * usual) why = "blurred";
    for (const Photo& earlier : kept) {
      if (earlier.grey == photo.grey) why = "the same picture as " + earlier.name;
    }
    if (why.empty()) {
      kept.push_back(std::move(photo));
    } else {
      set.left_out.push_back({photo.name, why});
    }
  }
  set.photos = std::move(kept);
}

void number_lenses(PhotoSet& set) {
  std::map<std::tuple<std::string, int, int, double>, std::size_t> lenses;
  for (Photo& photo : set.photos) {
    const auto key = std::make_tuple(photo.phone, photo.width, photo.height, photo.focal_mm_35);
    photo.lens = lenses.try_emplace(key, lenses.size()).first->second;
  }
  set.lens_count = lenses.size();
}

}  // namespace

Outcome<PhotoSet> read_photos(const fs::path& folder, const ReadPhotosSettings& settings, Workers& workers) {
  std::error_code error;
  if (!fs::is_directory(folder, error)) {
    return refuse(RefusalReason::file_not_found, "'" + folder.string() + "' is no folder", "name a folder of photos");
  }
  PhotoSet set;
  std::vector<fs::path> paths;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
    if (entry->is_directory(error)) continue;
    has_photo_name(entry->path()) ? paths.push_back(entry->path()) : void(++set.other_files);
  }
  if (error) {
    return refuse(RefusalReason::file_not_readable, "the folder '" + folder.string() + "' cannot be read",
                  "check its permissions");
  }
  std::sort(paths.begin(), paths.end());
  if (paths.size() > settings.most_photos) {
    return refuse(RefusalReason::file_over_limit,
                  "the folder holds " + std::to_string(paths.size()) + " photos, the limit is " +
                      std::to_string(settings.most_photos),
                  "keep the 24 to 48 best");
  }
  std::vector<std::optional<Outcome<Photo>>> read(paths.size());
  workers.for_chunks(paths.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) read[i] = read_photo(paths[i], settings);
  });
  std::uint64_t pixels = 0;
  for (std::size_t i = 0; i < paths.size(); ++i) {
    if (!*read[i]) {
      set.left_out.push_back({paths[i].filename().string(), read[i]->error().what});
      continue;
    }
    Photo& photo = **read[i];
    if (const std::string why = why_useless(photo, settings); !why.empty()) {
      set.left_out.push_back({photo.name, why});
      continue;
    }
    pixels += photo.grey.size();
    set.photos.push_back(std::move(photo));
  }
  if (pixels > settings.most_pixels) {
    return refuse(RefusalReason::file_over_limit, "the photos hold more than 3000 megapixels together",
                  "keep the 24 to 48 best, or save them smaller");
  }
  set_aside_blurred_and_doubles(set, settings);
  number_lenses(set);
  if (set.photos.size() < 3) {
    std::string what = "of " + std::to_string(paths.size()) + " photos in '" + folder.string() + "' " +
                       std::to_string(set.photos.size()) + " can be used";
    if (!set.left_out.empty()) what += " (" + set.left_out.front().name + ": " + set.left_out.front().why + ")";
    return refuse(RefusalReason::capture_insufficient, what, "take 24 photos or more, all round the bevel");
  }
  return set;
}

}  // namespace rimwright
