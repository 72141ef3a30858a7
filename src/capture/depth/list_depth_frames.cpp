#include "capture/depth/list_depth_frames.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "capture/depth/read_trajectory.h"

namespace rimwright {

namespace {

namespace fs = std::filesystem;

// The layout's page names none; these are the names that its own tool's output is given.
constexpr std::array<const char*, 4> association_names{"associations.txt", "association.txt", "associate.txt",
                                                       "associated.txt"};

bool is_there(const fs::path& file) {
  std::error_code error;
  return fs::exists(file, error);
}

std::optional<std::string> association_name(const fs::path& folder) {
  for (const char* name : association_names)
    if (is_there(folder / name)) return name;
  return std::nullopt;
}

std::optional<double> number_of(const std::string& word) {
  try {
    std::size_t used = 0;
    const double value = std::stod(word, &used);
    if (used == word.size() && std::isfinite(value)) return value;
  } catch (const std::exception&) {
  }
  return std::nullopt;
}

// 2.png before 10.png: runs of digits compare as numbers.
bool comes_before(const std::string& a, const std::string& b) {
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  std::size_t i = 0, k = 0;
  while (i < a.size() && k < b.size()) {
    if (!is_digit(a[i]) || !is_digit(b[k])) {
      if (a[i] != b[k]) return a[i] < b[k];
      ++i, ++k;
      continue;
    }
    while (i < a.size() && a[i] == '0') ++i;
    while (k < b.size() && b[k] == '0') ++k;
    std::size_t i_end = i, k_end = k;
    while (i_end < a.size() && is_digit(a[i_end])) ++i_end;
    while (k_end < b.size() && is_digit(b[k_end])) ++k_end;
    if (i_end - i != k_end - k) return i_end - i < k_end - k;
    for (; i < i_end; ++i, ++k)
      if (a[i] != b[k]) return a[i] < b[k];
  }
  if (a.size() - i != b.size() - k) return a.size() - i < b.size() - k;
  return a < b;
}

std::vector<fs::path> images_in(const fs::path& folder) {
  std::vector<fs::path> files;
  std::error_code error;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
    std::string extension = entry->path().extension().string();
    std::transform(extension.begin(), extension.end(), extension.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    if (extension == ".png" || extension == ".jpg" || extension == ".jpeg") files.push_back(entry->path());
  }
  std::sort(files.begin(), files.end(), [](const fs::path& a, const fs::path& b) {
    return comes_before(a.filename().string(), b.filename().string());
  });
  return files;
}

// Files named in a list stay inside the capture's folder.
bool stays_inside(const fs::path& file) {
  return file.is_relative() && std::find(file.begin(), file.end(), "..") == file.end();
}

// Each depth image gets the colour image nearest in time, within the gap.
Outcome<bool> add_colour_by_time(const fs::path& folder, std::vector<FrameFiles>& frames,
                                 const ReadDepthSettings& settings) {
  const auto text = read_text(folder / "rgb.txt", settings.most_text_bytes);
  if (!text) return tl::unexpected(text.error());
  const auto lines = parse_tum_list(*text, "rgb.txt");
  if (!lines) return tl::unexpected(lines.error());
  for (FrameFiles& files : frames) {
    const auto after = std::lower_bound(lines->begin(), lines->end(), *files.time_s,
                                        [](const TimedLine& line, double time_s) { return line.time_s < time_s; });
    for (const auto& nearest : {after, after == lines->begin() ? after : std::prev(after)}) {
      if (nearest == lines->end() || std::abs(nearest->time_s - *files.time_s) > settings.association_gap_s) continue;
      if (!stays_inside(nearest->words[0])) {
        return refuse(RefusalReason::file_malformed, "rgb.txt names a file outside the capture's folder",
                      "keep the images in the folder");
      }
      files.colour = folder / nearest->words[0];
      break;
    }
  }
  return true;
}

Outcome<std::vector<FrameFiles>> list_tum_frames(const fs::path& folder, const ReadDepthSettings& settings) {
  const auto association = association_name(folder);
  const bool associated = association.has_value();
  const std::string name = association.value_or("depth.txt");
  const auto text = read_text(folder / name, settings.most_text_bytes);
  if (!text) return tl::unexpected(text.error());
  const auto lines = parse_tum_list(*text, name);
  if (!lines) return tl::unexpected(lines.error());
  std::vector<FrameFiles> frames;
  for (const TimedLine& line : *lines) {
    FrameFiles files;
    files.time_s = line.time_s;
    files.depth = line.words[0];
    if (associated) {
      // 'time file time file', either kind first; the depth image is the one in the depth folder.
      if (line.words.size() != 3) {
        return refuse(RefusalReason::file_malformed, "a line of " + name + " is not 'time file time file'",
                      "associate depth and colour again");
      }
      files.colour = line.words[2];
      if (line.words[2].rfind("depth", 0) == 0) {
        std::swap(files.depth, files.colour);
        files.time_s = number_of(line.words[1]);
        if (!files.time_s) {
          return refuse(RefusalReason::file_malformed, "a line of " + name + " is not 'time file time file'",
                        "associate depth and colour again");
        }
      }
    }
    if (!stays_inside(files.depth) || !stays_inside(files.colour)) {
      return refuse(RefusalReason::file_malformed, name + " names a file outside the capture's folder",
                    "keep the images in the folder");
    }
    files.name = files.depth.filename().string();
    files.depth = folder / files.depth;
    if (!files.colour.empty()) files.colour = folder / files.colour;
    frames.push_back(std::move(files));
  }
  if (!associated && is_there(folder / "rgb.txt")) {
    if (const auto refused = add_colour_by_time(folder, frames, settings); !refused)
      return tl::unexpected(refused.error());
  }
  return frames;
}

Outcome<std::vector<FrameFiles>> list_plain_frames(const fs::path& folder) {
  const std::vector<fs::path> depth = images_in(folder / "depth");
  const std::vector<fs::path> colour = images_in(folder / "color");
  if (!colour.empty() && colour.size() != depth.size()) {
    return refuse(RefusalReason::capture_insufficient,
                  "the capture holds " + std::to_string(depth.size()) + " depth and " + std::to_string(colour.size()) +
                      " colour images",
                  "keep one colour image for each depth image, or none");
  }
  std::vector<FrameFiles> frames;
  for (std::size_t i = 0; i < depth.size(); ++i) {
    // Images named by their time can be found in a timed trajectory.
    frames.push_back({depth[i].filename().string(), depth[i], colour.empty() ? fs::path() : colour[i],
                      number_of(depth[i].stem().string())});
  }
  return frames;
}

}  // namespace

bool has_tum_lists(const fs::path& folder) {
  return association_name(folder).has_value() || is_there(folder / "depth.txt");
}

Outcome<std::vector<FrameFiles>> list_depth_frames(const fs::path& folder, const ReadDepthSettings& settings) {
  return has_tum_lists(folder) ? list_tum_frames(folder, settings) : list_plain_frames(folder);
}

}  // namespace rimwright
