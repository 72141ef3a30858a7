#include "judge/inspection.h"

namespace rimwright {

std::string_view name_of(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass: return "pass";
    case Verdict::fail: return "fail";
    case Verdict::undecided: return "undecided";
  }
  return "unknown";
}

}  // namespace rimwright
