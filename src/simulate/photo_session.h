// A photo session of a simulated body: target laid down, walked round, photographed; with plan and truth beside it.
#pragma once

#include <cstdint>
#include <filesystem>

#include "simulate/body_file.h"
#include "simulate/photo_camera.h"

namespace rimwright {

enum class TargetPlace { on_top, beside };  // beside: on the table, outward of the rim

struct PhotoSessionSpec {
  ShotPlan shots;
  PhoneCamera phone;
  int phones = 1;        // 2: another one takes every other photo
  int target_shots = 0;  // the sheet lies there for so many photos only, spread over the set; 0 = for all
  WoodTexture wood;
  double mirror_share = 0.0;  // see PhotoScene
  bool target_present = true;
  double target_print_scale = 1.0;
  double target_bow_mm = 0.0;
  TargetPlace target_place = TargetPlace::on_top;
  double target_clearance_mm = 40.0;  // of the sheet from the rim
  double table_figure = 0.0;          // see PhotoScene
  double blocks_mm = 20.0;            // likewise
  double from_mm = 0.0, to_mm = 0.0;  // stretch of rim walked round; equal = the bevel, or all of it
  int samples_per_pixel = 6;
};

// Makes DIR/photos/photo_01.jpg ..., DIR/cameras.json (true cameras), DIR/truth.json and DIR/plan.yaml. Truth is given
// in the sheet's frame: origin at the board's top left corner, x right and y up the page, z out of it, true
// millimetres. Refuses where the folder cannot be written or the sheet finds no place on the top.
[[nodiscard]] Outcome<std::vector<PhotoTruth>> photograph_body(const Body& body, const BodyFile& file,
                                                               const PhotoSessionSpec& spec, std::uint64_t seed,
                                                               const std::filesystem::path& folder, Workers& workers);

}  // namespace rimwright
