// Which sections of a run-out are cut anew, and until when.
#include "measure/sharpen_run_outs.h"

#include <gtest/gtest.h>

#include <cmath>
#include <mutex>
#include <vector>

#include "made_sections.h"

namespace rimwright {
namespace {

constexpr double angle_deg = 124.0, step_mm = 2.0;
constexpr int section_count = 40;

// The bevel stands still for 20 sections and then rises by `speed` a millimetre.
double drop_at(double station_mm, double speed) { return 24.0 - speed * std::max(0.0, station_mm - 40.0); }

SectionPieces section_at(double station_mm, double drop_mm) {
  return test::bevel_section(station_mm, drop_mm, angle_deg, 1.0);
}

std::vector<SectionPieces> run_out(double speed) {
  std::vector<SectionPieces> sections;
  for (int i = 0; i < section_count; ++i) {
    const double s = (i + 0.5) * step_mm;
    sections.push_back(section_at(s, drop_at(s, speed)));
  }
  return sections;
}

Expected plan() {
  Expected expected;
  expected.bevel = ExpectedBevel{radians_from_degrees(angle_deg), 24.0};
  return expected;
}

// How often each section is cut when cutting gives back `cut`.
template <class Cut>
std::vector<int> cuts_a_section(std::vector<SectionPieces>& sections, const Cut& cut) {
  std::vector<int> cuts(sections.size(), 0);
  std::mutex mutex;
  Workers workers(2);
  sharpen_run_outs(
      sections, plan(), 0.0, {step_mm, 3.0, 0.03},
      [&](double station_mm, const BevelMovement& movement) {
        const std::lock_guard lock(mutex);
        return cut(station_mm, movement, ++cuts[static_cast<std::size_t>(station_mm / step_mm)]);
      },
      workers);
  return cuts;
}

// Sections that are sharp already show the same movement again: one round is enough, and only where something moves.
TEST(SharpenRunOuts, SharpSectionsAreCutOnce) {
  auto sections = run_out(0.3);
  const auto cuts =
      cuts_a_section(sections, [](double s, const BevelMovement&, int) { return section_at(s, drop_at(s, 0.3)); });
  for (std::size_t i = 0; i < 15; ++i) EXPECT_EQ(cuts[i], 0) << i;
  for (std::size_t i = 25; i < section_count; ++i) EXPECT_EQ(cuts[i], 1) << i;
}

TEST(SharpenRunOuts, NothingIsCutWhereNothingMoves) {
  auto sections = run_out(0.0);
  const auto cuts = cuts_a_section(sections, [](double s, const BevelMovement&, int) { return section_at(s, 24.0); });
  EXPECT_EQ(cuts, std::vector<int>(sections.size(), 0));
}

// Blurred sections that each cut brings half-way to the truth: cut again while that shows in how their neighbours move,
// and what is left at the end is what the last round found.
TEST(SharpenRunOuts, GoesOnWhileTheMovementChanges) {
  constexpr double blurred = 0.2, sharp = 0.4;
  auto sections = run_out(blurred);
  const auto cuts = cuts_a_section(sections, [&](double s, const BevelMovement&, int times) {
    return section_at(s, drop_at(s, sharp - (sharp - blurred) * std::pow(0.5, times)));
  });
  for (std::size_t i = 25; i < section_count; ++i) {
    EXPECT_EQ(cuts[i], 5) << i;  // rounds, as many as there may be
    const double s = sections[i].station_mm;
    const Piece& bevel = sections[i].pieces.front();
    EXPECT_NEAR(bevel.from_along_mm, profile_along(0.0, -drop_at(s, sharp - (sharp - blurred) / 32.0)), 1e-9) << i;
  }
}

// A neighbour's movement is taken where its cut explains the points better, and left where it does not.
TEST(SharpenRunOuts, ACarriedMovementCountsWhereItCostsLess) {
  for (const double cost : {0.5, 2.0}) {
    auto sections = run_out(0.3);
    // Beside the last section that moves, one that shows no bevel has no movement of its own.
    for (std::size_t i = 30; i < section_count; ++i) sections[i].pieces.clear();
    const SectionPieces marked{0.0, {Piece{}, Piece{}}, cost};
    const auto cuts = cuts_a_section(sections, [&](double s, const BevelMovement&, int) {
      return s < 60.0 ? section_at(s, drop_at(s, 0.3)) : marked;
    });
    std::size_t replaced = 0;
    for (std::size_t i = 30; i < section_count; ++i) replaced += sections[i].pieces.size() == 2 ? 1 : 0;
    EXPECT_GE(cuts[30], 1);
    EXPECT_EQ(replaced > 0, cost < 1.0) << "cost " << cost;
  }
}

}  // namespace
}  // namespace rimwright
