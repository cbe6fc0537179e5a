#include "base/escape.hpp"
#include "mapping/outline.hpp"

namespace charpie::mapping {

namespace {

using Kind = Part::Kind;

class JsonOutliner {
 public:
  JsonOutliner(Arena& texts, std::vector<Outline>& read_only) : texts_(texts), read_only_(read_only) {}

  Outline object(Part& part, bool of_template = false) {
    Outline made{Step::Kind::object, &part, part.key, "{", "},"};
    members(part, made, of_template);
    return made;
  }

 private:
  void members(Part& object, Outline& into, bool of_template = false) {
    into.inside.reserve(object.parts.size());
    for (auto& part : object.parts) {
      into.inside.push_back(value(*part));
      if (of_template) into.inside.back().shared = part->shared;
    }
  }

  Outline value(Part& part) {
    switch (part.kind) {
      case Kind::constant:
        return {Step::Kind::bytes, &part, part.key, part.json, ","};
      case Kind::object:
        return object(part);
      case Kind::array: {
        Outline made{Step::Kind::array, &part, part.key, "[", "],"};
        for (auto& item : part.parts) (item->one_way ? read_only_ : made.inside).push_back(value(*item));
        return made;
      }
      case Kind::primitive:
        if (part.shape != Shape::string) return {Step::Kind::hole, &part, part.key, "", ",", Escape::none};
        return {Step::Kind::hole, &part, part.key, "\"", "\",", Escape::json};
      case Kind::text: {
        Outline made{Step::Kind::text, &part, part.key, "\"", "\","};
        for (auto& piece : part.parts) made.inside.push_back(this->piece(*piece));
        return made;
      }
      case Kind::typed: {
        Outline made{Step::Kind::typed, &part, part.key, "", ","};
        made.inside.push_back(value(*part.parts.front()));
        return made;
      }
      case Kind::loop: {
        Outline made{Step::Kind::loop, &part, part.key, "", ""};
        made.inside.push_back(value(*part.parts.front()));
        return made;
      }
      case Kind::references:
        return {Step::Kind::references, &part, part.key, "{", "},"};
      case Kind::labels:
        return {Step::Kind::labels, &part, part.key, "{", "},"};
      case Kind::choose:
        break;
    }
    return choose(part);
  }

  Outline piece(Part& part) {
    if (part.kind == Kind::primitive) return {Step::Kind::hole, &part, {}, {}, {}, Escape::json};
    std::string escaped;
    append_json_escaped(part.literal, escaped);
    return {Step::Kind::bytes, nullptr, {}, texts_.keep(escaped), {}};
  }

  Outline choose(Part& part) {
    Outline made{Step::Kind::choose, &part, {}, {}, {}};
    for (auto& alternative : part.parts) {
      Outline one{Step::Kind::alternative, alternative, {}, {}, {}};
      if (alternative->kind == Kind::constant) {
        // Its members without the braces.
        const std::string_view json = alternative->json;
        one.inside.push_back({Step::Kind::bytes, nullptr, {}, json.substr(1, json.size() - 2), ","});
      } else {
        members(*alternative, one);
      }
      made.inside.push_back(std::move(one));
    }
    return made;
  }

  Arena& texts_;
  std::vector<Outline>& read_only_;
};

}  // namespace

Outline outline_in_json(Template& made_from, Arena& texts, std::vector<Outline>& read_only) {
  return JsonOutliner(texts, read_only).object(*made_from.body, true);
}

}  // namespace charpie::mapping
