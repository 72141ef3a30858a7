#include "plan/read_plan.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <string>
#include <vector>

#include "plan/derive_steps.h"
#include "plan/yaml_reader.h"

namespace rimwright {
namespace {

constexpr double longest_mm = 2000.0;
constexpr double deepest_drop_mm = 150.0;  // the sides of the largest fretted instruments
constexpr double tallest_strip_mm =
    60.0;  // sections are searched as far as the plan reaches, at a cost that grows with it
constexpr double thickest_glue_mm = 5.0;
constexpr double widest_stack_mm = 50.0;  // wider than the rim of any top can carry
constexpr std::size_t most_channels = 20;
constexpr std::size_t most_strips = 12;
constexpr std::size_t most_router_entries = 100;

// 6.35 -> "6.35"; for messages only.
std::string digits(double value) {
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%.9g", value);
  return text.data();
}

// One reading: the walker and the file's unit, so that every length is converted in one place.
class PlanReading {
 public:
  explicit PlanReading(std::string_view name) : yaml_(std::string(name), RefusalReason::plan_not_valid) {}

  Outcome<Plan> read(const YamlNode& root);

 private:
  const YamlNode& at(const YamlNode& map, std::string_view key) {
    static const YamlNode nothing;
    const YamlNode* node = YamlReader::find(map, key);
    return node != nullptr ? *node : nothing;
  }

  // A length above zero (or from zero on, when zero makes sense), in millimetres.
  double length_mm(const YamlNode& node, const std::string& what, bool zero_allowed = false,
                   double most_mm = longest_mm);
  Tolerance tolerance(const YamlNode& node, const std::string& what, double unit_factor);
  Toleranced toleranced(const YamlNode& node, const std::string& what, double unit_factor);
  BandLimit band_limit(const YamlNode& node, const std::string& what);
  PlannedBevel bevel(const YamlNode& node);
  PlannedBlock block(const YamlNode& node);
  Strip strip(const YamlNode& node, const std::string& where);
  PlannedChannel channel(const YamlNode& node, std::size_t number);
  void check_stack(const YamlNode& node, const YamlNode& strips, const PlannedChannel& channel);
  RouterSet router(const YamlNode& node);

  YamlReader yaml_;
  double mm_per_unit_ = 1.0;
};

double PlanReading::length_mm(const YamlNode& node, const std::string& what, bool zero_allowed, double most_mm) {
  const double value_mm = yaml_.number(node, what) * mm_per_unit_;
  if (!yaml_.ok()) return 0.0;
  if (value_mm < 0.0 || (value_mm == 0.0 && !zero_allowed)) {
    yaml_.fail(node, what + " is " + digits(value_mm / mm_per_unit_),
               zero_allowed ? "it cannot be below 0" : "it must be above 0");
  } else if (value_mm > most_mm) {
    yaml_.fail(node, what + " is " + digits(value_mm) + " mm", "it must be at most " + digits(most_mm) + " mm");
  }
  return value_mm;
}

Tolerance PlanReading::tolerance(const YamlNode& node, const std::string& what, double unit_factor) {
  Tolerance result;
  if (node.kind == YamlNode::Kind::list) {
    if (node.items.size() != 2) {
      yaml_.fail(node, what + " must be a number or [lower, upper]", "write two numbers, as in [-0.1, 0.2]");
      return result;
    }
    result.lower = yaml_.number(node.items[0], "the lower end of " + what) * unit_factor;
    result.upper = yaml_.number(node.items[1], "the upper end of " + what) * unit_factor;
  } else {
    result.upper = yaml_.number(node, what) * unit_factor;
    result.lower = -result.upper;
  }
  if (!yaml_.ok()) return result;
  if (result.lower > 0.0 || result.upper < 0.0 || result.lower == result.upper) {
    yaml_.fail(node, what + " leaves no room about the nominal size",
               "write a number above 0, or [lower, upper] with lower at most 0 and upper at least 0");
  }
  if (result.upper - result.lower > 2.0 * longest_mm) {
    yaml_.fail(node, what + " is impossibly wide", "write the allowed departure from nominal");
  }
  return result;
}

Toleranced PlanReading::toleranced(const YamlNode& node, const std::string& what, double unit_factor) {
  Toleranced result;
  if (!yaml_.expect_map(node, what, {"nominal", "tolerance"})) return result;
  result.nominal = yaml_.number(at(node, "nominal"), "the nominal of " + what) * unit_factor;
  result.tolerance = tolerance(at(node, "tolerance"), "the tolerance of " + what, unit_factor);
  return result;
}

BandLimit PlanReading::band_limit(const YamlNode& node, const std::string& what) {
  BandLimit result;
  if (!yaml_.expect_map(node, what, {"band", "limit"})) return result;
  const YamlNode& band = at(node, "band");
  if (!yaml_.expect_list(band, "the band of " + what)) return result;
  if (band.items.size() != 2) {
    yaml_.fail(band, "the band of " + what + " must be two wavelengths", "write [shortest, longest]");
    return result;
  }
  result.band.shortest_mm = length_mm(band.items[0], "the shortest wavelength of " + what);
  result.band.longest_mm = length_mm(band.items[1], "the longest wavelength of " + what);
  if (yaml_.ok() && result.band.shortest_mm >= result.band.longest_mm) {
    yaml_.fail(band, "the band of " + what + " is upside down", "write [shortest, longest]");
  }
  result.limit_mm = length_mm(at(node, "limit"), "the limit of " + what);
  return result;
}

PlannedBevel PlanReading::bevel(const YamlNode& node) {
  PlannedBevel result;
  result.line = node.line;
  if (!yaml_.expect_map(node, "bevel", {"angle", "drop", "straightness", "waviness"}, {"edge_fairness"})) return result;
  result.angle_deg = toleranced(at(node, "angle"), "the bevel's angle", 1.0);
  if (yaml_.ok() && (result.angle_deg.lower_limit() <= 90.0 || result.angle_deg.upper_limit() >= 180.0)) {
    yaml_.fail(at(node, "angle"),
               "the bevel's angle runs from " + digits(result.angle_deg.lower_limit()) + " to " +
                   digits(result.angle_deg.upper_limit()) + " degrees",
               "give the angle inside the wood between bevel and side, above 90 and below 180");
  }
  result.drop_mm = toleranced(at(node, "drop"), "the bevel's drop", mm_per_unit_);
  if (yaml_.ok() && (result.drop_mm.lower_limit() <= 0.0 || result.drop_mm.upper_limit() > deepest_drop_mm)) {
    yaml_.fail(at(node, "drop"),
               "the bevel's drop runs from " + digits(result.drop_mm.lower_limit()) + " to " +
                   digits(result.drop_mm.upper_limit()) + " mm",
               "it must stay above 0 and be at most " + digits(deepest_drop_mm) + " mm, a size a side can have");
  }
  result.straightness_mm = length_mm(at(node, "straightness"), "the bevel's straightness");
  result.waviness = band_limit(at(node, "waviness"), "the bevel's waviness");
  if (const YamlNode* fairness = YamlReader::find(node, "edge_fairness")) {
    result.edge_fairness = band_limit(*fairness, "the bevel's edge_fairness");
  }
  return result;
}

PlannedBlock PlanReading::block(const YamlNode& node) {
  PlannedBlock result;
  result.line = node.line;
  if (!yaml_.expect_map(node, "block", {"top", "side", "keep"})) return result;
  result.top_mm = length_mm(at(node, "top"), "the block's top");
  result.side_mm = length_mm(at(node, "side"), "the block's side");
  result.keep_mm = length_mm(at(node, "keep"), "the block's keep", true);
  if (yaml_.ok() && (result.keep_mm >= result.top_mm || result.keep_mm >= result.side_mm)) {
    yaml_.fail(at(node, "keep"),
               "the block is to keep " + digits(result.keep_mm) + " mm but is only " +
                   digits(std::min(result.top_mm, result.side_mm)) + " mm",
               "keep less, or plan a larger block");
  }
  return result;
}

Strip PlanReading::strip(const YamlNode& node, const std::string& where) {
  Strip result;
  result.line = node.line;
  if (!yaml_.expect_map(node, where, {"name", "thickness", "height"}, {"later"})) return result;
  result.name = yaml_.text(at(node, "name"), "the name of " + where);
  result.thickness_mm = length_mm(at(node, "thickness"), "the thickness of " + where, false, widest_stack_mm);
  result.height_mm = length_mm(at(node, "height"), "the height of " + where, false, tallest_strip_mm);
  if (const YamlNode* later = YamlReader::find(node, "later")) {
    result.later = yaml_.yes_or_no(*later, "later of " + where);
  }
  return result;
}

void PlanReading::check_stack(const YamlNode& node, const YamlNode& strips, const PlannedChannel& channel) {
  for (std::size_t i = 0; i < channel.strips.size() && yaml_.ok(); ++i) {
    const Strip& strip = channel.strips[i];
    if (i > 0 && strip.height_mm > channel.strips[i - 1].height_mm + 1e-3) {
      yaml_.fail(strips.items[i], "strip '" + strip.name + "' is taller than the strip outside it",
                 "list the strips from the outside in; a ledge only gets shallower inwards");
    }
    if (strip.height_mm + channel.glue_mm - channel.proud_mm <= 0.0) {
      yaml_.fail(at(node, "proud"), "strip '" + strip.name + "' would stand out by its whole height",
                 "make proud smaller than the height of every strip");
    }
  }
  const double width_mm = stack_width_mm(channel, channel.strips.size() - 1);
  if (width_mm > widest_stack_mm) {
    yaml_.fail(strips, "the stack is " + digits(width_mm) + " mm wide",
               "a stack of more than " + digits(widest_stack_mm) + " mm is wider than a top can carry at its rim");
  }
}

PlannedChannel PlanReading::channel(const YamlNode& node, std::size_t number) {
  const std::string where = "channel " + std::to_string(number);
  PlannedChannel result;
  result.line = node.line;
  if (!yaml_.expect_map(node, where, {"name", "corner", "strips", "glue", "proud", "tolerance"})) return result;
  result.name = yaml_.text(at(node, "name"), "the name of " + where);
  result.corner = static_cast<ChannelCorner>(
      yaml_.one_of(at(node, "corner"), "the corner of " + where, {"top-side", "top-bevel", "side-bevel"}));
  result.glue_mm = length_mm(at(node, "glue"), "the glue of " + where, true, thickest_glue_mm);
  result.proud_mm = length_mm(at(node, "proud"), "proud of " + where, true, tallest_strip_mm);
  const YamlNode& limits = at(node, "tolerance");
  if (yaml_.expect_map(limits, "the tolerance of " + where, {"width", "depth"})) {
    result.width_tolerance_mm = tolerance(at(limits, "width"), "the width tolerance of " + where, mm_per_unit_);
    result.depth_tolerance_mm = tolerance(at(limits, "depth"), "the depth tolerance of " + where, mm_per_unit_);
  }
  const YamlNode& strips = at(node, "strips");
  if (!yaml_.expect_list(strips, "the strips of " + where)) return result;
  if (strips.items.empty() || strips.items.size() > most_strips) {
    yaml_.fail(strips, where + " has " + std::to_string(strips.items.size()) + " strips",
               "list 1 to " + std::to_string(most_strips) + " strips, from the outside in");
    return result;
  }
  for (std::size_t i = 0; i < strips.items.size() && yaml_.ok(); ++i) {
    result.strips.push_back(strip(strips.items[i], "strip " + std::to_string(i + 1) + " of " + where));
  }
  if (!yaml_.ok()) return result;
  check_stack(node, strips, result);
  result.steps = derive_steps(result.strips, result.glue_mm, result.proud_mm);
  return result;
}

RouterSet PlanReading::router(const YamlNode& node) {
  RouterSet result;
  if (!yaml_.expect_map(node, "router", {}, {"cutters", "bearings", "followers"})) return result;
  const auto diameters = [&](std::string_view key, std::vector<double>& into) {
    const YamlNode* list = YamlReader::find(node, key);
    if (list == nullptr || !yaml_.expect_list(*list, std::string(key) + " of router")) return;
    if (list->items.size() > most_router_entries) {
      yaml_.fail(*list, std::string(key) + " of router has too many entries",
                 "list at most " + std::to_string(most_router_entries));
    }
    for (const YamlNode& item : list->items) into.push_back(length_mm(item, "a diameter in " + std::string(key)));
  };
  diameters("cutters", result.cutters_mm);
  diameters("bearings", result.bearings_mm);
  diameters("followers", result.followers_mm);
  return result;
}

Outcome<Plan> PlanReading::read(const YamlNode& root) {
  Plan plan;
  if (yaml_.expect_map(root, "the plan", {"instrument", "units"}, {"bevel", "block", "channels", "top", "router"})) {
    plan.instrument = yaml_.text(at(root, "instrument"), "instrument");
    plan.units = static_cast<LengthUnit>(yaml_.one_of(at(root, "units"), "units", {"mm", "inch"}));
    mm_per_unit_ = plan.units == LengthUnit::inch ? 25.4 : 1.0;
  }
  if (yaml_.ok()) {
    if (const YamlNode* node = YamlReader::find(root, "bevel")) plan.bevel = bevel(*node);
    if (const YamlNode* node = YamlReader::find(root, "block")) plan.block = block(*node);
    if (const YamlNode* node = YamlReader::find(root, "router")) plan.router = router(*node);
    if (const YamlNode* node = YamlReader::find(root, "top"); node != nullptr) {
      if (yaml_.expect_map(*node, "top", {"thickness"})) {
        plan.top_thickness_mm = length_mm(at(*node, "thickness"), "the top's thickness");
      }
    }
  }
  if (const YamlNode* channels = YamlReader::find(root, "channels");
      channels != nullptr && yaml_.expect_list(*channels, "channels")) {
    if (channels->items.size() > most_channels) {
      yaml_.fail(*channels, "the plan has " + std::to_string(channels->items.size()) + " channels",
                 "plan at most " + std::to_string(most_channels));
    }
    for (std::size_t i = 0; i < channels->items.size() && yaml_.ok(); ++i) {
      const YamlNode& node = channels->items[i];
      plan.channels.push_back(channel(node, i + 1));
      const PlannedChannel& added = plan.channels.back();
      if (!plan.bevel && added.corner != ChannelCorner::top_side) {
        yaml_.fail(at(node, "corner"), "channel '" + added.name + "' lies along a bevel, but the plan has none",
                   "plan the bevel, or set the corner to top-side");
      }
      for (std::size_t j = 0; j < i; ++j) {
        if (plan.channels[j].name == added.name) {
          yaml_.fail(at(node, "name"), "two channels are named '" + added.name + "'", "give each a name of its own");
        }
      }
    }
  }
  if (yaml_.ok() && !plan.bevel && plan.channels.empty()) {
    yaml_.fail(root, "the plan has neither a bevel nor a channel", "plan at least one of them");
  }
  if (!yaml_.ok()) return tl::unexpected<Refusal>(yaml_.failure());
  return plan;
}

Outcome<Plan> read_tree(const Outcome<YamlNode>& tree, std::string_view name) {
  if (!tree) return tl::unexpected<Refusal>(tree.error());
  return PlanReading(name).read(*tree);
}

}  // namespace

Outcome<Plan> read_plan(const std::string& path) {
  return read_tree(read_strict_yaml(path, RefusalReason::plan_not_valid), path);
}

Outcome<Plan> read_plan_text(std::string_view text, std::string_view name) {
  return read_tree(parse_strict_yaml(text, name, RefusalReason::plan_not_valid), name);
}

}  // namespace rimwright
