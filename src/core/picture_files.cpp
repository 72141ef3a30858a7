#include "core/picture_files.h"

#include <csetjmp>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <utility>
// Behind <cstdio>, which it needs and does not include.
#include <jpeglib.h>
#include <png.h>

namespace rimwright {

namespace {

// Both libraries report faults by a jump. Between setjmp and what may jump nothing with a destructor is made: rows and
// results belong to the callers.

struct JpegFault {
  jpeg_error_mgr manager;  // first, as libjpeg hands it back
  std::jmp_buf jump;
};

[[noreturn]] void leave_jpeg(j_common_ptr common) {
  std::longjmp(reinterpret_cast<JpegFault*>(common->err)->jump, 1);  // NOLINT: libjpeg's way
}

void say_nothing(j_common_ptr) {}

// Called at least once a scan.
void leave_endless_jpeg(j_common_ptr common) {
  if (reinterpret_cast<j_decompress_ptr>(common)->input_scan_number > most_jpeg_scans) leave_jpeg(common);
}

jpeg_error_mgr* quiet(JpegFault& fault) {
  jpeg_std_error(&fault.manager);
  fault.manager.error_exit = leave_jpeg;
  fault.manager.output_message = say_nothing;
  return &fault.manager;
}

bool decode_jpeg(std::span<const unsigned char> bytes, std::uint64_t most_pixels, Picture<std::uint8_t>& picture) {
  jpeg_decompress_struct jpeg{};
  jpeg_progress_mgr progress{};
  JpegFault fault{};
  jpeg.err = quiet(fault);
  if (setjmp(fault.jump) != 0) {
    jpeg_destroy_decompress(&jpeg);
    return false;
  }
  jpeg_create_decompress(&jpeg);
  progress.progress_monitor = leave_endless_jpeg;
  jpeg.progress = &progress;
  jpeg_mem_src(&jpeg, bytes.data(), bytes.size());
  jpeg_read_header(&jpeg, TRUE);
  const std::uint64_t pixels = std::uint64_t{jpeg.image_width} * jpeg.image_height;
  if (jpeg.num_components == 4 || pixels == 0 || pixels > most_pixels) {
    jpeg_destroy_decompress(&jpeg);
    return false;
  }
  jpeg.out_color_space = JCS_GRAYSCALE;
  jpeg_start_decompress(&jpeg);
  picture.width = static_cast<int>(jpeg.output_width);
  picture.height = static_cast<int>(jpeg.output_height);
  picture.pixels.resize(pixels);
  while (jpeg.output_scanline < jpeg.output_height) {
    JSAMPROW row = picture.pixels.data() + std::size_t{jpeg.output_scanline} * jpeg.output_width;
    jpeg_read_scanlines(&jpeg, &row, 1);
  }
  jpeg_finish_decompress(&jpeg);
  jpeg_destroy_decompress(&jpeg);
  return true;
}

bool encode_jpeg(std::span<const std::uint8_t> rgb, int width, int height, int quality, unsigned char*& bytes,
                 unsigned long& size) {  // NOLINT: libjpeg's type
  jpeg_compress_struct jpeg{};
  JpegFault fault{};
  jpeg.err = quiet(fault);
  if (setjmp(fault.jump) != 0) {
    jpeg_destroy_compress(&jpeg);
    return false;
  }
  jpeg_create_compress(&jpeg);
  jpeg_mem_dest(&jpeg, &bytes, &size);
  jpeg.image_width = static_cast<JDIMENSION>(width);
  jpeg.image_height = static_cast<JDIMENSION>(height);
  jpeg.input_components = 3;
  jpeg.in_color_space = JCS_RGB;
  jpeg_set_defaults(&jpeg);
  jpeg_set_quality(&jpeg, quality, TRUE);
  jpeg_start_compress(&jpeg, TRUE);
  while (jpeg.next_scanline < jpeg.image_height) {
    // libjpeg only reads the row, though its type does not say so.
    auto* row = const_cast<JSAMPLE*>(rgb.data() + std::size_t{jpeg.next_scanline} * jpeg.image_width * 3);
    jpeg_write_scanlines(&jpeg, &row, 1);
  }
  jpeg_finish_compress(&jpeg);
  jpeg_destroy_compress(&jpeg);
  return true;
}

[[noreturn]] void leave_png(png_structp png, png_const_charp) { png_longjmp(png, 1); }
void warn_png(png_structp, png_const_charp) {}

struct PngSource {
  std::span<const unsigned char> left;
};

void take_png(png_structp png, png_bytep into, std::size_t count) {
  auto& source = *static_cast<PngSource*>(png_get_io_ptr(png));
  if (source.left.size() < count) png_error(png, "the file ends");
  std::memcpy(into, source.left.data(), count);
  source.left = source.left.subspan(count);
}

// What the pixels are brought to; nothing but the byte order is changed of 16-bit ones.
void ask_for_grey(png_structp png, png_infop info) {
  const auto colour = png_get_color_type(png, info);
  if (png_get_bit_depth(png, info) == 16) png_set_strip_16(png);
  png_set_strip_alpha(png);
  if (colour == PNG_COLOR_TYPE_PALETTE) png_set_palette_to_rgb(png);
  if (colour == PNG_COLOR_TYPE_GRAY) png_set_expand_gray_1_2_4_to_8(png);
  constexpr double red = 0.299, green = 0.587;  // ITU-R BT.601; blue is the rest
  if ((colour & PNG_COLOR_MASK_COLOR) != 0) png_set_rgb_to_gray(png, PNG_ERROR_ACTION_NONE, red, green);
}

template <class Pixel>
bool decode_png(std::span<const unsigned char> bytes, std::uint64_t most_pixels, Picture<Pixel>& picture,
                std::vector<png_bytep>& rows) {
  png_structp png = png_create_read_struct(PNG_LIBPNG_VER_STRING, nullptr, leave_png, warn_png);
  png_infop info = png == nullptr ? nullptr : png_create_info_struct(png);
  PngSource source{bytes};
  if (info == nullptr || setjmp(png_jmpbuf(png)) != 0) {
    png_destroy_read_struct(&png, &info, nullptr);
    return false;
  }
  png_set_read_fn(png, &source, take_png);
  png_read_info(png, info);
  const std::uint64_t width = png_get_image_width(png, info), height = png_get_image_height(png, info);
  if (width * height > most_pixels) png_error(png, "gigantic");
  if constexpr (sizeof(Pixel) == 1) {
    ask_for_grey(png, info);
  } else {
    if (png_get_color_type(png, info) != PNG_COLOR_TYPE_GRAY || png_get_bit_depth(png, info) != 16)
      png_error(png, "not one channel of 16 bits");
    png_set_swap(png);  // stored big endian
  }
  png_set_interlace_handling(png);
  png_read_update_info(png, info);
  if (png_get_rowbytes(png, info) != width * sizeof(Pixel)) png_error(png, "not one channel");
  picture.width = static_cast<int>(width);
  picture.height = static_cast<int>(height);
  picture.pixels.resize(width * height);
  rows.resize(height);
  for (std::size_t row = 0; row < height; ++row)
    rows[row] = reinterpret_cast<png_bytep>(picture.pixels.data() + row * width);
  png_read_image(png, rows.data());
  png_read_end(png, info);
  png_destroy_read_struct(&png, &info, nullptr);
  return true;
}

void put_png(png_structp png, png_bytep from, std::size_t count) {
  auto& bytes = *static_cast<std::vector<unsigned char>*>(png_get_io_ptr(png));
  bytes.insert(bytes.end(), from, from + count);
}
void flush_png(png_structp) {}

// What kind of PNG, and how the rows given are laid out.
struct PngKind {
  int bits, colour_type;
  int filter;  // PNG_FILTER_...
};

bool encode_png(const unsigned char* rows, std::size_t stride, int width, int height, const PngKind& kind,
                std::vector<unsigned char>& bytes) {
  png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, leave_png, warn_png);
  png_infop info = png == nullptr ? nullptr : png_create_info_struct(png);
  if (info == nullptr || setjmp(png_jmpbuf(png)) != 0) {
    png_destroy_write_struct(&png, &info);
    return false;
  }
  png_set_write_fn(png, &bytes, put_png, flush_png);
  png_set_IHDR(png, info, static_cast<png_uint_32>(width), static_cast<png_uint_32>(height), kind.bits,
               kind.colour_type, PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
  png_set_compression_level(png, 1);  // several times faster than the usual, for a quarter more bytes
  png_set_filter(png, PNG_FILTER_TYPE_BASE, kind.filter);
  png_write_info(png, info);
  if (kind.bits == 16) png_set_swap(png);
  if (kind.colour_type == PNG_COLOR_TYPE_RGB) {
    png_set_bgr(png);
    png_set_filler(png, 0, PNG_FILLER_AFTER);
  }
  for (int row = 0; row < height; ++row) png_write_row(png, rows + static_cast<std::size_t>(row) * stride);
  png_write_end(png, info);
  png_destroy_write_struct(&png, &info);
  return true;
}

bool is_png(std::span<const unsigned char> bytes) { return bytes.size() >= 8 && png_sig_cmp(bytes.data(), 0, 8) == 0; }

}  // namespace

std::optional<Picture<std::uint8_t>> grey_picture(std::span<const unsigned char> bytes, std::uint64_t most_pixels) {
  Picture<std::uint8_t> picture;
  std::vector<png_bytep> rows;
  const bool decoded =
      is_png(bytes) ? decode_png(bytes, most_pixels, picture, rows) : decode_jpeg(bytes, most_pixels, picture);
  return decoded ? std::optional(std::move(picture)) : std::nullopt;
}

std::optional<Picture<std::uint16_t>> deep_picture(std::span<const unsigned char> bytes, std::uint64_t most_pixels) {
  Picture<std::uint16_t> picture;
  std::vector<png_bytep> rows;
  if (!is_png(bytes) || !decode_png(bytes, most_pixels, picture, rows)) return std::nullopt;
  return picture;
}

std::vector<unsigned char> jpeg_of(std::span<const std::uint8_t> rgb, int width, int height, int quality) {
  unsigned char* buffer = nullptr;
  unsigned long size = 0;  // NOLINT: libjpeg's type
  const bool encoded = encode_jpeg(rgb, width, height, quality, buffer, size);
  std::vector<unsigned char> bytes;
  if (encoded) bytes.assign(buffer, buffer + size);
  std::free(buffer);
  return bytes;
}

std::vector<unsigned char> png_of_rows(const unsigned char* rows, std::size_t stride, int width, int height) {
  std::vector<unsigned char> bytes;
  const PngKind kind{8, PNG_COLOR_TYPE_RGB, PNG_FILTER_SUB};
  if (!encode_png(rows, stride, width, height, kind, bytes)) bytes.clear();
  return bytes;
}

std::vector<unsigned char> png_of(std::span<const std::uint16_t> pixels, int width, int height) {
  std::vector<unsigned char> bytes;
  const PngKind kind{16, PNG_COLOR_TYPE_GRAY, PNG_ALL_FILTERS};
  const std::size_t stride = static_cast<std::size_t>(width) * sizeof(std::uint16_t);
  if (!encode_png(reinterpret_cast<const unsigned char*>(pixels.data()), stride, width, height, kind, bytes))
    bytes.clear();
  return bytes;
}

}  // namespace rimwright
