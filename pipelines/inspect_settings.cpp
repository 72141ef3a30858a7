#include "pipelines/settings_lists.h"

namespace rimwright {

void list_inspect_settings(InspectSettings& settings, SettingsTable& table) {
  {
    GROUP(GatherSettings, settings.measure.gather, "rim.gather", 0);
    BIND(smallest_cell_mm, 0.6, 15);
    BIND(largest_cell_mm, 3, 50);
    BIND(sampled_points, 200'000, 1'000'000'000);
    ORDER(smallest_cell_mm, largest_cell_mm);
  }
  {
    GROUP(OrientSettings, settings.measure.orient, "rim.orient", 0);
    BIND(flat_within_deg, 2, 40);
    BIND(wall_within_deg, 3, 60);
    BIND(tightest_dome_radius_mm, 300, 5000);
    BIND(widest_bevel_mm, 15, 300);
    BIND(deepest_side_mm, 30, 600);
    BIND(shortest_rim_mm, 10, 200);
    BIND(smallest_top_mm2, 100, 2000);
    BIND(flat_top_tilt_rad, 0.0001, 0.01);
    BIND(dome_offset_mm, 50, 800);
    BIND(least_share_of_best, 0.1, 1);
    BIND(usual_lean_deg, 0.1, 5);
  }
  {
    GROUP(RefitTopSettings, settings.measure.refit_top, "rim.refit_top", 0);
    BIND(sampled_points, 20'000, 1'000'000'000);
    BIND(clear_of_edges_mm, 1, 20);
    BIND(fewest_points, 50, 100'000);
    BIND(usual_bend_per_mm, 0.00005, 0.01);
  }
  {
    GROUP(OutlineSettings, settings.measure.outline, "rim.outline", 0);
    BIND(knot_spacing_mm, 3, 50);
    BIND(longest_gap_mm, 20, 400);
    BIND(stiffness, 0.01, 10);
    BIND(shortest_rim_mm, 10, 200);
  }
  {
    GROUP(UnrollSettings, settings.measure.unroll, "rim.unroll", 0);
    BIND(inside_mm, 15, 300);
    BIND(outside_mm, 3, 50);
    BIND(below_mm, 15, 300);
    BIND(above_mm, 2, 40);
    BIND(slice_mm, 0.1, 2);
    BIND(band_mm, 0.2, 4);
    BIND(deep_points_a_mm, 500, 1e9);
  }
  {
    GROUP(SegmentSettings, settings.measure.segment, "measure.segment", 0);
    BIND(station_step_mm, 0.5, 8);
    BIND(slab_mm, 0.6, 15);
    BIND(longest_slab_mm, 2, 40);
    BIND(bin_mm, 0.04, 0.8);
    BIND(far_bin_mm, 0.2, 4);
    BIND(points_a_bin, 1, 20);
    BIND(bin_noise_mm, 0.02, 0.4);
    BIND(widest_bin_mm, 0.15, 3);
    BIND(model_error_mm, 0.01, 0.2);
    BIND(price_of_a_piece, 3, 60);
    BIND(price_of_a_skipped_bin, 3, 50);
    BIND(slope_freedom, 0.015, 0.3);
    BIND(points_a_slab, 2'000, 1e9);
    ORDER(slab_mm, longest_slab_mm);
    ORDER(bin_mm, widest_bin_mm);
  }
  {
    GROUP(NameSettings, settings.measure.name, "measure.name", 0);
    BIND(side_within_mm, 0.15, 3);
    BIND(top_within_mm, 0.3, 6);
    BIND(shortest_side_mm, 0.6, 10);
    BIND(shortest_top_mm, 0.6, 15);
    BIND(shortest_bevel_mm, 0.3, 6);
    BIND(most_pieces, 5, 80);
    BIND(bevel_within_deg, 3, 50);
    BIND(bevel_off_course_mm, 0.1, 1.6);
    BIND(shallowest_cut_sigmas, 1, 20);
    BIND(blurred_sigmas, 2, 20);
    BIND(shortest_run_mm, 1.5, 30);
    BIND(widest_miss_mm, 0.5, 8);
  }
  {
    GROUP(FitSettings, settings.measure.fit, "measure.fit", 0);
    BIND(station_step_mm, 0.2, 2);
    BIND(reference_window_mm, 1.5, 30);
    BIND(bevel_window_mm, 1, 20);
    BIND(longest_window_mm, 3, 50);
    BIND(wanted_slope_u, 0.001, 0.02);
    BIND(ledge_window_mm, 0.6, 10);
    BIND(longest_ledge_window_mm, 1, 20);
    BIND(ledge_points, 15, 300);
    BIND(noise_of_ledge_points_mm, 0.001, 1);
    BIND(fewest_ledge_points, 6, 300);
    BIND(side_depth_mm, 10, 200);
    BIND(top_depth_mm, 6, 100);
    BIND(narrowest_bend_mm, 2, 40);
    BIND(usual_bend_per_mm, 1e-5, 1);
    BIND(edge_strip_mm, 3, 60);
    BIND(short_strip_mm, 2, 20);
    BIND(edge_margin_mm, 0.08, 1.5);
    BIND(face_margin_mm, 0.2, 4);
    BIND(noise_in_margin, 0.3, 6);
    BIND(longest_say_mm, 2, 40);
    BIND(noise_of_longest_say_mm, 0.1, 2);
    BIND(noise_of_first_say_mm, 0.02, 0.5);
    BIND(share_of_shorter, 0.05, 0.5);
    BIND(outlier_sigmas, 1, 20);
    BIND(ledge_outlier_sigmas, 0.8, 15);
    BIND(narrowest_ledge_sigmas, 1.5, 30);
    BIND(fewest_points, 1.5, 30);
    BIND(points_a_slice, 60, 1e9);
    BIND(ledge_slope_freedom, 0.005, 0.08);
    ORDER(bevel_window_mm, longest_window_mm);
    ORDER(short_strip_mm, edge_strip_mm);
    ORDER(noise_of_first_say_mm, noise_of_longest_say_mm);
    ORDER(reference_window_mm, longest_window_mm);
    ORDER(ledge_window_mm, longest_ledge_window_mm);
  }
  {
    GROUP(DoubtSettings, settings.measure.doubt, "measure.doubt", 0);
    BIND(scatter_sigmas, 0.6, 15);
    BIND(scatter_form_mm, 0.001, 0.02);
    BIND(ledge_form_mm, 0.001, 0.05);
    BIND(form_sigmas, 0.3, 6);
    BIND(form_mm, 0.06, 1);
    BIND(narrow_mm, 2, 40);
    BIND(narrow_jump_deg, 0.6, 10);
    BIND(jump_deg, 1, 20);
    BIND(jump_mm, 0.15, 3);
    BIND(neighbours_mm, 3, 50);
    BIND(unseen_mm, 0.6, 15);
    BIND(beside_unseen_mm, 0.6, 15);
  }
  {
    GROUP(BevelSettings, settings.measure.bevel, "measure.bevel", 0);
    BIND(smallest_drop_mm, 0.1, 2);
    BIND(narrowest_face_mm, 0.2, 4);
    BIND(narrowest_face_sigmas, 0, 100);
  }
  {
    GROUP(FairCurveSettings, settings.measure.fair, "measure.fair", 0);
    BIND(knots_in_longest_wave, 0.3, 2);
    BIND(closest_knots_mm, 5, 40);
    BIND(farthest_move_mm, 5, 40);
    BIND(rounds, 1, 10);
    BIND(other_knots, 0.5, 0.95);
    BIND(least_turn_u_rad, 0, 0.1);
    BIND(farthest_mm, 0.1, 10);
  }
  {
    GROUP(TornSettings, settings.measure.torn, "measure.torn", 0);
    BIND(least_depth_mm, 0.03, 2);
    BIND(sigmas, 3, 12);
    BIND(longest_mm, 4, 40);
    BIND(widest_mm, 4, 40);
    BIND(smallest_mm2, 1, 50);
  }
  {
    GROUP(CompareSettings, settings.compare, "judge.compare", 0);
    BIND(channel_end_mm, 1.5, 30);
    BIND(least_drop_mm, 1, 20);
  }
  {
    GROUP(StretchSettings, settings.findings.stretches, "judge.stretches", 0);
    BIND(family_alpha, 0.001, 0.2);
    BIND(bridge_mm, 0, 200);
    BIND(merge_gap_mm, 1.5, 30);
    BIND(passage_mm, 3, 50);
    BIND(lone_run_mm, 1, 20);
    BIND(pool_half_width_mm, 2, 40);
  }
  {
    GROUP(FindingsSettings, settings.findings, "judge.findings", 1);
    BIND(longest_unseen_mm, 5, 80);
  }
}

}  // namespace rimwright
