#include "capture/photos/image_file.h"

#include <algorithm>
#include <cstring>

namespace rimwright {
namespace {

tl::unexpected<Refusal> malformed(const std::string& what) {
  return refuse(RefusalReason::file_malformed, what, "copy the photo from the phone again");
}

tl::unexpected<Refusal> truncated() {
  return refuse(RefusalReason::file_truncated, "the file ends in the middle of the picture",
                "copy the photo from the phone again");
}

// Numbers of a TIFF structure, of either byte order; reads beyond the end give 0.
class Tiff {
 public:
  Tiff(const unsigned char* bytes, std::size_t size) : bytes_(bytes), size_(size), big_(size > 1 && bytes[0] == 'M') {}
  [[nodiscard]] unsigned u16(std::size_t at) const {
    if (at + 2 > size_) return 0;
    return big_ ? 256u * bytes_[at] + bytes_[at + 1] : 256u * bytes_[at + 1] + bytes_[at];
  }
  [[nodiscard]] unsigned u32(std::size_t at) const {
    return big_ ? u16(at) << 16 | u16(at + 2) : u16(at + 2) << 16 | u16(at);
  }
  [[nodiscard]] std::string text(std::size_t at, std::size_t count) const {
    if (at >= size_) return "";
    const auto* first = reinterpret_cast<const char*>(bytes_ + at);
    std::string words(first, strnlen(first, std::min({count, size_ - at, std::size_t{64}})));
    std::erase_if(words, [](unsigned char c) { return c < 0x20 || c > 0x7e; });
    return words;
  }

 private:
  const unsigned char* bytes_;
  std::size_t size_;
  bool big_;
};

Outcome<ImageNotes> read_jpeg(const std::vector<unsigned char>& b) {
  ImageNotes notes;
  std::size_t at = 2;
  while (at + 4 <= b.size()) {
    if (b[at] != 0xFF) return malformed("a marker is missing in the JPEG");
    const unsigned marker = b[at + 1];
    if (marker == 0xFF) {
      ++at;  // fill byte
      continue;
    }
    const std::size_t length = 256u * b[at + 2] + b[at + 3];
    if (length < 2) return malformed("a segment of the JPEG has no length");
    const bool is_frame = marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 && marker != 0xCC;
    if (is_frame && at + 9 <= b.size()) {
      notes.height = static_cast<int>(256u * b[at + 5] + b[at + 6]);
      notes.width = static_cast<int>(256u * b[at + 7] + b[at + 8]);
    }
    const std::size_t body = at + 4, end = at + 2 + length;
    if (marker == 0xE1 && end <= b.size() && length > 8 && std::memcmp(b.data() + body, "Exif\0\0", 6) == 0) {
      read_exif(b.data() + body + 6, end - body - 6, notes);
    }
    if (marker == 0xDA) {
      if (notes.width == 0 || notes.height == 0) return malformed("the JPEG gives no size before its picture");
      // In the picture's data FF is always followed by 00 or a restart marker, so FF D9 can only be the end.
      constexpr unsigned char end_marker[] = {0xFF, 0xD9};
      const bool whole = std::search(b.begin() + static_cast<std::ptrdiff_t>(std::min(end, b.size())), b.end(),
                                     std::begin(end_marker), std::end(end_marker)) != b.end();
      if (!whole) return truncated();
      return notes;
    }
    at = end;
  }
  return truncated();
}

Outcome<ImageNotes> read_png(const std::vector<unsigned char>& b) {
  const auto u32 = [&](std::size_t at) {
    return static_cast<std::uint32_t>(b[at]) << 24 | static_cast<std::uint32_t>(b[at + 1]) << 16 |
           static_cast<std::uint32_t>(b[at + 2]) << 8 | b[at + 3];
  };
  ImageNotes notes;
  notes.kind = ImageKind::png;
  if (b.size() < 33) return truncated();
  if (u32(16) > 1u << 30 || u32(20) > 1u << 30) return malformed("the PNG claims an impossible size");
  notes.width = static_cast<int>(u32(16));
  notes.height = static_cast<int>(u32(20));
  for (std::size_t at = 8; at + 12 <= b.size();) {
    const std::size_t length = u32(at);
    if (length > b.size() || at + 12 + length > b.size()) return truncated();
    if (std::memcmp(b.data() + at + 4, "eXIf", 4) == 0) read_exif(b.data() + at + 8, length, notes);
    if (std::memcmp(b.data() + at + 4, "IEND", 4) == 0) return notes;
    at += 12 + length;
  }
  return truncated();
}

}  // namespace

void read_exif(const unsigned char* bytes, std::size_t size, ImageNotes& notes) {
  const Tiff tiff(bytes, size);
  if (size < 8 || tiff.u16(2) != 42) return;
  constexpr unsigned model = 0x0110, exif_directory = 0x8769, focal_35 = 0xA405;
  std::size_t directory = tiff.u32(4);
  for (int level = 0; level < 2 && directory != 0; ++level) {
    std::size_t next = 0;
    const std::size_t entries = std::min(tiff.u16(directory), 500u);
    for (std::size_t i = 0; i < entries; ++i) {
      const std::size_t at = directory + 2 + 12 * i;
      const unsigned tag = tiff.u16(at), count = tiff.u32(at + 4);
      if (tag == model) notes.phone = tiff.text(count <= 4 ? at + 8 : tiff.u32(at + 8), count);
      if (tag == exif_directory) next = tiff.u32(at + 8);
      if (tag == focal_35) {
        const unsigned focal = tiff.u16(at + 8);
        if (focal >= 8 && focal <= 600) notes.focal_mm_35 = focal;
      }
    }
    directory = next;
  }
}

Outcome<ImageNotes> read_image_notes(const std::vector<unsigned char>& b) {
  constexpr unsigned char png_start[] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1A, '\n'};
  if (b.size() > 3 && b[0] == 0xFF && b[1] == 0xD8) return read_jpeg(b);
  if (b.size() > 8 && std::equal(std::begin(png_start), std::end(png_start), b.begin())) return read_png(b);
  if (b.size() > 12 && std::memcmp(b.data() + 4, "ftyp", 4) == 0) {
    ImageNotes notes;
    notes.kind = ImageKind::heic;
    return notes;
  }
  return refuse(RefusalReason::file_not_supported, "the file is no JPEG, PNG or HEIC picture",
                "save the photo as JPEG");
}

}  // namespace rimwright
