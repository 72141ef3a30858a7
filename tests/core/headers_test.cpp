// That no two headers of the program define one name differently. The first half of the test is that this file
// compiles: it includes every header there is, as the build lists them. What it cannot see: types defined in .cpp files
// outside an anonymous namespace.
#include <gtest/gtest.h>

#include <filesystem>
#include <set>
#include <string>

#include "every_header.h"

namespace rimwright {
namespace {

TEST(Headers, EveryHeaderOfTheTreeIsIncludedHere) {
  const std::filesystem::path root = std::filesystem::path(RIMWRIGHT_TESTS).parent_path();
  std::set<std::string> present;
  for (const char* folder : {"src", "pipelines"}) {
    for (const auto& entry : std::filesystem::recursive_directory_iterator(root / folder)) {
      if (entry.path().extension() != ".h") continue;
      present.insert(entry.path().lexically_relative(folder == std::string("src") ? root / "src" : root).string());
    }
  }
  const std::set<std::string> included(std::begin(every_header), std::end(every_header));
  EXPECT_EQ(included, present);
}

}  // namespace
}  // namespace rimwright
