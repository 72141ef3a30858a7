// What can be said of pictures and sheets without an eye: their own coordinates, counts and colours.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <limits>
#include <regex>
#include <set>

#include "made_inspection.h"
#include "report/contours.h"
#include "report/heat_colours.h"
#include "report/heatmap_ply.h"
#include "report/heatmap_png.h"
#include "report/jobs.h"
#include "report/strip_pdf.h"
#include "report/summary_pdf.h"

namespace rimwright {
namespace {

std::string output_of(const std::string& command) {
  std::string text;
  FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) return text;
  char buffer[4096];
  while (const std::size_t n = std::fread(buffer, 1, sizeof buffer, pipe)) text.append(buffer, n);
  pclose(pipe);
  return text;
}

std::string kept(const std::string& name, const std::string& bytes) {
  const std::string path = testing::TempDir() + name;
  std::ofstream(path, std::ios::binary) << bytes;
  return path;
}

TEST(HeatColours, ZeroIsNeutralAndEndsAreEquallyDark) {
  const auto luminance = [](const Rgb& c) {  // relative luminance, WCAG 2.1
    const auto linear = [](double v) { return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4); };
    return 0.2126 * linear(c[0] / 255.0) + 0.7152 * linear(c[1] / 255.0) + 0.0722 * linear(c[2] / 255.0);
  };
  const Rgb zero = heat_colour(0.0, 0.5);
  EXPECT_LT(*std::max_element(zero.begin(), zero.end()) - *std::min_element(zero.begin(), zero.end()), 12);
  EXPECT_GT(luminance(zero), 0.9);
  EXPECT_NEAR(luminance(heat_colour(0.5, 0.5)), luminance(heat_colour(-0.5, 0.5)), 0.03);
  double last = luminance(zero);
  for (double d = 0.05; d <= 0.5; d += 0.05) {
    EXPECT_LT(luminance(heat_colour(d, 0.5)), last);
    last = luminance(heat_colour(d, 0.5));
  }
  EXPECT_EQ(heat_colour(9.0, 0.5), heat_colour(0.5, 0.5)) << "clamped";
}

TEST(Contours, OfARoundHillHasItsLength) {
  UnrolledMap map;
  map.columns = 161;
  map.rows = 161;
  map.station_step_mm = map.across_step_mm = 0.25;
  for (std::size_t r = 0; r < map.rows; ++r) {
    for (std::size_t c = 0; c < map.columns; ++c) {
      const double x = (static_cast<double>(c) - 80) * 0.25, y = (static_cast<double>(r) - 80) * 0.25;
      map.deviation_mm.push_back(static_cast<float>(1.0 - (x * x + y * y) / 100.0));
    }
  }
  double length = 0.0;
  for (const Segment& s : contour_segments(map, 0.51)) length += (s[1] - s[0]).norm();
  // Circle of radius 7: chords of at most 0.36 mm are short of their arcs by less than (0.36 / 7)^2 / 24.
  EXPECT_NEAR(length, 2 * 3.14159265358979 * 7.0, 44.0 * 2e-4);
}

TEST(HeatmapPly, HoldsTheFacePointsWithTheirDeviation) {
  const Inspection inspection = made_inspection();
  const std::string ply = heatmap_ply(inspection);
  std::size_t on_face = 0;
  for (const HeatPoint& p : inspection.measures.heat_points) on_face += std::isfinite(p.deviation_mm) ? 1 : 0;
  const std::size_t body = ply.find("end_header\n") + 11;
  EXPECT_NE(ply.find("element vertex " + std::to_string(on_face) + "\n"), std::string::npos);
  EXPECT_NE(ply.find("property float deviation\n"), std::string::npos);
  constexpr std::size_t row = 3 * 4 + 3 + 2 * 4;
  ASSERT_EQ(ply.size() - body, on_face * row);
  float deviation = 0.0F;
  std::memcpy(&deviation, ply.data() + body + 15, 4);
  EXPECT_EQ(deviation, inspection.measures.heat_points[0].deviation_mm);
}

TEST(HeatmapPng, IsDrawnForAnyInspection) {
  for (const Inspection& inspection : {made_inspection(), Inspection{}}) {
    const Outcome<std::string> png = heatmap_png(inspection);
    ASSERT_TRUE(png);
    EXPECT_EQ(png->compare(1, 3, "PNG"), 0);
  }
}

// The bar in the PDF's own coordinates: a horizontal stroke of 100 mm = 283.46 points. Cairo writes the current
// transformation once and the path in millimetres; poppler resolves both when it turns the page into SVG.
TEST(StripPdf, TheCheckBarIsAHundredMillimetres) {
  const Outcome<std::string> pdf = strip_pdf(made_inspection());
  ASSERT_TRUE(pdf);
  const std::string path = kept("strip.pdf", *pdf);
  const std::string svg = output_of("pdftocairo -svg -origpagesizes -noshrink -f 1 -l 1 '" + path + "' - 2>/dev/null");
  ASSERT_FALSE(svg.empty()) << "pdftocairo (poppler-utils) must be installed";
  // Strokes: d="M x y L x2 y2 ..." with transform="matrix(a,b,c,d,e,f)".
  const std::regex stroke(
      R"re(<path [^>]*d="M ([-0-9.]+) ([-0-9.]+) L ([-0-9.]+) ([-0-9.]+)[^"]*"[^>]*transform="matrix\(([-0-9.]+), ?([-0-9.]+),)re");
  bool found = false;
  for (std::sregex_iterator it(svg.begin(), svg.end(), stroke), end; it != end; ++it) {
    const double x1 = std::stod((*it)[1]), y1 = std::stod((*it)[2]), x2 = std::stod((*it)[3]), y2 = std::stod((*it)[4]);
    if (std::abs(y1 - y2) > 1e-6) continue;
    const double mm = std::hypot(std::stod((*it)[5]), std::stod((*it)[6])) * std::abs(x2 - x1) / 72.0 * 25.4;
    found = found || std::abs(mm - 100.0) < 0.01;
  }
  EXPECT_TRUE(found) << svg.substr(0, 3000);
}

TEST(StripPdf, FontsAreEmbeddedAndPagesHaveTheirSize) {
  for (const LengthUnit units : {LengthUnit::mm, LengthUnit::inch}) {
    MadeSettings settings;
    settings.units = units;
    settings.rim_mm = 1500.0;
    const Outcome<std::string> pdf = strip_pdf(made_inspection(settings));
    ASSERT_TRUE(pdf);
    const std::string path = kept("strip-long.pdf", *pdf);
    const std::string info = output_of("pdfinfo '" + path + "'");
    // A4 is 297 x 210 mm (ISO 216), Letter 11 x 8.5 inches.
    EXPECT_NE(info.find(units == LengthUnit::mm ? "841.89 x 595.276" : "792 x 612"), std::string::npos) << info;
    EXPECT_EQ(info.find("Pages:           1\n"), std::string::npos) << "1.5 m of rim needs more than one page";
    std::istringstream fonts(output_of("pdffonts '" + path + "' | tail -n +3"));
    std::string line;
    int count = 0;
    while (std::getline(fonts, line)) {
      ++count;
      EXPECT_NE(line.find(" yes yes yes "), std::string::npos) << line;
    }
    EXPECT_GT(count, 0);
    // The face's cells once, however many stretches show them: page, number, type, size (4 columns), ..., object.
    std::istringstream images(
        output_of("pdfimages -list '" + path + "' | tail -n +3 | awk '$3 == \"image\" {print $11}'"));
    std::set<std::string> objects;
    while (std::getline(images, line)) objects.insert(line);
    EXPECT_EQ(objects.size(), 1u);
  }
}

TEST(SummaryPdf, SaysTheVerdictAndTheCautionsOnOneSheet) {
  const Outcome<std::string> pdf = summary_pdf(made_inspection(), made_context());
  ASSERT_TRUE(pdf);
  const std::string path = kept("summary.pdf", *pdf);
  EXPECT_NE(output_of("pdfinfo '" + path + "'").find("Pages:           1\n"), std::string::npos);
  const std::string text = output_of("pdftotext -layout '" + path + "' -");
  EXPECT_NE(text.find("Not yet: 3 things to put right."), std::string::npos) << text;
  EXPECT_NE(text.find("does not replace a hand check"), std::string::npos);
}

TEST(Jobs, OneDefectSeenByTwoQuantitiesIsOneJob) {
  std::vector<Finding> findings(5);
  findings[0] = {"bevel", "straightness", 200, 220, Verdict::fail, {}, ""};
  findings[1] = {"bevel", "angle", 203, 222, Verdict::fail, {}, ""};
  findings[2] = {"bevel", "waviness", 50, 410, Verdict::fail, {}, ""};
  findings[3] = {"edge binding", "step 1 depth", 200, 220, Verdict::fail, {}, ""};
  findings[4] = {"upper purfling", "step 1 width", 198, 222, Verdict::undecided, {}, ""};  // waits for the face
  const std::vector<Job> jobs = jobs_of(findings);
  ASSERT_EQ(jobs.size(), 3U);
  EXPECT_EQ(jobs[0].findings, (std::vector<std::size_t>{0, 1, 4}));
  EXPECT_EQ(jobs[2].number, 3);
}

}  // namespace
}  // namespace rimwright
