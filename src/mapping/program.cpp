#include "mapping/program.hpp"

#include <algorithm>
#include <map>
#include <set>

#include "mapping/outline.hpp"

namespace charpie::mapping {

class Program::Builder {
 public:
  explicit Builder(Program& program) : program_(program) {}

  std::uint32_t add(const Outline& outline) {
    const auto at = open(outline);
    sequence(outline.inside, at);
    close(at, outline);
    if (outline.inside.size() == 1 && is_bracket(step(at)) && is_bracket(step(at + 1))) join(at, outline);
    return at;
  }
  // The bodies of all templates; nothing where one has none. Notes in the program where their steps begin.
  void add_bodies(const std::vector<std::optional<Outline>>& bodies, const std::vector<Template>& templates) {
    for (const auto& body : bodies) {
      if (body) see_neighbours(*body);
    }
    for (std::size_t i = 0; i < bodies.size(); ++i) {
      resource_type_ = templates[i].resource_type;
      program_.starts_.push_back(bodies[i] ? add(*bodies[i]) : no_step);
    }
  }

 private:
  // Which members that are shared stand beside each other; of all templates, before the first is added.
  void see_neighbours(const Outline& body) {
    std::uint32_t before = 0;
    for (const auto& outline : body.inside) {
      meet(before, outline.shared);
      before = outline.shared;
    }
    meet(before, 0);
  }

  Step& step(std::uint32_t at) { return program_.steps_[at]; }
  std::uint32_t here() const { return static_cast<std::uint32_t>(program_.steps_.size()); }

  std::uint32_t put(std::string_view bytes) {
    const auto at = static_cast<std::uint32_t>(program_.bytes_.size());
    program_.bytes_ += bytes;
    return at;
  }

  // Makes the step of a part; its lead is the name and what opens it.
  std::uint32_t open(const Outline& outline) {
    const auto at = here();
    Step made;
    made.kind = outline.kind;
    made.escape = outline.escape;
    made.lead = put(outline.name);
    put(outline.open);
    made.key_size = static_cast<std::uint32_t>(outline.name.size());
    made.lead_size = static_cast<std::uint32_t>(outline.name.size() + outline.open.size());
    if (outline.kind == Step::Kind::bytes) {
      put(outline.close);
      made.lead_size += static_cast<std::uint32_t>(outline.close.size());
    }
    if (outline.part != nullptr) describe(*outline.part, at, made);
    program_.steps_.push_back(made);
    return at;
  }

  void describe(Part& part, std::uint32_t at, Step& made) {
    if (program_.notation_ == Notation::json) part.step = at;
    made.facet = part.facet;
    made.render = part.render;
    made.source = part.source;
    made.sets_kind = part.sets_kind;
    made.has_sets_kind = part.has_sets_kind;
    made.further = part.also_loop;
    made.may_vanish = !part.always && part.has_hole;
    made.needs_hole = has_own_hole(part);
    made.is_limited = !part.allowed.empty();
    made.is_repeated = part.each || part.source == Source::fixed;
    made.is_spelled = part.spelling.any();
    made.loop_level = static_cast<std::uint8_t>(part.loop_level);
    made.says_none = made.kind == Step::Kind::loop && has_words_of(part, part.loop_level);
    made.accessor = part.accessor;
    made.number = made.kind == Step::Kind::typed ? 0 : part.target;
    made.when = part.when.empty() ? nullptr : &part.when;
    made.part = &part;
    made.domain = part.domain;
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

  void close(std::uint32_t at, const Outline& outline) {
    if (outline.kind != Step::Kind::bytes) {
      step(at).tail = put(outline.close);
      step(at).tail_size = static_cast<std::uint32_t>(outline.close.size());
    }
    close(at);
  }

  static bool is_bracket(const Step& step) {
    return step.kind == Step::Kind::object || step.kind == Step::Kind::array;
  }

  // A bracket in which there is but one other opens and closes with it: one step instead of two. The inner
  // one keeps its own, for who writes it alone.
  void join(std::uint32_t at, const Outline& outline) {
    const Step inner = step(at + 1);
    if (inner.when != nullptr || inner.may_vanish != step(at).may_vanish ||
        inner.needs_hole != step(at).needs_hole)
      return;
    const auto opens = std::string(program_.lead(step(at))) + std::string(program_.lead(inner));
    auto closes = std::string(program_.tail(inner));
    closes.resize(closes.size() - frame(program_.notation_).separator.size());
    closes += outline.close;
    Step& both = step(at);
    both.lead = put(opens);
    both.lead_size = static_cast<std::uint32_t>(opens.size());
    both.tail = put(closes);
    both.tail_size = static_cast<std::uint32_t>(closes.size());
    both.starts_constant = inner.starts_constant;
    both.first = inner.first;
  }
  void close(std::uint32_t at) {
    Step& made = step(at);
    made.first = at + 1;
    made.next = here();
    find_roots(made);
    made.is_guarded = made.has_root || made.needs_labels || made.when != nullptr;
  }
  void find_roots(Step& made) {
    if (!made.may_vanish || !is_bracket(made)) return;
    made.needs_labels = made.first != made.next && step(made.first).next == made.next &&
                        (step(made.first).kind == Step::Kind::labels || step(made.first).needs_labels);
    bool any = false;
    made.has_root_form = common_form(*made.part, made.root, made.root_form, any) && any;
    any = false;
    made.has_root = made.has_root_form ||
                    (common_root(*made.part, made.root, any) && any && made.root.steps > 0);
  }

  // The value that all holes of the part are about, and the form in which alone they say something; false when
  // there is no such value.
  static bool common_form(const Part& part, Accessor& root, record::Form& form, bool& any) {
    if (part.kind == Part::Kind::constant) return true;
    if (part.kind == Part::Kind::references || part.kind == Part::Kind::labels ||
        part.kind == Part::Kind::loop)
      return false;
    if (part.kind != Part::Kind::primitive) {
      return std::all_of(part.parts.begin(), part.parts.end(),
                         [&](const auto& below) { return common_form(*below, root, form, any); });
    }
    if (part.source != Source::field || part.also_loop || part.spelling.any() || part.facet == Facet::words)
      return false;
    const auto own = form_of(part.facet);
    if (!any) {
      any = true;
      root = part.accessor;
      form = own;
      return true;
    }
    return form == own && root.level == part.accessor.level && root.steps == part.accessor.steps &&
           std::equal(root.slots, root.slots + root.steps, part.accessor.slots);
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

  void sequence(const std::vector<Outline>& outlines, std::uint32_t at) {
    std::string joined;
    for (std::size_t i = 0; i < outlines.size(); ++i) {
      const Outline& outline = outlines[i];
      if (outline.is_constant()) {
        joined.append(outline.name).append(outline.open).append(outline.close);
        continue;
      }
      constants(at, joined);
      if (outline.shared != 0) {
        i += shared(outlines, i) - 1;
      } else {
        add(outline);
      }
    }
    constants(at, joined);
  }

  // Constants that come first in a bracket join its lead; later ones become a step.
  void constants(std::uint32_t at, std::string& joined) {
    if (joined.empty()) return;
    if (here() == at + 1 && (is_bracket(step(at)) || step(at).kind == Step::Kind::text)) {
      put(joined);
      step(at).lead_size += static_cast<std::uint32_t>(joined.size());
      step(at).starts_constant = true;
    } else {
      add({Step::Kind::bytes, nullptr, {}, joined, {}});
    }
    joined.clear();
  }

  void meet(std::uint32_t left, std::uint32_t right) {
    if (left != 0) neighbours_[{left, true}].insert(right);
    if (right != 0) neighbours_[{right, false}].insert(left);
  }
  // Whether the two always stand side by side.
  bool always_together(std::uint32_t left, std::uint32_t right) const {
    const auto behind = neighbours_.find({left, true}), before = neighbours_.find({right, false});
    return behind != neighbours_.end() && behind->second.size() == 1 && behind->second.contains(right) &&
           before != neighbours_.end() && before->second.size() == 1;
  }

  // Neighbours that say the same in every instance are copied in one piece: as many as stand together
  // wherever they stand. Returns how many they are.
  std::size_t shared(const std::vector<Outline>& outlines, std::size_t first) {
    // The same members are spelled alike in one type of resource.
    std::pair<std::string_view, std::vector<std::uint32_t>> stretch{resource_type_, {}};
    auto end = first;
    for (; end < outlines.size() && outlines[end].shared != 0; ++end) {
      if (end != first && !always_together(outlines[end - 1].shared, outlines[end].shared)) break;
      stretch.second.push_back(outlines[end].shared);
      if (outlines[end].shared_beside != 0) stretch.second.push_back(outlines[end].shared_beside);
    }
    const auto number =
        stretches_.emplace(stretch, static_cast<std::uint32_t>(stretches_.size())).first->second;
    program_.shared_ = static_cast<std::uint32_t>(stretches_.size());
    const auto at = here();
    program_.steps_.push_back({});
    step(at).kind = Step::Kind::shared;
    step(at).number = number;
    for (auto i = first; i < end; ++i) add(outlines[i]);
    close(at);
    return end - first;
  }

  Program& program_;
  std::string_view resource_type_;
  std::map<std::pair<std::string_view, std::vector<std::uint32_t>>, std::uint32_t> stretches_;
  // What stands behind (true) or before a shared member, anywhere; 0: what is not shared, or nothing.
  std::map<std::pair<std::uint32_t, bool>, std::set<std::uint32_t>> neighbours_;
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
  bytes_.reserve(bytes + Appender::spare);
  Arena texts;
  // What is only read has steps of its own, which no template leads to: reading compares copies by them.
  std::vector<std::optional<Outline>> bodies;
  std::vector<Outline> read_only;
  for (auto& made_from : templates) bodies.push_back(outline_in_json(made_from, texts, read_only));
  Builder builder(*this);
  builder.add_bodies(bodies, templates);
  for (const auto& one : read_only) builder.add(one);
  bytes_.append(Appender::spare, ' ');
}

void Program::build(std::vector<Template>& templates, const fhir::Elements& elements) {
  notation_ = Notation::xml;
  Arena texts;
  std::vector<std::optional<Outline>> bodies;
  for (auto& made_from : templates)
    bodies.push_back(made_from.one_way ? std::nullopt : outline_in_xml(made_from, elements, texts));
  Builder(*this).add_bodies(bodies, templates);
  bytes_.append(Appender::spare, ' ');
}

std::uint32_t Program::add_words(std::vector<std::string> words) {
  words_.push_back(std::move(words));
  return static_cast<std::uint32_t>(words_.size() - 1);
}

}  // namespace charpie::mapping
