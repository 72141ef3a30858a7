#include "plan/strict_yaml.h"

#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/parser.h>

#include <sstream>
#include <utility>

#include "core/safe_text.h"
#include "core/small_file.h"

namespace rimwright {
namespace {

struct NotAllowed {
  YAML::Mark mark;
  std::string what, what_to_do;
};

class TreeBuilder final : public YAML::EventHandler {
 public:
  explicit TreeBuilder(const YamlLimits& limits) : limits_(limits) {}
  YamlNode root;

  void OnDocumentStart(const YAML::Mark&) override {}
  void OnDocumentEnd() override {}
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    throw NotAllowed{mark, "an alias (*name) is not allowed here", "write the value out"};
  }
  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override { leaf(mark, "", anchor, "", false); }
  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                const std::string& value) override {
    leaf(mark, tag, anchor, value, tag == "!");
    last_->kind = YamlNode::Kind::scalar;
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value) override {
    open(mark, tag, anchor, YamlNode::Kind::list);
  }
  void OnSequenceEnd() override { close(); }
  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value) override {
    open(mark, tag, anchor, YamlNode::Kind::map);
  }
  void OnMapEnd() override { close(); }

 private:
  void leaf(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor, const std::string& value,
            bool quoted) {
    if (anchor != 0) throw NotAllowed{mark, "an anchor (&name) is not allowed here", "write the value out"};
    if (!tag.empty() && tag != "?" && tag != "!") {
      throw NotAllowed{mark, "a tag " + shown_safely(tag) + " is not allowed here", "remove it"};
    }
    if (++count_ > limits_.nodes) {
      throw NotAllowed{mark, "more than " + std::to_string(limits_.nodes) + " values", "shorten the file"};
    }
    YamlNode node;
    node.scalar = value;
    node.quoted = quoted;
    node.line = mark.line + 1;
    node.column = mark.column + 1;
    last_ = place_node(std::move(node), mark);
  }

  void open(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor, YamlNode::Kind kind) {
    leaf(mark, tag, anchor, "", false);
    last_->kind = kind;
    stack_.push_back(last_);
    if (static_cast<int>(stack_.size()) > limits_.depth) {
      throw NotAllowed{mark, "nested more than " + std::to_string(limits_.depth) + " deep", "flatten the file"};
    }
  }
  void close() { stack_.pop_back(); }

  // Pointers into the tree stay valid: a list or map grows only while its own last entry is complete.
  YamlNode* place_node(YamlNode node, const YAML::Mark& mark) {
    if (stack_.empty()) {
      root = std::move(node);
      return &root;
    }
    YamlNode& parent = *stack_.back();
    if (parent.kind == YamlNode::Kind::list || parent.keys.size() > parent.items.size()) {
      parent.items.push_back(std::move(node));
      return &parent.items.back();
    }
    for (const YamlNode& key : parent.keys) {
      if (key.scalar == node.scalar) {
        throw NotAllowed{mark, "the key " + shown_safely(node.scalar) + " appears twice", "keep one of them"};
      }
    }
    parent.keys.push_back(std::move(node));
    return &parent.keys.back();
  }

  YamlLimits limits_;
  std::size_t count_ = 0;
  std::vector<YamlNode*> stack_;
  YamlNode* last_ = nullptr;
};

}  // namespace

std::string place_in_file(std::string_view name, int line, int column) {
  return std::string(name) + " line " + std::to_string(line) + ", column " + std::to_string(column) + ": ";
}

std::string shown_safely(std::string_view text) {
  constexpr std::size_t longest = 40;
  return "'" + safe_text(text, longest) + "'";
}

Outcome<YamlNode> parse_strict_yaml(std::string_view text, std::string_view name, RefusalReason reason,
                                    const YamlLimits& limits) {
  if (text.size() > limits.bytes) {
    return refuse(RefusalReason::file_over_limit,
                  std::string(name) + " holds more than " + std::to_string(limits.bytes) + " bytes",
                  "check that this is the right file");
  }
  if (const std::size_t at = text.find('\0'); at != std::string_view::npos) {
    return refuse(reason, std::string(name) + " is not a text file (byte " + std::to_string(at) + " is zero)",
                  "check that this is the right file");
  }
  TreeBuilder builder(limits);
  try {
    std::istringstream stream{std::string(text)};
    YAML::Parser parser(stream);
    if (!parser.HandleNextDocument(builder)) {
      return refuse(reason, std::string(name) + " is empty", "check that this is the right file");
    }
    TreeBuilder second(limits);
    if (parser.HandleNextDocument(second)) {
      return refuse(reason, place_in_file(name, second.root.line, second.root.column) + "a second document starts here",
                    "keep one document in the file");
    }
  } catch (const NotAllowed& not_allowed) {
    return refuse(reason,
                  place_in_file(name, not_allowed.mark.line + 1, not_allowed.mark.column + 1) + not_allowed.what,
                  not_allowed.what_to_do);
  } catch (const YAML::Exception& error) {
    return refuse(
        reason, place_in_file(name, error.mark.line + 1, error.mark.column + 1) + "not valid YAML (" + error.msg + ")",
        "correct the line, or see the examples in the README");
  }
  return std::move(builder.root);
}

Outcome<YamlNode> read_strict_yaml(const std::string& path, RefusalReason reason, const YamlLimits& limits) {
  const Outcome<std::string> text = read_small_file(path, limits.bytes);
  if (!text) return tl::unexpected(text.error());
  return parse_strict_yaml(*text, path, reason, limits);
}

}  // namespace rimwright
