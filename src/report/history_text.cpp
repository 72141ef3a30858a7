#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <filesystem>

#include "core/safe_text.h"
#include "report/face_drawing.h"
#include "report/history_report.h"

namespace rimwright {
namespace {

std::string name_of_pass(const Pass& pass) { return std::filesystem::path(pass.folder).filename().string(); }

std::string padded(std::string text, std::size_t width) {
  if (text.size() < width) text.append(width - text.size(), ' ');
  return text;
}

std::string number(double value) {
  if (!std::isfinite(value)) return "-";
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%.2f", value);
  return text.data();
}

std::size_t count_of(const Pass& pass, Verdict verdict) {
  return static_cast<std::size_t>(std::count_if(pass.findings.begin(), pass.findings.end(),
                                                [&](const Finding& finding) { return finding.verdict == verdict; }));
}

}  // namespace

std::string history_text(const std::vector<Pass>& passes, const std::vector<Course>& courses,
                         const std::vector<std::string>& notes) {
  std::string text;
  if (!passes.empty()) text += safe_text(passes.back().instrument) + "\n\n";
  text += padded("pass", 12) + padded("written", 18) + padded("verdict", 11) + padded("out", 5) + "undecided\n";
  for (const Pass& pass : passes) {
    text += padded(name_of_pass(pass), 12) + padded(pass.measured_at, 18) +
            padded(std::string(name_of(pass.verdict)), 11) + padded(std::to_string(count_of(pass, Verdict::fail)), 5) +
            std::to_string(count_of(pass, Verdict::undecided)) + "\n";
  }
  constexpr std::size_t most_columns = 6;
  const std::size_t first = passes.size() > most_columns ? passes.size() - most_columns : 0;
  text += "\n" + padded("median of stations", 40);
  for (std::size_t i = first; i < passes.size(); ++i) text += padded(name_of_pass(passes[i]), 11);
  text += "U95\n";
  for (const Course& course : courses) {
    text += padded(safe_text(course.feature + " " + course.quantity + ", " + course.unit, 38), 40);
    double u95 = 0.0;
    for (std::size_t i = first; i < course.points.size(); ++i) {
      text += padded(number(course.points[i].median), 11);
      if (std::isfinite(course.points[i].u95)) u95 = course.points[i].u95;
    }
    text += number(u95) + "\n";
  }
  for (const std::string& note : notes) text += "note: " + safe_text(note, 400) + "\n";
  return text;
}

}  // namespace rimwright
