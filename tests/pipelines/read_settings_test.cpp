#include "pipelines/read_settings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <functional>
#include <map>
#include <set>
#include <sstream>

#include "plan/strict_yaml.h"

namespace rimwright {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

const std::string shipped = std::string(RIMWRIGHT_TESTS) + "/../pipelines/settings.yaml";

std::string sentence_for(const std::string& text) {
  const auto settings = read_settings_text(text, "mine.yaml");
  if (settings) return "accepted";
  EXPECT_EQ(settings.error().reason, RefusalReason::settings_not_valid);
  return settings.error().sentence();
}

// "rim.unroll.slice_mm: 0.3" as nested YAML.
std::string nested(const std::string& key, const std::string& value) {
  std::string text, rest = key;
  int depth = 0;
  for (std::size_t dot = rest.find('.'); dot != std::string::npos; dot = rest.find('.')) {
    text += std::string(2 * static_cast<std::size_t>(depth++), ' ') + rest.substr(0, dot) + ":\n";
    rest = rest.substr(dot + 1);
  }
  return text + std::string(2 * static_cast<std::size_t>(depth), ' ') + rest + ": " + value + "\n";
}

void collect_leaves(const YamlNode& node, const std::string& prefix, std::map<std::string, std::string>& leaves) {
  for (std::size_t i = 0; i < node.keys.size(); ++i) {
    const std::string key = prefix + node.keys[i].scalar;
    if (node.items[i].kind == YamlNode::Kind::map) {
      collect_leaves(node.items[i], key + ".", leaves);
    } else {
      leaves[key] = node.items[i].scalar;
    }
  }
}

TEST(ShippedSettings, ListEverySettingAndNoOther) {
  const auto tree = read_strict_yaml(shipped, RefusalReason::settings_not_valid);
  ASSERT_TRUE(tree) << tree.error().sentence();
  std::map<std::string, std::string> leaves;
  collect_leaves(*tree, "", leaves);
  std::set<std::string> listed, known;
  for (const auto& [key, value] : leaves) listed.insert(key);
  AllSettings settings;
  const SettingsTable table(settings);
  for (const SettingEntry& entry : table.entries()) known.insert(entry.key);
  EXPECT_EQ(listed, known);
}

TEST(ShippedSettings, AreTheDefaults) {
  const auto settings = read_settings(shipped);
  ASSERT_TRUE(settings) << settings.error().sentence();
  for (const auto& [key, value] : changed_settings(*settings)) {
    ADD_FAILURE() << key << " is " << value << " in settings.yaml and something else in the program";
  }
}

TEST(ShippedSettings, GiveEveryLineAReason) {
  std::ifstream file(shipped);
  std::string line, before;
  for (int number = 1; std::getline(file, line); ++number, before = line) {
    if (line.empty() || line.find_first_not_of(' ') == line.find('#')) continue;
    EXPECT_TRUE(line.find("  # ") != std::string::npos || before.find("# ") != std::string::npos)
        << "settings.yaml line " << number << ": " << line;
  }
}

// The compiler counts the members of every struct of settings; each must be in the table or known to be left out. This
// sees a missing member and a member bound twice. It does not see a struct of settings that no chain holds.
TEST(SettingsTable, BindsEveryMemberOfEveryStructOnce) {
  AllSettings settings;
  const SettingsTable table(settings);
  std::set<const void*> members;
  for (const SettingGroup& group : table.groups()) {
    std::size_t bound = 0;
    for (const SettingEntry& entry : table.entries()) {
      if (entry.key.substr(0, entry.key.rfind('.')) != group.key) continue;
      ++bound;
      std::visit(
          [&](const auto* value) {
            const auto *at = reinterpret_cast<const char*>(value), *begin = static_cast<const char*>(group.place);
            EXPECT_TRUE(std::greater_equal<>()(at, begin) && std::less<>()(at, begin + group.bytes)) << entry.key;
            EXPECT_TRUE(members.insert(value).second) << entry.key << " is bound to a member that is bound already";
          },
          entry.value);
    }
    EXPECT_EQ(bound + group.not_entries, group.members) << "members of " << group.key;
  }
}

TEST(SettingsTable, DefaultsLieWithinTheirLimits) {
  AllSettings settings;
  const SettingsTable table(settings);
  for (const SettingEntry& entry : table.entries()) {
    std::visit(
        [&](const auto* value) {
          if constexpr (std::is_arithmetic_v<std::remove_cvref_t<decltype(*value)>>) {
            EXPECT_LE(entry.least, static_cast<double>(*value)) << entry.key;
            EXPECT_GE(entry.most, static_cast<double>(*value)) << entry.key;
          }
        },
        entry.value);
  }
}

// Every number by its own key alone: the value arrives in that setting and in no other, and is told back.
TEST(ReadSettings, TakesEveryNumberByItsOwnKey) {
  AllSettings defaults;
  const SettingsTable table(defaults);
  int tried = 0;
  for (const SettingEntry& entry : table.entries()) {
    if (std::holds_alternative<bool*>(entry.value) || std::holds_alternative<std::string*>(entry.value)) continue;
    const std::string was = value_text(entry);
    // A value near the default, so that no order between settings is broken; whole where the setting is.
    const bool whole = !std::holds_alternative<double*>(entry.value);
    const double number = std::stod(was);
    double wanted = whole ? number + 1.0 : number * 1.01;
    if (wanted > entry.most) wanted = whole ? number - 1.0 : number * 0.99;
    if (number == 0.0 && !whole) wanted = entry.most / 2.0;
    std::ostringstream text;
    text.precision(17);
    text << wanted;
    const auto settings = read_settings_text(nested(entry.key, text.str()), "mine.yaml");
    // The board's own rules may refuse a board that does not fit its marker; those are tested below.
    if (!settings && entry.key.starts_with("photos.target.")) continue;
    ASSERT_TRUE(settings) << settings.error().sentence();
    const auto changed = changed_settings(*settings);
    ASSERT_EQ(changed.size(), 1u) << entry.key;
    EXPECT_EQ(changed[0].first, entry.key);
    EXPECT_EQ(std::stod(changed[0].second), wanted) << entry.key;
    ++tried;
  }
  EXPECT_GT(tried, 150);
}

TEST(ReadSettings, RefusesEveryNumberBeyondItsLimits) {
  AllSettings defaults;
  const SettingsTable table(defaults);
  for (const SettingEntry& entry : table.entries()) {
    if (std::holds_alternative<bool*>(entry.value) || std::holds_alternative<std::string*>(entry.value)) continue;
    for (const double beyond :
         {entry.least - std::max(1.0, std::abs(entry.least)), entry.most + std::max(1.0, std::abs(entry.most))}) {
      EXPECT_THAT(sentence_for(nested(entry.key, std::to_string(beyond))),
                  AnyOf(HasSubstr("it must lie between"), HasSubstr("must be a whole number")))
          << entry.key;
    }
  }
}

TEST(ReadSettings, NamesPlaceAndNearestKey) {
  EXPECT_THAT(sentence_for("rim:\n  unroll:\n    insidemm: 50\n"),
              AllOf(HasSubstr("mine.yaml line 3, column 5"), HasSubstr("unknown key 'insidemm' in rim.unroll"),
                    HasSubstr("'inside_mm'")));
  EXPECT_THAT(sentence_for("rin: {}\n"), AllOf(HasSubstr("line 1, column 1"), HasSubstr("'rim'")));
}

TEST(ReadSettings, RefusesWrongTypesAndShapes) {
  EXPECT_THAT(sentence_for("rim: 4\n"), HasSubstr("rim must be a group of keys"));
  EXPECT_THAT(sentence_for("rim: [1, 2]\n"), HasSubstr("rim must be a group of keys"));
  EXPECT_THAT(sentence_for("rim: {unroll: {slice_mm: wide}}\n"), HasSubstr("must be a number"));
  EXPECT_THAT(sentence_for("rim: {unroll: {slice_mm: .nan}}\n"), HasSubstr("must be a number"));
  EXPECT_THAT(sentence_for("rim: {unroll: {slice_mm: 1e999}}\n"), HasSubstr("must be a number"));
  EXPECT_THAT(sentence_for("rim: {unroll: {slice_mm: [0.5]}}\n"), HasSubstr("must be a number"));
  EXPECT_THAT(sentence_for("photos: {seeds: {refine: {tilt_along_free: 1}}}\n"), HasSubstr("must be true or false"));
  EXPECT_THAT(sentence_for("photos: {match: {neighbours: 6.5}}\n"), HasSubstr("must be a whole number"));
  EXPECT_THAT(sentence_for("photos: {match: {neighbours: 7, neighbours: 8}}\n"), HasSubstr("appears twice"));
  EXPECT_THAT(sentence_for(""), HasSubstr("is empty"));
  EXPECT_THAT(sentence_for("rim: &a {}\njudge: *a\n"), HasSubstr("not allowed"));
}

TEST(ReadSettings, RefusesWhatIsTooDeepOrTooLong) {
  std::string deep;
  for (int i = 0; i < 40; ++i) deep += "{a: ";
  EXPECT_THAT(sentence_for("rim: " + deep), HasSubstr("nested more than 12 deep"));
  const auto settings = read_settings_text(std::string(70'000, '#'), "mine.yaml");
  ASSERT_FALSE(settings);
  EXPECT_EQ(settings.error().reason, RefusalReason::file_over_limit);
}

TEST(ReadSettings, KeepsOrder) {
  EXPECT_THAT(sentence_for("measure: {fit: {ledge_window_mm: 5}}\n"),
              AllOf(HasSubstr("line 1"), HasSubstr("measure.fit.ledge_window_mm is 5, more than "
                                                   "measure.fit.longest_ledge_window_mm, which is 4")));
  EXPECT_EQ(sentence_for("measure: {fit: {ledge_window_mm: 5, longest_ledge_window_mm: 5}}\n"), "accepted");
}

TEST(ReadSettings, DescribesAnotherBoard) {
  const auto settings = read_settings_text(
      "photos: {target: {squares_across: 7, squares_down: 5, square_mm: 30, marker_mm: 22, dictionary: 4X4_50}}\n",
      "mine.yaml");
  ASSERT_TRUE(settings) << settings.error().sentence();
  EXPECT_EQ(settings->capture.photos.target.corner_count(), 24);
  EXPECT_EQ(settings->capture.photos.target.dictionary, "4X4_50");
  EXPECT_THAT(sentence_for("photos: {target: {dictionary: 9X9_1}}\n"), HasSubstr("photos.target"));
  // 11 x 8 squares need 44 markers; the dictionary of 50 has them, a board of 40 x 40 needs 800.
  EXPECT_THAT(sentence_for("photos: {target: {squares_across: 40, squares_down: 40, dictionary: 4X4_50}}\n"),
              HasSubstr("photos.target"));
  EXPECT_THAT(sentence_for("photos: {target: {marker_mm: 20}}\n"),
              HasSubstr("photos.target.marker_mm is 20, more than"));
}

TEST(ReadSettings, MissingFileIsNamed) {
  const auto settings = read_settings("no-such-settings.yaml");
  ASSERT_FALSE(settings);
  EXPECT_EQ(settings.error().reason, RefusalReason::file_not_found);
  EXPECT_THAT(settings.error().sentence(), HasSubstr("no-such-settings.yaml"));
}

}  // namespace
}  // namespace rimwright
