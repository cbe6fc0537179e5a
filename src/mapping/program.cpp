#include "mapping/program.hpp"

#include <algorithm>
#include <map>

#include "base/escape.hpp"

namespace charpie::mapping {

class Program::Builder {
 public:
  explicit Builder(Program& program) : program_(program) {}

  void add(Template& made_from) {
    Part& body = *made_from.body;
    const auto at = open(body, Step::Kind::object, "{");
    members(body, at, true);
    close(at);
    // What is only read has steps of its own, which no template leads to: reading compares copies by them.
    for (Part* part : read_only_) value(*part);
    read_only_.clear();
  }

 private:
  Step& step(std::uint32_t at) { return program_.steps_[at]; }
  std::uint32_t here() const { return static_cast<std::uint32_t>(program_.steps_.size()); }

  std::uint32_t put(std::string_view bytes) {
    const auto at = static_cast<std::uint32_t>(program_.bytes_.size());
    program_.bytes_ += bytes;
    return at;
  }

  // Makes the step of a part; its lead is the name and the opening bracket.
  std::uint32_t open(Part& part, Step::Kind kind, std::string_view bracket) {
    const auto at = here();
    part.step = at;
    Step made;
    made.kind = kind;
    made.facet = part.facet;
    made.render = part.render;
    made.source = part.source;
    made.shape = part.shape;
    made.sets_kind = part.sets_kind;
    made.has_sets_kind = part.has_sets_kind;
    made.further = part.also_loop;
    made.may_vanish = !part.always && part.has_hole;
    made.needs_hole = has_own_hole(part);
    made.is_limited = !part.allowed.empty();
    made.loop_level = static_cast<std::uint8_t>(part.loop_level);
    made.accessor = part.accessor;
    made.lead = put(part.key);
    put(bracket);
    made.key_size = static_cast<std::uint32_t>(part.key.size());
    made.lead_size = static_cast<std::uint32_t>(part.key.size() + bracket.size());
    made.number = part.target;
    made.when = part.when.empty() ? nullptr : &part.when;
    made.part = &part;
    made.domain = part.domain;
    program_.steps_.push_back(made);
    return at;
  }
  // Whether a site's words below are about the loop's element itself.
  static bool has_words_of(const Part& part, std::uint32_t level) {
    if (part.kind == Part::Kind::primitive)
      return part.spelling.words != nullptr && part.accessor.level == level && part.accessor.steps == 0;
    return std::any_of(part.parts.begin(), part.parts.end(),
                       [&](const auto& below) { return has_words_of(*below, level); });
  }
  // Whether something below says what stands nowhere else.
  static bool has_own_hole(const Part& part) {
    if (part.kind == Part::Kind::primitive) return !part.each && part.source != Source::fixed;
    return part.kind == Part::Kind::references ||
           std::any_of(part.parts.begin(), part.parts.end(),
                       [](const auto& below) { return has_own_hole(*below); });
  }
  void close(std::uint32_t at) {
    step(at).next = here();
    Step& made = step(at);
    if (!made.may_vanish || (made.kind != Step::Kind::object && made.kind != Step::Kind::array)) return;
    bool any = false;
    made.has_root = common_root(*made.part, made.root, any) && any && made.root.steps > 0;
  }

  // Narrows `root` to what it and all holes of the part go through; false when a hole is no field's.
  static bool common_root(const Part& part, Accessor& root, bool& any) {
    if (part.kind == Part::Kind::references || part.kind == Part::Kind::labels) return false;
    const bool leads =
        part.kind == Part::Kind::primitive || part.kind == Part::Kind::loop || part.kind == Part::Kind::typed;
    if (!leads) {
      for (const auto& below : part.parts) {
        if (!common_root(*below, root, any)) return false;
      }
      return true;
    }
    if (part.kind == Part::Kind::primitive && part.source != Source::field) return false;
    if (!any) {
      any = true;
      root = part.accessor;
      return true;
    }
    if (root.level != part.accessor.level) return false;
    std::uint8_t same = 0;
    while (same < root.steps && same < part.accessor.steps && root.slots[same] == part.accessor.slots[same])
      ++same;
    root.steps = same;
    return true;
  }

  void bytes(std::string_view constants) {
    if (constants.empty()) return;
    Step made;
    made.lead = put(constants);
    made.lead_size = static_cast<std::uint32_t>(constants.size());
    made.next = here() + 1;
    program_.steps_.push_back(made);
  }

  // Constants that come first in a bracket join its lead; later ones become a step.
  void constants(std::uint32_t at, std::string& joined) {
    if (joined.empty()) return;
    if (here() == at + 1 && step(at).kind != Step::Kind::alternative && step(at).kind != Step::Kind::shared) {
      put(joined);
      step(at).lead_size += static_cast<std::uint32_t>(joined.size());
      step(at).starts_constant = true;
    } else {
      bytes(joined);
    }
    joined.clear();
  }

  void members(Part& object, std::uint32_t at, bool of_template = false) {
    std::string joined;
    for (std::size_t i = 0; i < object.parts.size(); ++i) {
      Part& part = *object.parts[i];
      if (part.kind == Part::Kind::constant) {
        joined.append(part.key).append(part.json).append(",");
        continue;
      }
      constants(at, joined);
      if (of_template && part.shared != 0) {
        i += shared(object, i) - 1;
      } else if (part.kind == Part::Kind::choose) {
        choose(part);
      } else {
        value(part);
      }
    }
    constants(at, joined);
  }

  // Neighbours that say the same in every instance are copied in one piece. Returns how many they are.
  std::size_t shared(Part& object, std::size_t first) {
    std::vector<std::uint32_t> stretch;
    for (std::size_t i = first; i < object.parts.size() && object.parts[i]->shared != 0; ++i) {
      stretch.push_back(object.parts[i]->shared);
    }
    const auto number =
        stretches_.emplace(stretch, static_cast<std::uint32_t>(stretches_.size())).first->second;
    program_.shared_ = static_cast<std::uint32_t>(stretches_.size());
    const auto at = here();
    program_.steps_.push_back({});
    step(at).kind = Step::Kind::shared;
    step(at).number = number;
    for (std::size_t i = 0; i < stretch.size(); ++i) value(*object.parts[first + i]);
    close(at);
    return stretch.size();
  }

  void choose(Part& part) {
    const auto at = open(part, Step::Kind::choose, {});
    for (auto& alternative : part.parts) {
      const auto one = open(*alternative, Step::Kind::alternative, {});
      if (alternative->kind == Part::Kind::constant) {
        // Its members without the braces.
        bytes(std::string(alternative->json.substr(1, alternative->json.size() - 2)) + ',');
      } else {
        members(*alternative, one);
      }
      close(one);
    }
    close(at);
  }

  void value(Part& part) {
    switch (part.kind) {
      case Part::Kind::object: {
        const auto at = open(part, Step::Kind::object, "{");
        members(part, at);
        close(at);
        return;
      }
      case Part::Kind::array: {
        const auto at = open(part, Step::Kind::array, "[");
        items(part, at);
        close(at);
        return;
      }
      case Part::Kind::text: {
        const auto at = open(part, Step::Kind::text, "\"");
        for (auto& piece : part.parts) {
          if (piece->kind == Part::Kind::primitive) {
            close(open(*piece, Step::Kind::hole, {}));
            continue;
          }
          std::string escaped;
          append_json_escaped(piece->literal, escaped);
          if (here() == at + 1) {
            put(escaped);
            step(at).lead_size += static_cast<std::uint32_t>(escaped.size());
          } else {
            bytes(escaped);
          }
        }
        close(at);
        return;
      }
      case Part::Kind::typed: {
        const auto at = open(part, Step::Kind::typed, {});
        step(at).number = 0;
        value(*part.parts.front());
        close(at);
        return;
      }
      case Part::Kind::loop: {
        const auto at = open(part, Step::Kind::loop, {});
        step(at).says_none = has_words_of(part, part.loop_level);
        value(*part.parts.front());
        close(at);
        return;
      }
      case Part::Kind::choose:
        choose(part);
        return;
      case Part::Kind::references:
        close(open(part, Step::Kind::references, {}));
        return;
      case Part::Kind::labels:
        close(open(part, Step::Kind::labels, {}));
        return;
      case Part::Kind::primitive:
        close(open(part, Step::Kind::hole, {}));
        return;
      case Part::Kind::constant: {
        const auto at = here();
        bytes(std::string(part.json) + ',');
        step(at).when = part.when.empty() ? nullptr : &part.when;
        return;
      }
    }
  }

  void items(Part& array, std::uint32_t at) {
    std::string joined;
    for (auto& part : array.parts) {
      if (part->one_way) {
        read_only_.push_back(part);
        continue;
      }
      if (part->kind == Part::Kind::constant && part->when.empty()) {
        joined.append(part->json).append(",");
        continue;
      }
      constants(at, joined);
      value(*part);
    }
    constants(at, joined);
  }

  std::vector<Part*> read_only_;
  Program& program_;
  std::map<std::vector<std::uint32_t>, std::uint32_t> stretches_;
};

namespace {

// At least as many steps and bytes as the part needs: a row that grows would be moved, page by page.
void add_room(const Part& part, std::size_t& steps, std::size_t& bytes) {
  ++steps;
  bytes += part.key.size() + part.json.size() + part.literal.size() + 2;
  for (const Part* below : part.parts) add_room(*below, steps, bytes);
}

}  // namespace

void Program::build(std::vector<Template>& templates) {
  std::size_t steps = 0, bytes = 0;
  for (const auto& one : templates) add_room(*one.body, steps, bytes);
  steps_.reserve(steps);
  bytes_.reserve(bytes);
  Builder builder(*this);
  for (auto& made_from : templates) builder.add(made_from);
}

std::uint32_t Program::add_words(std::vector<std::string> words) {
  words_.push_back(std::move(words));
  return static_cast<std::uint32_t>(words_.size() - 1);
}

}  // namespace charpie::mapping
