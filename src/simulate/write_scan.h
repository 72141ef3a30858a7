// A simulated scan on disk: scan.ply, truth.json and the plan.yaml that belongs to the body.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

#include "simulate/body_file.h"

namespace rimwright {

// Each file is written aside and renamed, so an earlier one survives any failure. Refuses output_not_writable.
[[nodiscard]] Outcome<bool> write_scan(const std::filesystem::path& folder, const Body& body, const BodyFile& file,
                                       const SimulatedScan& scan, std::uint64_t seed);

// Binary little-endian PLY in the scan's own unit: float x y z, then normals and colours where the cloud has them.
[[nodiscard]] std::string ply_of(const Cloud& cloud);
// Keys follow results.json where they mean the same; lengths mm in scan coordinates times the unit factor.
[[nodiscard]] std::string truth_json(const Body& body, const BodyFile& file, const SimulatedScan& scan,
                                     std::uint64_t seed);
// A plan that the body without its defects meets exactly.
[[nodiscard]] std::string plan_yaml(const BodySpec& body, const PlanSketch& sketch);

}  // namespace rimwright
