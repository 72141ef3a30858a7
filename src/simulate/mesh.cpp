#include "simulate/mesh.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

namespace {

constexpr double crease_error_mm = 0.0004;  // how far a crease may leave the straight line between two rows
constexpr double topology_gap_mm = 1e-3;    // how closely a change in the order of faces is located along the rim

// One section as rows of vertices: piece k owns nodes [first[k], first[k + 1]] (its end is the next one's start).
struct Row {
  double station_mm = 0.0;
  std::vector<SectionPiece> pieces;
  std::vector<std::uint32_t> first;  // node of each piece's start, within the row; one more for the end
  std::vector<Vector2> creases_uh;   // start of each piece in the section, and the last one's end
  std::uint32_t base = 0;            // of the row's vertices in the mesh

  [[nodiscard]] bool same_order(const Row& other) const {
    return std::equal(pieces.begin(), pieces.end(), other.pieces.begin(), other.pieces.end(),
                      [](const SectionPiece& p, const SectionPiece& q) { return p.curve == q.curve; });
  }
};

class Mesher {
 public:
  Mesher(const Body& body, const MeshSettings& settings) : body_(body), settings_(settings) {}

  Row add_row(double station_mm) { return add_row(body_.section(station_mm)); }

  Row add_row(const Section& section) {
    Row row;
    row.station_mm = section.station_mm;
    row.pieces = section.pieces();
    row.creases_uh = creases(section, row.pieces);
    row.base = static_cast<std::uint32_t>(mesh.vertices.size());
    std::uint32_t node = 0;
    auto add = [&](double u, std::size_t curve) {
      mesh.vertices.push_back(body_.point(section, section.out_up(u, curve)).cast<float>());
      mesh.station_mm.push_back(static_cast<float>(section.station_mm));
      ++node;
    };
    for (const SectionPiece& piece : row.pieces) {
      const SectionCurve& curve = section.curves[piece.curve];
      double step = curve.bumps.empty() ? settings_.across_step_mm : settings_.fine_step_mm;
      if (curve.is_arc && curve.radius < 100.0) step = std::sqrt(8.0 * 0.0005 * curve.radius);  // chord error
      const int cells = std::max(1, static_cast<int>(std::ceil((piece.u_to - piece.u_from) / step)));
      row.first.push_back(node);
      for (int i = 0; i < cells; ++i) add(piece.u_from + (piece.u_to - piece.u_from) * i / cells, piece.curve);
    }
    row.first.push_back(node);
    if (!row.pieces.empty()) add(row.pieces.back().u_to, row.pieces.back().curve);
    return row;
  }

  // Joins two neighbouring rows. Where a crease bends between them, or the order of faces changes, rows are added.
  void join(const Row& from, const Row& to) {
    const double gap = to.station_mm - from.station_mm;
    if (from.same_order(to)) {
      const Section middle = body_.section(0.5 * (from.station_mm + to.station_mm));
      if (gap > 10.0 * topology_gap_mm && bends(from, to, middle)) {
        const Row mid = add_row(middle);
        join(from, mid);
        join(mid, to);
        return;
      }
      for (std::size_t k = 0; k < from.pieces.size(); ++k) {
        zip(from.base + from.first[k], from.first[k + 1] - from.first[k], to.base + to.first[k],
            to.first[k + 1] - to.first[k], from.pieces[k].label);
      }
      return;
    }
    if (gap < topology_gap_mm) {
      const Row& richer = from.pieces.size() > to.pieces.size() ? from : to;
      zip_unlike(from, to, richer);
      return;
    }
    const Row mid = add_row(0.5 * (from.station_mm + to.station_mm));
    join(from, mid);
    join(mid, to);
  }

  BodyMesh mesh;

 private:
  static std::vector<Vector2> creases(const Section& section, const std::vector<SectionPiece>& pieces) {
    std::vector<Vector2> found;
    found.reserve(pieces.size() + 1);
    for (const SectionPiece& piece : pieces) {
      found.emplace_back(piece.u_from, section.curves[piece.curve].height(piece.u_from));
    }
    if (!pieces.empty()) {
      found.emplace_back(pieces.back().u_to, section.curves[pieces.back().curve].height(pieces.back().u_to));
    }
    return found;
  }

  static bool bends(const Row& from, const Row& to, const Section& middle) {
    const std::vector<Vector2> at_middle = creases(middle, middle.pieces());
    if (at_middle.size() != from.creases_uh.size()) return true;
    for (std::size_t k = 0; k < at_middle.size(); ++k) {
      if ((0.5 * (from.creases_uh[k] + to.creases_uh[k]) - at_middle[k]).norm() > crease_error_mm) return true;
    }
    return false;
  }

  void triangle(std::uint32_t a, std::uint32_t b, std::uint32_t c, const SurfaceLabel& label) {
    if (body_.spec().left_handed) std::swap(b, c);
    mesh.triangles.push_back({a, b, c});
    mesh.labels.push_back(label);
  }

  // Two runs of nodes with n and m cells between the same two creases.
  void zip(std::uint32_t p, std::uint32_t n, std::uint32_t q, std::uint32_t m, const SurfaceLabel& label) {
    std::uint32_t i = 0, j = 0;
    while (i < n || j < m) {
      const bool step_first =
          j == m || (i < n && static_cast<std::uint64_t>(i + 1) * m <= static_cast<std::uint64_t>(j + 1) * n);
      if (step_first) {
        triangle(p + i, q + j, p + i + 1, label);
        ++i;
      } else {
        triangle(p + i, q + j, q + j + 1, label);
        ++j;
      }
    }
  }

  // A gap a thousandth of a millimetre wide: nodes are paired by where they lie, labels taken from the richer row.
  void zip_unlike(const Row& from, const Row& to, const Row& richer) {
    const std::uint32_t n = from.first.back(), m = to.first.back();
    auto label_at = [&](std::uint32_t node_of_richer) {
      std::size_t k = 0;
      while (k + 1 < richer.pieces.size() && richer.first[k + 1] <= node_of_richer) ++k;
      return richer.pieces[k].label;
    };
    auto position = [&](const Row& row, std::uint32_t node) { return mesh.vertices[row.base + node]; };
    std::uint32_t i = 0, j = 0;
    while (i < n || j < m) {
      bool step_first = j == m;
      if (i < n && j < m) {
        step_first = (position(from, i + 1) - position(to, j)).squaredNorm() <=
                     (position(to, j + 1) - position(from, i)).squaredNorm();
      }
      const SurfaceLabel label = label_at(&richer == &from ? i : j);
      if (step_first) {
        triangle(from.base + i, to.base + j, from.base + i + 1, label);
        ++i;
      } else {
        triangle(from.base + i, to.base + j, to.base + j + 1, label);
        ++j;
      }
    }
  }

  const Body& body_;
  MeshSettings settings_;
};

// Stretches along the rim that need the fine step.
bool needs_fine_step(const Body& body, double station_mm, double margin_mm) {
  for (const DefectSpec& defect : body.spec().defects) {
    switch (defect.kind) {
      case DefectKind::hump:
      case DefectKind::hollow:
      case DefectKind::tear_out: {
        double away = station_mm - defect.at_mm;
        if (body.closed()) away -= std::round(away / body.rim_length_mm()) * body.rim_length_mm();
        if (std::abs(away) <= 0.5 * defect.length_mm + margin_mm) return true;
        break;
      }
      case DefectKind::channel_depth:
      case DefectKind::channel_width: {
        const double inside = body.inside_mm(station_mm, defect.from_mm, defect.to_mm);
        if (inside >= -margin_mm && inside <= defect.ramp_mm + margin_mm) return true;
        break;
      }
      default: break;
    }
  }
  for (const ChannelSpec& channel : body.spec().channels) {
    if (!channel.from_mm) continue;
    const double inside = body.inside_mm(station_mm, *channel.from_mm, *channel.to_mm);
    if (inside >= -channel.end_radius_mm - margin_mm && inside <= margin_mm) return true;
  }
  return false;
}

}  // namespace

BodyMesh mesh_body(const Body& body, const MeshSettings& settings) {
  const bool part = settings.to_mm > settings.from_mm;
  const double from = part ? settings.from_mm : 0.0;
  const double to = part ? settings.to_mm : body.rim_length_mm();
  const int steps = std::max(1, static_cast<int>(std::ceil((to - from) / settings.station_step_mm)));
  const double step = (to - from) / steps;
  Mesher mesher(body, settings);
  Row row = mesher.add_row(from);
  for (int i = 0; i < steps; ++i) {
    const double start = from + step * i;
    const int parts = needs_fine_step(body, start + 0.5 * step, step)
                          ? std::max(1, static_cast<int>(std::ceil(step / (0.5 * settings.fine_step_mm))))
                          : 1;
    for (int k = 1; k <= parts; ++k) {
      Row next = mesher.add_row(start + step * k / parts);
      mesher.join(row, next);
      row = std::move(next);
    }
  }
  return std::move(mesher.mesh);
}

}  // namespace rimwright
