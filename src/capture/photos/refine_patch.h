// A small patch of wood, flat or bent along its length, moved and tilted until all photos agree on what is painted on
// it.
//
// Multi-photo least squares matching in object space (Gruen, S. Afr. J. Photogramm. 14, 1985; Gruen and Baltsavias,
// PE&RS 54, 1988): unknowns are the offset along the normal and two slopes; gain and offset of each photo are taken
// out by normalising; residuals are taken against the mean of all photos, so that no photo is the reference.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "capture/photos/camera.h"
#include "capture/photos/smooth_photo.h"

namespace rimwright {

// Photos and cameras at one size; a photo that is not placed is empty.
struct PhotoStack {
  std::vector<View> views;
  std::vector<SmoothPhoto> photos;
};

// The same cameras for photos shrunk by an integer.
[[nodiscard]] std::vector<View> shrink_views(const std::vector<View>& views, int shrink);

// Cameras and photos shrunk by an integer, each pixel the mean of the square it covers.
[[nodiscard]] PhotoStack shrink_stack(const PhotoStack& stack, int shrink, Workers& workers);

struct RefinePatchSettings {
  double half_along_mm = 1.4;      // half size along the first tangent
  double half_across_mm = 1.4;     // along the second; about 25 pixels of a 12-megapixel photo in all
  double sample_spacing_px = 1.0;  // of the sharpest photo
  std::size_t fewest_photos = 3;   // two can agree by chance
  std::size_t most_photos = 8;
  double steepest_incidence_deg = 62.0;
  double least_angle_between_deg = 5.0;
  double correlation_floor = 0.35;  // of a photo with the mean of the others, and not far below the median
  double correlation_drop = 0.25;
  int most_rounds = 8;
  double settled_mm = 0.0008;
  double farthest_mm = 0.6;         // from where it began, along the normal
  double farthest_tilt_deg = 30.0;  // from where it began
  bool tilt_along_free = true;      // false: the slope along the first tangent is known,
  bool tilt_across_free = true;     // or along the second
  double least_contrast = 2.0;      // standard deviation of grey levels (of 255) within the patch
};

struct Patch {
  Vector3 at_sheet_mm = Vector3::Zero();
  Vector3 normal_sheet = Vector3::UnitZ();
  Vector3 along_sheet = Vector3::UnitX();            // first tangent
  double correlation = 0.0;                          // mean over photos with the mean of the others
  double sigma_mm = 0.0;                             // of the offset, clustered by photo (sandwich), not by sample
  double contrast = 0.0;                             // grey levels
  double moved_mm = 0.0;                             // along the normal it began with
  double half_along_mm = 0.0, half_across_mm = 0.0;  // half sizes it was matched with
  double bend_per_mm = 0.0;                          // curvature along its length; positive where the middle stands out
  std::vector<std::uint16_t> photos;                 // that agree
};

// How far a place lies over the patch, extended as it bends.
[[nodiscard]] inline double height_over(const Patch& patch, const Vector3& at_sheet_mm) {
  const Vector3 d = at_sheet_mm - patch.at_sheet_mm;
  const double along_mm = d.dot(patch.along_sheet);
  return d.dot(patch.normal_sheet) + 0.5 * patch.bend_per_mm * along_mm * along_mm;
}

enum class PatchFate { good, too_few_photos, too_plain, ran_away, disagrees };

// Photos that may see a patch: in the picture, not too slanting, spread in direction; best first.
[[nodiscard]] std::vector<std::uint16_t> choose_photos(const PhotoStack& stack, const Vector3& at_sheet_mm,
                                                       const Vector3& normal_sheet,
                                                       const RefinePatchSettings& settings);

// Refines in place. `photos` as chosen. Everything but `good` leaves the patch unspecified.
[[nodiscard]] PatchFate refine_patch(const PhotoStack& stack, std::span<const std::uint16_t> photos,
                                     const RefinePatchSettings& settings, Patch& patch);

// Where each photo of a refined patch shows its middle: the projection, corrected by the shift that brings the photo
// onto the mean of the others. Pixels of level 0; one entry a photo of the patch; NaN where the shift is not sound.
[[nodiscard]] std::vector<Vector2> sight_patch(const PhotoStack& stack, const Patch& patch,
                                               const RefinePatchSettings& settings);

}  // namespace rimwright
