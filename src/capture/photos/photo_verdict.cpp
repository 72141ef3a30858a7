#include "capture/photos/photo_verdict.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdarg>
#include <cstdio>
#include <map>
#include <optional>

#include "capture/photos/edge_spread.h"
#include "core/median.h"

namespace rimwright {
namespace {

[[gnu::format(printf, 1, 2)]] std::string words(const char* format, ...) {
  std::array<char, 400> text{};
  va_list arguments;
  va_start(arguments, format);
  std::vsnprintf(text.data(), text.size(), format, arguments);
  va_end(arguments);
  return text.data();
}

bool is_steep(const Patch& patch) { return std::abs(patch.normal_sheet.z()) < 0.35; }
bool is_level(const Patch& patch) { return patch.normal_sheet.z() > 0.94; }

std::size_t placed_count(const CameraNetwork& network) {
  return static_cast<std::size_t>(std::count(network.placed.begin(), network.placed.end(), true));
}

std::string facts(const PhotoEvidence& e) {
  std::vector<double> pixel_mm;
  for (const Patch& patch : e.patches) {
    const View& view = e.stack.views[patch.photos.front()];
    pixel_mm.push_back((view.T_camera_sheet * patch.at_sheet_mm).z() / view.lens.focal_px);
  }
  return words("%zu photos measure together: a pixel covers about %.2f mm of wood, the cameras agree to %.2f pixels",
               placed_count(e.network), median_of(pixel_mm), e.adjusted.tie_rms_px);
}

std::string left_out(const PhotoEvidence& e) {
  std::vector<LeftOutPhoto> all = e.set.left_out;
  for (std::size_t i = 0; i < e.set.photos.size(); ++i) {
    if (!e.network.placed[i])
      all.push_back(
          {e.set.photos[i].name, "neither the target nor enough wood that other photos show is recognised in it"});
  }
  if (all.empty()) return "";
  std::string text = all.size() == 1 ? "one photo was left out: " : words("%zu photos were left out: ", all.size());
  for (std::size_t i = 0; i < std::min<std::size_t>(all.size(), 6); ++i) {
    text += (i == 0 ? "" : ", ") + all[i].name + " (" + all[i].why + ")";
  }
  return all.size() > 6 ? text + " and others" : text;
}

std::string without_digits(std::string name) {
  std::erase_if(name, [](char c) { return c >= '0' && c <= '9'; });
  return name;
}

// What ties photos that could not be placed to the rest: one more between them. Phones number photos in the order in
// which they are taken, and who walks round a body takes neighbours one after the other; other names tell no place.
std::string tie_in(const PhotoEvidence& e, const PhotoVerdictSettings& settings) {
  const auto nearest_placed = [&](std::size_t i, int way) -> std::optional<std::size_t> {
    const auto count = static_cast<std::ptrdiff_t>(e.set.photos.size());
    for (std::ptrdiff_t k = static_cast<std::ptrdiff_t>(i) + way; k >= 0 && k < count; k += way)
      if (const auto n = static_cast<std::size_t>(k);
          e.network.placed[n] && without_digits(e.set.photos[n].name) == without_digits(e.set.photos[i].name))
        return n;
    return std::nullopt;
  };
  const Vector3 middle(0.5 * e.target.width_mm(), -0.5 * e.target.height_mm(), 0.0);
  const auto sight = [&](std::size_t i) { return Vector3((e.stack.views[i].centre_sheet_mm() - middle).normalized()); };
  const double near_cosine = std::cos(radians_from_degrees(settings.neighbours_within_deg));
  std::vector<std::string> places;
  bool is_lost = false;
  for (std::size_t i = 0; i < e.set.photos.size(); ++i) {
    if (e.network.placed[i]) continue;
    is_lost = true;
    const auto before = nearest_placed(i, -1), after = nearest_placed(i, 1);
    std::string place;
    if (before && after && sight(*before).dot(sight(*after)) > near_cosine) {
      place = "between where " + e.set.photos[*before].name + " and " + e.set.photos[*after].name + " were taken";
    } else if (before || after) {
      place = "near where " + e.set.photos[before ? *before : *after].name + " was taken";
    }
    if (!place.empty() && std::find(places.begin(), places.end(), place) == places.end()) places.push_back(place);
  }
  if (!is_lost) return "";
  if (places.empty()) return "take what was not recognised again, with the whole target in view";
  constexpr std::size_t most = 3;
  std::string text = "to use what was not recognised, take one more photo from ";
  for (std::size_t k = 0; k < std::min(most, places.size()); ++k) text += (k == 0 ? "" : ", one from ") + places[k];
  return text + ", with the whole target and the same stretch of rim in view, and add it to the folder";
}

std::string unsharp(const PhotoEvidence& e, const PhotoVerdictSettings& settings) {
  std::vector<double> seen;
  for (double r : e.adjusted.photo_rms_px) {
    if (r > 0.0) seen.push_back(r);
  }
  const double usual = median_of(seen);
  std::string names;
  for (std::size_t i = 0; i < e.adjusted.photo_rms_px.size(); ++i) {
    if (e.adjusted.photo_rms_px[i] > settings.photo_residual_ratio * usual) {
      names += (names.empty() ? "" : ", ") + e.set.photos[i].name;
    }
  }
  return names.empty() ? "" : "shoot again, steadier and with the focus on the rim: " + names;
}

// Blur that many photos share: held against each other they look alike, but the target's edges are known to be sharp.
std::string unsharp_together(const PhotoEvidence& e, const PhotoVerdictSettings& settings) {
  std::vector<std::vector<TargetCorner>> corners(e.set.photos.size());
  for (const Sighting& s : e.network.sightings) {
    if (s.point < static_cast<std::size_t>(e.target.corner_count()))
      corners[s.photo].push_back({static_cast<int>(s.point), s.pixel});
  }
  std::vector<double> all_px, wide_px;
  double largest = 1.0;
  for (std::size_t i = 0; i < corners.size(); ++i) {
    const double spread_px = edge_spread_px(e.set.photos[i], corners[i], e.target);
    if (spread_px > 0.0) all_px.push_back(spread_px);
    const double size =
        std::max(1.0, std::max(e.set.photos[i].width, e.set.photos[i].height) / settings.unsharp_size_px);
    largest = std::max(largest, size);
    if (spread_px > size * settings.unsharp_px) wide_px.push_back(spread_px);
  }
  if (wide_px.size() < 3 ||
      static_cast<double>(wide_px.size()) < settings.unsharp_share * static_cast<double>(all_px.size()))
    return "";
  return words(
      "%zu of the %zu photos that show it are unsharp: edges of the target spread over %.0f pixels, sharp ones over "
      "%.0f; "
      "shoot again in more light, the phone leant on something and the focus on the rim",
      wide_px.size(), all_px.size(), 4.0 * median_of(wide_px), 3.0 * largest);
}

// The side is where measuring is won or lost: places along it, 12 mm wide in plan, with too few patches.
std::string thin_side(const PhotoEvidence& e, const PhotoVerdictSettings& settings) {
  constexpr double place_mm = 12.0, deep_mm = 30.0;
  std::map<std::pair<long, long>, std::vector<const Patch*>> places;
  for (const Patch& patch : e.patches) {
    if (!is_steep(patch)) continue;
    places[{std::lround(patch.at_sheet_mm.x() / place_mm), std::lround(patch.at_sheet_mm.y() / place_mm)}].push_back(
        &patch);
  }
  if (places.empty())
    return "no side face could be matched: scribble on it with a soft pencil and take photos from lower down";
  std::size_t thin = 0, plain = 0, whole = 0;
  const double least_cosine = std::cos(radians_from_degrees(settings.steepest_incidence_deg));
  for (const auto& [cell, patches] : places) {
    // Where the rim only cuts a corner of the cell, few patches mean nothing.
    Vector2 low = patches.front()->at_sheet_mm.head<2>(), high = low;
    for (const Patch* patch : patches) {
      low = low.cwiseMin(patch->at_sheet_mm.head<2>());
      high = high.cwiseMax(patch->at_sheet_mm.head<2>());
    }
    if ((high - low).norm() < 0.7 * place_mm) continue;
    ++whole;
    // A place holds about its width of rim; less where the rim cuts its corner, so a third of that is asked for.
    if (static_cast<double>(patches.size()) > settings.thin_share * place_mm * deep_mm / 3.0) continue;
    ++thin;
    int squarely = 0;
    for (const View& view : e.stack.views) {
      const Vector3 sight = (view.centre_sheet_mm() - patches.front()->at_sheet_mm).normalized();
      if (sight.dot(patches.front()->normal_sheet) > least_cosine) ++squarely;
    }
    if (squarely >= 4) ++plain;
  }
  const double share = static_cast<double>(thin) / static_cast<double>(std::max<std::size_t>(1, whole));
  if (share < settings.thin_rim_share) return "";
  const bool mostly_plain = 2 * plain > thin;
  return words("the side is thinly matched along %.0f %% of the rim: %s", 100.0 * share,
               mostly_plain
                   ? "the wood is plain there; scribble over it with a soft pencil and take all photos again"
                   : "too few photos see it squarely; add photos from lower down, 30 cm away, that show 45 mm of it");
}

// Shine: photos that should see a face of this kind but do not agree with the others about it.
std::string shine(const PhotoEvidence& e, const PhotoVerdictSettings& settings) {
  const RefinePatchSettings refine;
  double asked = 0.0, agreed = 0.0;
  const std::size_t stride = std::max<std::size_t>(1, e.patches.size() / 3000);
  for (std::size_t i = 0; i < e.patches.size(); i += stride) {
    const Patch& patch = e.patches[i];
    if (!is_level(patch) && !is_steep(patch)) continue;
    asked += static_cast<double>(choose_photos(e.stack, patch.at_sheet_mm, patch.normal_sheet, refine).size());
    agreed += static_cast<double>(patch.photos.size());
  }
  if (asked <= 0.0 || 1.0 - agreed / asked < settings.disagreeing_share) return "";
  return words(
      "%.0f %% of the photos of a place do not agree with the others: the wood shines, or something moved; turn "
      "the body from the window or dust it with chalk",
      100.0 * (1.0 - agreed / asked));
}

std::string directions(const PhotoEvidence& e) {
  double lowest_deg = 90.0;
  Vector3 middle = Vector3::Zero();
  for (const Patch& patch : e.patches) middle += patch.at_sheet_mm / static_cast<double>(e.patches.size());
  for (std::size_t i = 0; i < e.stack.views.size(); ++i) {
    if (!e.network.placed[i]) continue;
    const Vector3 sight = (e.stack.views[i].centre_sheet_mm() - middle).normalized();
    lowest_deg = std::min(lowest_deg, degrees_from_radians(std::asin(std::clamp(sight.z(), -1.0, 1.0))));
  }
  if (lowest_deg < 35.0) return "";
  return words("the lowest photo looks down at %.0f degrees: add a round from 15 to 25 degrees, for the side face",
               lowest_deg);
}

std::string expectation(const PhotoEvidence& e) {
  if (e.halves.error.correlated_sigma_mm <= 0.0) return "";
  // A face of 20 mm tilts by sqrt(12) sigma / width where the error is independent over its width; k = 2.
  const double lever = std::sqrt(12.0 * std::min(1.0, e.halves.error.correlation_length_mm / 20.0));
  return words("two halves of the photos agree to %.3f mm: expect about %.2f degrees on a 20 mm bevel, at 95 %%",
               2.0 * e.halves.error.correlated_sigma_mm,
               degrees_from_radians(2.0 * lever * e.halves.error.correlated_sigma_mm / 20.0));
}

// A print that was not measured: what that costs, at 95 %.
std::string doubtful_scale(const Scale& scale) {
  constexpr double worth_a_word = 0.002;  // 0.06 mm of 16 mm
  if (scale.relative_standard_u < worth_a_word) return "";
  const double u95 = 1.96 * scale.relative_standard_u;
  return words("the scale of the print is known to %.1f %% only, %.2f mm of 16 mm: ", 100.0 * u95, 16.0 * u95) +
         "measure the target's check bar with callipers and give its length with --bar";
}

}  // namespace

double target_bow_mm(const CameraNetwork& network) {
  using Terms = Eigen::Matrix<double, 6, 1>;
  std::vector<int> seen(network.points.size(), 0);
  for (const Sighting& s : network.sightings) ++seen[s.point];
  std::vector<Terms> rows;
  Eigen::Matrix<double, 6, 6> a = Eigen::Matrix<double, 6, 6>::Zero();
  Terms b = Terms::Zero();
  for (std::size_t i = 0; i < network.points.size(); ++i) {
    if (!network.points[i].on_target || seen[i] < 3) continue;
    const Vector3& p = network.points[i].at_sheet_mm;
    const double x = p.x() / 100.0, y = p.y() / 100.0;
    Terms row;
    row << 1.0, x, y, x * x, x * y, y * y;
    a += row * row.transpose();
    b += row * p.z();
    rows.push_back(row);
  }
  if (rows.size() < 12) return 0.0;
  // The plane of the same corners is that of the bent sheet: what the quadric adds to it is the bow.
  const Terms bent = a.ldlt().solve(b);
  const Vector3 plane = a.topLeftCorner<3, 3>().ldlt().solve(b.head<3>());
  double low = 0.0, high = 0.0;
  for (const Terms& row : rows) {
    const double off = bent.dot(row) - plane.dot(row.head<3>());
    low = std::min(low, off);
    high = std::max(high, off);
  }
  return high - low;
}

std::vector<std::string> photo_verdict(const PhotoEvidence& e, const PhotoVerdictSettings& settings) {
  if (e.patches.empty()) return {};
  std::vector<std::string> notes{facts(e), expectation(e), left_out(e), tie_in(e, settings)};
  if (const std::size_t photos = placed_count(e.network); photos < settings.enough_photos) {
    notes.push_back(words("%zu photos are few: 24 see more of the ledges", photos));
  }
  if (const double bow = target_bow_mm(e.network); bow > settings.bow_mm) {
    notes.push_back(
        words("the target is bowed by %.1f mm; its shape was measured and allowed for, but glue it to "
              "something flat",
              bow));
  }
  notes.push_back(doubtful_scale(e.scale));
  notes.push_back(unsharp_together(e, settings));
  notes.push_back(unsharp(e, settings));
  notes.push_back(directions(e));
  notes.push_back(thin_side(e, settings));
  notes.push_back(shine(e, settings));
  std::erase_if(notes, [](const std::string& note) { return note.empty(); });
  return notes;
}

}  // namespace rimwright
