#include "pipelines/settings_lists.h"

namespace rimwright {

void list_file_settings(CloudFromFileSettings& settings, SettingsTable& table) {
  {
    GROUP(ReadCloudSettings, settings.read, "file.read", 2);
    BIND(most_points, 4'000'000, 2'000'000'000);
    BIND(most_triangles, 2'000'000, 800'000'000);
  }
  {
    GROUP(UnitsSettings, settings.units, "file.units", 1);
    BIND(least_extent_mm, 15, 300);
    BIND(most_extent_mm, 300, 6000);
    BIND(least_density, 0.01, 2.4);
    BIND(most_density, 100, 2000);
    BIND(relative_standard_u, 0, 0.05);
    BIND(warp_mm, 0, 2);
    BIND(warp_length_mm, 50, 2000);
    ORDER(least_extent_mm, most_extent_mm);
    ORDER(least_density, most_density);
  }
  {
    GROUP(SampleFacesSettings, settings.faces, "file.faces", 0);
    BIND(spacing_mm, 0.06, 1.5);
    BIND(sparse_edge_spacings, 0.5, 8);
    BIND(most_samples, 80'000, 40'000'000);
  }
  {
    GROUP(CleanCloudSettings, settings.clean, "file.clean", 0);
    BIND(fewest_points, 100, 4000);
    BIND(most_stray_share, 1e-05, 0.0004);
    BIND(cell_share, 0.004, 0.2);
  }
  {
    GROUP(LargeFileSettings, settings.large, "file.large", 0);
    BIND(points_above, 400'000, 400'000'000);
    BIND(coarse_points, 200'000, 8'000'000);
    BIND(most_near_rim, 400'000, 160'000'000);
    BIND(inside_mm, 60, 280);
    BIND(outside_mm, 12, 88);
    BIND(below_mm, 65, 300);
    BIND(above_mm, 8, 72);
  }
}

void list_depth_settings(DepthSettings& settings, SettingsTable& table) {
  {
    GROUP(ReadDepthSettings, settings.read, "depth.read", 0);
    BIND(most_frames, 20, 8000);
    BIND(most_pixels, 6'000'000, 3'000'000'000);
    BIND(most_text_bytes, 150'000, 80'000'000);
    BIND(association_gap_s, 0.005, 0.08);
    BIND(rigid_tolerance, 0.0002, 0.004);
  }
  {
    GROUP(PatchSettings, settings.patches, "depth.patches", 0);
    BIND(half_window_px, 0, 20);
    BIND(stride_px, 0, 64);
    BIND(seen_share, 0.08, 1);
    BIND(steepest_deg, 15, 85);
    BIND(longest_range_mm, 300, 6000);
  }
  {
    GROUP(AlignSettings, settings.align, "depth.align", 0);
    BIND(cell_mm, 1, 20);
    BIND(first_gate_mm, 2, 40);
    BIND(narrowest_gate_mm, 0.1, 2);
    BIND(most_steps, 2, 100);
    BIND(least_matched_share, 0.03, 1);
    BIND(fewest_matched, 10, 400);
    BIND(doubtful_share, 0, 1);
    BIND(most_joint_frames, 20, 1000);
    BIND(most_joint_steps, 2, 80);
    BIND(regrouping_steps, 1, 30);
    BIND(settled_mm, 0.0005, 0.008);
    BIND(settled_share, 0.002, 0.08);
    ORDER(narrowest_gate_mm, first_gate_mm);
    ORDER(regrouping_steps, most_joint_steps);
  }
  {
    GROUP(DepthRimZoneSettings, settings.zone, "depth.zone", 0);
    BIND(cell_mm, 2, 40);
    BIND(reach_mm, 10, 300);
    BIND(level_deg, 6, 85);
    BIND(upright_deg, 6, 85);
  }
  {
    GROUP(FuseSettings, settings.fuse, "depth.fuse", 0);
    BIND(most_points, 40'000, 20'000'000);
    BIND(far_spacing_mm, 0.5, 8);
    BIND(steepest_deg, 15, 85);
    BIND(neighbours_needed, 1, 8);
    BIND(least_density_share, 0.01, 0.4);
    BIND(scale_u_per_error, 0.6, 10);
    BIND(warp_to_noise, 0.6, 15);
    BIND(least_scale_u, 0.0002, 0.004);
    BIND(bias_length_mm, 10, 200);
  }
  {
    GROUP(TargetScaleSettings, settings.target, "depth.target", 3);
    BIND(bar_reading_u_mm, 0.001, 1);
    BIND(unmeasured_relative_u, 0.0001, 0.05);
    BIND(most_images, 1, 240);
    BIND(fewest_corners, 6, 60);
    BIND(plane_u_mm, 0.02, 0.5);
  }
  {
    GROUP(ScaleTarget, settings.target.target, "depth.target.target", 0);
    BIND(squares_across, 3, 40);
    BIND(squares_down, 3, 40);
    BIND(square_mm, 4, 100);
    BIND(marker_mm, 2, 95);
    BIND(dictionary, 0, 1);
    BIND(check_bar_mm, 20, 400);
    ORDER(marker_mm, square_mm);
  }
  {
    GROUP(FindTargetSettings, settings.target.find, "depth.target.find", 1);
    BIND(search_side_px, 600, 9000);
    BIND(patient_side_px, 600, 12'000);
    BIND(patient_below_share, 0, 1);
  }
  {
    GROUP(RefineCornerSettings, settings.target.find.corner, "depth.target.find.corner", 0);
    BIND(arm_share, 0.08, 0.5);
    BIND(clear_of_marker_px, 0, 8);
    BIND(farthest_px, 1, 20);
    BIND(least_contrast, 4, 60);
    BIND(largest_misfit, 0.1, 1.6);
    BIND(largest_u_px, 0.1, 2);
  }
  {
    GROUP(VerdictSettings, settings.verdict, "depth.verdict", 0);
    BIND(steep_deg, 15, 85);
    BIND(steep_share, 0.02, 1);
    BIND(few_frames, 1, 20);
    BIND(few_share, 0.02, 1);
    BIND(farthest_good_mm, 100, 2000);
  }
}

}  // namespace rimwright
