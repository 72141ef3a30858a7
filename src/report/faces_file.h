// The faces file of a result folder: points of every face near the rim and the rim curve, thinned, for comparing
// passes.
//
// Format: binary little-endian PLY 1.0 that any viewer opens, always with exactly this header:
//   element vertex N    float x y z (scan frame, mm), uchar face (0 side, 1 top, 2 bevel, 3 floor, 4 wall),
//                       float station (mm), float deviation (mm; NaN off the bevel), float sigma (mm)
//   element rim M       double station x y z (mm)
// so its size follows from N and M and nothing else. At most 200 000 points and 100 000 rim points.
#pragma once

#include <string>
#include <vector>

#include "core/refusal.h"
#include "judge/pass.h"

namespace rimwright {

inline constexpr const char* faces_file_name = "faces.ply";
inline constexpr std::size_t most_face_points = 200'000;

// The faces of a pass from its measures; thinned evenly (every n-th point) to most_face_points.
[[nodiscard]] PassFaces faces_of(const Measures& measures);

// Writes the file whole, in place: the caller writes into a folder that is renamed when complete.
[[nodiscard]] Outcome<void> write_faces(const std::string& path, const PassFaces& faces);

// Refused: another header, a size that does not follow from the counts, numbers that are not finite.
[[nodiscard]] Outcome<PassFaces> read_faces(const std::string& path);
[[nodiscard]] Outcome<PassFaces> read_faces_bytes(std::string_view bytes, std::string_view name);

}  // namespace rimwright
