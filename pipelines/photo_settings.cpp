#include "pipelines/settings_lists.h"

namespace rimwright {
namespace {

void list_refine(const std::string& key, RefinePatchSettings& settings, SettingsTable& table) {
  GROUP(RefinePatchSettings, settings, key, 0);
  BIND(half_along_mm, 0.3, 6);
  BIND(half_across_mm, 0.3, 6);
  BIND(sample_spacing_px, 0.5, 4);
  BIND(fewest_photos, 2, 12);
  BIND(most_photos, 2, 60);
  BIND(steepest_incidence_deg, 15, 85);
  BIND(least_angle_between_deg, 1, 20);
  BIND(correlation_floor, 0.05, 0.99);
  BIND(correlation_drop, 0.05, 0.99);
  BIND(most_rounds, 1, 40);
  BIND(settled_mm, 0.0002, 0.004);
  BIND(farthest_mm, 0.15, 3);
  BIND(farthest_tilt_deg, 6, 85);
  BIND(tilt_along_free, 0, 1);
  BIND(tilt_across_free, 0, 1);
  BIND(least_contrast, 0.2, 8);
  ORDER(fewest_photos, most_photos);
}

void list_slide(const std::string& key, SlidePatchSettings& settings, SettingsTable& table) {
  GROUP(SlidePatchSettings, settings, key, 0);
  BIND(step_mm, 0.02, 0.6);
  BIND(sample_spacing_px, 0.5, 6);
  BIND(least_agreement, 0.1, 0.99);
  BIND(most_peaks, 1, 10);
  BIND(least_correlation, 0.05, 0.99);
}

}  // namespace

void list_photo_settings(PhotoSettings& settings, SettingsTable& table) {
  {
    GROUP(PhotoSettings, settings, "photos", 27);
    BIND(smooth_px, 0.1, 3);
  }
  {
    GROUP(ScaleTarget, settings.target, "photos.target", 0);
    BIND(squares_across, 3, 40);
    BIND(squares_down, 3, 40);
    BIND(square_mm, 4, 100);
    BIND(marker_mm, 2, 95);
    BIND(dictionary, 0, 1);
    BIND(check_bar_mm, 20, 400);
    ORDER(marker_mm, square_mm);
  }
  {
    GROUP(PrintScale, settings.print, "photos.print", 1);
    BIND(bar_reading_u_mm, 0.001, 1);
    BIND(unmeasured_relative_u, 0.0001, 0.05);
  }
  {
    GROUP(ReadPhotosSettings, settings.read, "photos.read", 0);
    BIND(largest_file_bytes, 1'000'000, 500'000'000);
    BIND(largest_photo_pixels, 1'000'000, 500'000'000);
    BIND(most_photos, 3, 600);
    BIND(most_pixels, 30'000'000, 15'000'000'000);
    BIND(smallest_side_px, 240, 2000);
    BIND(blurred_below, 0, 0.95);
    BIND(darkest, 0, 100);
    BIND(brightest, 128, 255);
    ORDER(darkest, brightest);
  }
  {
    GROUP(FindTargetSettings, settings.find_target, "photos.find_target", 1);
    BIND(search_side_px, 600, 9000);
    BIND(patient_side_px, 600, 12'000);
    BIND(patient_below_share, 0, 1);
  }
  {
    GROUP(RefineCornerSettings, settings.find_target.corner, "photos.find_target.corner", 0);
    BIND(arm_share, 0.08, 0.5);
    BIND(clear_of_marker_px, 0, 8);
    BIND(farthest_px, 1, 20);
    BIND(least_contrast, 4, 60);
    BIND(largest_misfit, 0.1, 1.6);
    BIND(largest_u_px, 0.1, 2);
  }
  {
    GROUP(PlaceByTargetSettings, settings.place, "photos.place", 0);
    BIND(corner_in_plane_sigma_mm, 0.005, 0.08);
    BIND(corner_height_sigma_mm, 0.1, 2);
    BIND(fewest_corners, 6, 60);
    BIND(focal_unknown_mm_35, 6, 150);
  }
  {
    GROUP(FindFeaturesSettings, settings.features, "photos.features", 0);
    BIND(search_megapixels, 0.8, 15);
    BIND(features_per_photo, 1000, 20'000);
    BIND(contrast, 0.002, 0.04);
  }
  {
    GROUP(MatchFeaturesSettings, settings.match, "photos.match", 0);
    BIND(neighbours, 1, 30);
    BIND(widest_angle_deg, 10, 85);
    BIND(line_distance_share, 0.00015, 0.006);
    BIND(ratio, 0.5, 0.99);
    BIND(highest_mm, 2, 120);
    BIND(lowest_mm, -400, -20);
    BIND(keep_within_share, 0.0002, 0.008);
    ORDER(lowest_mm, highest_mm);
  }
  {
    GROUP(PlaceByFeaturesSettings, settings.place_rest, "photos.place_rest", 0);
    BIND(ratio, 0.5, 0.99);
    BIND(residual_share, 0.0002, 0.01);
    BIND(fewest_matches, 8, 200);
    BIND(draws, 100, 100'000);
  }
  {
    GROUP(AdjustCamerasSettings, settings.adjust, "photos.adjust", 0);
    BIND(target_sigma_px, 0.01, 0.2);
    BIND(tie_sigma_px, 0.06, 1.5);
    BIND(focal_drift_sigma, 0.0005, 0.008);
    BIND(centre_drift_sigma_px, 0.6, 15);
    BIND(focal_prior_share, 0.015, 0.6);
    BIND(distortion_prior, 0.06, 1.5);
    BIND(cut_at_sigmas, 1, 20);
    BIND(rounds, 1, 20);
    BIND(drifts_free, 0, 1);
  }
  {
    GROUP(SeedPatchesSettings, settings.seeds, "photos.seeds", 1);
    BIND(spacing_mm, 1, 20);
    BIND(neighbourhood_mm, 2, 40);
    BIND(least_correlation, 0.05, 0.99);
  }
  list_refine("photos.seeds.refine", settings.seeds.refine, table);
  {
    GROUP(SeedOverTableSettings, settings.over_table, "photos.over_table", 3);
    BIND(level_above_cosine, 0.7, 0.995);
    BIND(within_mm, 0.3, 8);
    BIND(table_share, 0.1, 0.95);
    BIND(below_share, 0.005, 0.4);
    BIND(clear_mm, 2, 60);
    BIND(highest_mm, 60, 600);
    BIND(spacing_mm, 2, 30);
    BIND(target_margin_mm, 0.5, 40);
    BIND(least_neighbours, 1, 20);
    BIND(same_height_mm, 0.5, 10);
    BIND(fewest_patches, 3, 200);
    BIND(shrink, 1, 8);
    ORDER(clear_mm, highest_mm);
  }
  list_slide("photos.over_table.slide", settings.over_table.slide, table);
  list_refine("photos.over_table.coarse", settings.over_table.coarse, table);
  list_refine("photos.over_table.refine", settings.over_table.refine, table);
  {
    GROUP(SeedFacesSettings, settings.seed_faces, "photos.seed_faces", 2);
    BIND(level_above_cosine, 0.7, 0.995);
    BIND(neighbourhood_mm, 6, 80);
    BIND(one_sided_share, 0.05, 0.6);
    BIND(spacing_mm, 1.5, 20);
    BIND(outmost_mm, 4, 100);
    BIND(inmost_mm, -120, 0);
    BIND(turn_deg, 5, 60);
    BIND(from_plane_mm, 2, 36);
  }
  list_slide("photos.seed_faces.slide", settings.seed_faces.slide, table);
  list_refine("photos.seed_faces.refine", settings.seed_faces.refine, table);
  {
    GROUP(SurfaceZoneSettings, settings.zone, "photos.zone", 0);
    BIND(steep_below_cosine, 0.05, 0.99);
    BIND(within_mm, 10, 200);
    BIND(deepest_mm, 10, 200);
    BIND(highest_mm, 2, 120);
    BIND(target_margin_mm, 0.5, 8);
    BIND(cell_mm, 0.6, 15);
    BIND(least_side_patches, 1, 40);
  }
  {
    GROUP(GrowPatchesSettings, settings.grow, "photos.grow", 1);
    BIND(spacing_mm, 0.2, 4);
    BIND(small_half_mm, 0.2, 4);
    BIND(long_half_mm, 0.4, 8);
    BIND(narrow_half_mm, 0.15, 2);
    BIND(least_correlation, 0.05, 0.99);
    BIND(parent_correlation, 0.05, 0.99);
    BIND(parent_sigma_mm, 0.01, 0.2);
    BIND(same_face_deg, 5, 80);
    BIND(most_patches, 1000, 500'000);
    BIND(most_rounds, 40, 2000);
  }
  list_refine("photos.grow.refine", settings.grow.refine, table);
  {
    GROUP(CompareHalvesSettings, settings.halves, "photos.halves", 1);
    BIND(most_patches, 40, 20'000);
    BIND(same_face_deg, 3, 60);
  }
  list_refine("photos.halves.refine", settings.halves.refine, table);
  {
    GROUP(KeepSupportedSettings, settings.support, "photos.support", 0);
    BIND(reach_mm, 0.6, 15);
    BIND(same_face_deg, 5, 80);
    BIND(off_plane_mm, 0.015, 0.3);
    BIND(off_plane_share, 0.003, 0.15);
    BIND(least_neighbours, 1, 20);
  }
  {
    GROUP(RimFramesSettings, settings.frames, "photos.frames", 0);
    BIND(station_step_mm, 0.25, 4);
    BIND(steep_below_cosine, 0.05, 0.6);
    BIND(level_above_cosine, 0.7, 0.995);
    BIND(side_reach_mm, 2, 30);
    BIND(top_reach_mm, 4, 60);
    BIND(top_from_mm, 1, 20);
    BIND(top_to_mm, 20, 200);
    BIND(fewest_patches, 4, 60);
    BIND(longest_gap_mm, 2, 50);
    BIND(shortest_run_mm, 6, 100);
  }
  {
    GROUP(EdgeFramesSettings, settings.edges, "photos.edges", 0);
    BIND(steep_below_cosine, 0.05, 0.6);
    BIND(level_above_cosine, 0.7, 0.995);
    BIND(bevel_along_mm, 1, 12);
    BIND(bevel_reach_mm, 10, 200);
    BIND(fewest_patches, 4, 60);
    BIND(roughest_mm, 0.02, 1);
    BIND(narrowest_mm, 1, 12);
    BIND(farthest_mm, 3, 30);
    BIND(shallow_mm, 1, 30);
  }
  {
    GROUP(DropLedgesSettings, settings.drop_ledges, "photos.drop_ledges", 0);
    BIND(nearest_mm, 0.5, 6);
    BIND(same_face_deg, 5, 45);
    BIND(off_face_mm, 0.1, 2);
    BIND(off_bevel_mm, 0.1, 6);
    BIND(off_share, 0, 0.1);
  }
  {
    GROUP(TrimEdgesSettings, settings.trim, "photos.trim", 0);
    BIND(reach_mm, 0.6, 10);
    BIND(beside_mm, 0.1, 2);
    BIND(same_face_deg, 5, 80);
    BIND(off_plane_mm, 0.03, 0.6);
    BIND(least_neighbours, 1, 20);
    BIND(half_along_mm, 0.4, 8);
    BIND(half_across_mm, 0.1, 2);
    BIND(least_correlation, 0.05, 0.99);
    BIND(passes, 0, 8);
  }
  {
    GROUP(KeepOnFaceSettings, settings.on_face, "photos.on_face", 0);
    BIND(reach_mm, 1, 12);
    BIND(same_face_deg, 5, 80);
    BIND(near_plane_mm, 0.1, 2);
    BIND(fewest_neighbours, 8, 60);
    BIND(gate_sigmas, 2, 16);
    BIND(least_gate_mm, 0.008, 0.2);
  }
  {
    GROUP(ClearEdgesSettings, settings.clear, "photos.clear", 0);
    BIND(reach_mm, 0.6, 10);
    BIND(other_face_deg, 5, 60);
    BIND(same_face_mm, 0.05, 2);
    BIND(askew_free, 0, 1);
    BIND(clear_share, 0, 4);
    BIND(least_witnesses, 1, 12);
  }
  {
    GROUP(SweepLedgesSettings, settings.ledges, "photos.ledges", 2);
    BIND(column_step_mm, 0.1, 2);
    BIND(above_mm, 0.1, 2);
    BIND(deepest_mm, 2, 30);
    BIND(narrowest_gap_mm, 0.4, 6);
    BIND(widest_gap_mm, 6, 40);
    BIND(clear_of_face_mm, 0.1, 2);
    BIND(section_mm, 0.4, 6);
    BIND(support_along_mm, 1, 16);
    BIND(support_across_mm, 0.15, 2.5);
    BIND(support_off_mm, 0.015, 0.3);
    BIND(least_support, 1, 24);
    BIND(least_beside, 0, 12);
  }
  list_slide("photos.ledges.slide", settings.ledges.slide, table);
  list_refine("photos.ledges.refine", settings.ledges.refine, table);
  {
    GROUP(CloudOfPatchesSettings, settings.cloud, "photos.cloud", 0);
    BIND(neighbourhood_mm, 0.6, 10);
    BIND(least_sigma_mm, 0.0005, 0.008);
  }
  {
    GROUP(PhotoVerdictSettings, settings.verdict, "photos.verdict", 0);
    BIND(enough_photos, 3, 100);
    BIND(bow_mm, 0.02, 5);
    BIND(unsharp_px, 0.5, 50);
    BIND(unsharp_size_px, 500, 40'000);
    BIND(unsharp_share, 0.05, 1);
    BIND(photo_residual_ratio, 1.2, 20);
    BIND(neighbours_within_deg, 5, 180);
    BIND(thin_share, 0.02, 1);
    BIND(thin_rim_share, 0.02, 1);
    BIND(disagreeing_share, 0.05, 1);
    BIND(steepest_incidence_deg, 30, 85);
  }
}

}  // namespace rimwright
