#include "report/jobs.h"

#include <algorithm>
#include <string>

#include "judge/face_first.h"

namespace rimwright {
namespace {

constexpr double shortest_mm = 4.0;  // a stretch of one station still has a width on the rim

bool is_same_place(const Finding& a, const Finding& b) {
  constexpr double shared_share = 0.4;
  const auto widened = [](const Finding& f) {
    const double half = std::max(shortest_mm, f.to_mm - f.from_mm) / 2, middle = (f.from_mm + f.to_mm) / 2;
    return std::pair(middle - half, middle + half);
  };
  const auto [a_from, a_to] = widened(a);
  const auto [b_from, b_to] = widened(b);
  const double shared = std::min(a_to, b_to) - std::max(a_from, b_from);
  return shared >= shared_share * (std::max(a_to, b_to) - std::min(a_from, b_from));
}

// What is nearest the cause is said first: a face out of angle moves its edges, not the other way round.
int rank_of(const Finding& finding) {
  static constexpr const char* order[] = {"straightness", "angle", "drop", "waviness"};
  for (int i = 0; i < 4; ++i) {
    if (finding.quantity == order[i]) return i;
  }
  return finding.quantity.find("fairness") != std::string::npos ? 5 : 4;
}

}  // namespace

std::vector<Job> jobs_of(const std::vector<Finding>& findings) {
  std::vector<Job> jobs;
  for (std::size_t i = 0; i < findings.size(); ++i) {
    const auto same = std::find_if(jobs.begin(), jobs.end(), [&](const Job& job) {
      const Finding& first = findings[job.findings.front()];
      if (waits_for_face(findings[i], first)) return true;
      if (job.verdict != findings[i].verdict || first.feature != findings[i].feature) return false;
      // What was not seen in several places is one thing to do: scan again.
      if (first.quantity == "presence" || findings[i].quantity == "presence")
        return first.quantity == findings[i].quantity;
      return is_same_place(first, findings[i]);
    });
    if (same != jobs.end()) {
      same->findings.push_back(i);
    } else {
      jobs.push_back({static_cast<int>(jobs.size()) + 1, findings[i].verdict, {i}});
    }
  }
  for (Job& job : jobs) {
    std::stable_sort(job.findings.begin(), job.findings.end(),
                     [&](std::size_t a, std::size_t b) { return rank_of(findings[a]) < rank_of(findings[b]); });
  }
  return jobs;
}

}  // namespace rimwright
