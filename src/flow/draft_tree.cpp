#include "flow/draft_tree.hpp"

#include <algorithm>

#include "flow/undecided.hpp"
#include "record/dictionary.hpp"

namespace charpie::flow {

using record::Field;
using record::Kind;

namespace {

constexpr std::string_view text_member = "#text";

// A name as people say it: without the sign of an attribute and the prefix of a namespace.
std::string said(std::string_view name) {
  if (name.starts_with('@')) name.remove_prefix(1);
  return std::string(name.substr(name.find(':') + 1));
}

class TreeDraft {
 public:
  TreeDraft(const terms::Terms& terms, Surest& surest) : layout_(terms, surest) {}

  Draft draft(const SampleTree& sample) {
    auto set = ProposedLayout::beginning(sample.is_xml ? "xml" : "json");
    if (sample.is_xml) {
      if (!sample.root.empty()) {
        set["root"] = sample.root;
        layout_.tell(sample.root, "stands around the documents, a '" + sample.element + "' each",
                     "it holds several, and nothing else", Confidence::medium);
      }
      set["element"] = sample.element;
      auto spaces = DraftJson::object();
      for (const auto& one : sample.spaces) spaces[one.prefix] = one.name;
      if (!spaces.empty()) set["namespaces"] = std::move(spaces);
    }
    Way way;
    if (sample.is_xml) way.push_back(said(sample.element));
    choose_records(sample.top, way, {});
    auto holes = members(sample.top, way, {});
    if (!records_.empty()) set["records"] = std::string(decide_mark) + " " + records_;
    return std::move(layout_).finished(std::move(set), {}, std::move(holes));
  }

 private:
  using Way = std::vector<std::string>;  // names from the document to a place, as people say them

  // By the last names of the way, one to three of them: what says most.
  Proposal propose(const Way& way, const Cells& cells) const {
    Proposal best;
    std::string name;
    for (std::size_t i = 0; i < way.size() && i < 3; ++i) {
      name = way[way.size() - 1 - i] + (name.empty() ? "" : " " + name);
      auto one = layout_.proposals().propose(name, cells, Place::visit);
      // Deep inside, a bare "id" or "status" may be that of anything.
      const bool is_bare =
          one.field != nullptr && one.field->parent == record::FieldId::visit && i + 1 < way.size();
      if (is_bare && one.confidence > Confidence::low) one.confidence = Confidence::low;
      if (one.field == nullptr || one.confidence < best.confidence ||
          (one.confidence == best.confidence && one.field == best.field))
        continue;
      best = std::move(one);
    }
    return best;
  }

  static Way longer(Way way, const SampleMember& member) {
    if (member.name != text_member) way.push_back(said(member.name));
    return way;
  }

  // How much below speaks for fields of a record: a sure proposal as much as three that are not.
  std::size_t weight_of(const SampleMember& at, const Way& way) const {
    if (!at.is_object()) {
      const auto confidence = propose(way, at.cells).confidence;
      return confidence == Confidence::none ? 0 : confidence == Confidence::low ? 1 : 3;
    }
    std::size_t weight = 0;
    for (const auto& one : at.members) weight += weight_of(one, longer(way, one));
    return weight;
  }

  Proposal list_of_record(const SampleMember& member) const {
    std::vector<std::pair<std::string, Cells>> inside;
    for (const auto& one : member.members) inside.emplace_back(said(one.name), one.cells);
    return layout_.proposals().propose_list(said(member.name), inside);
  }

  struct Found {
    const SampleMember* list = nullptr;
    Way way{};
    std::string place{};
    std::size_t weight = 2;  // less is no record
  };

  static std::string below(const std::string& place, const SampleMember& member) {
    return place.empty() ? member.name : place + "." + member.name;
  }

  // The list with most fields, directly in an object or in objects that it holds.
  void find_records(const SampleMember& at, const Way& way, const std::string& place, Found& best) const {
    for (const auto& one : at.members) {
      if (!one.is_object()) continue;
      if (!one.is_list) {
        find_records(one, longer(way, one), below(place, one), best);
        continue;
      }
      if (list_of_record(one).confidence == Confidence::medium) continue;
      const auto weight = weight_of(one, longer(way, one));
      if (weight > best.weight) best = {&one, longer(way, one), below(place, one), weight};
    }
  }

  void choose_records(const SampleMember& at, const Way& way, const std::string& place) {
    Found best;
    find_records(at, way, place, best);
    if (best.list == nullptr) return;
    chosen_.insert(best.list);
    records_ = best.place;
    choose_records(*best.list, best.way, best.place);
  }

  // The template of an object; `place` leads to it as the template's own names do.
  DraftJson members(const SampleMember& at, const Way& way, const std::string& place) {
    auto holes = DraftJson::object();
    for (const auto& one : at.members) add(one, longer(way, one), below(place, one), holes);
    return holes;
  }

  void add(const SampleMember& member, const Way& way, const std::string& place, DraftJson& holes) {
    if (!can_stand_in_template(member.name))
      return layout_.leave_out(place, "a template cannot have this name");
    DraftJson made;
    if (member.is_list && !member.is_object()) {
      made = texts(member, place);
    } else if (!member.is_object()) {
      std::string rest = way.empty() ? member.name : way.back();
      Way named = way;
      const auto unit = unit_in_name(rest, rest);
      if (!named.empty()) named.back() = rest;
      return layout_.add_field(propose(named, member.cells), place, member.name, member.cells, unit, {},
                               holes);
    } else if (chosen_.contains(&member)) {
      layout_.tell(place, "a record each", "a list that no list of the record is like", Confidence::low);
      made = DraftJson::array({members(member, way, place)});
    } else if (member.is_list) {
      made = elements(member, place);
    } else {
      const auto proposed = propose_quantity(member, way);
      if (proposed.field == nullptr)
        made = members(member, way, place);
      else if (layout_.take(proposed, place))
        made = with_unit(member, proposed, proposed.field->path, place);
    }
    const bool says_nothing = made.empty() || (made.is_array() && made.front().empty());
    if (!says_nothing) holes[member.name] = std::move(made);
  }

  // A list of texts.
  DraftJson texts(const SampleMember& member, const std::string& place) {
    const auto proposed = layout_.proposals().propose(said(member.name), member.cells, Place::finding);
    if (proposed.field == nullptr || !proposed.field->is_list()) {
      layout_.leave_out(place, "no list of this name");
      return {};
    }
    if (!layout_.take(proposed, place)) return {};
    return DraftJson::array(
        {{{"$for", proposed.field->path},
          {"$value", layout_.hole(proposed, place, proposed.field->path, member.name, member.cells, {})}}});
  }

  // A list of objects, as elements of a list of the record.
  DraftJson elements(const SampleMember& member, const std::string& place) {
    const auto list = list_of_record(member);
    if (list.field == nullptr) {
      layout_.leave_out(place, "no list of the record is like it");
      return {};
    }
    if (!layout_.take(list, place)) return {};
    layout_.tell(place, "an element of " + in_quotes(list.field->path) + " each", list.reason,
                 list.confidence);
    DraftJson item = {{"$for", decide_if_low(list.confidence) + std::string(list.field->path)}};
    std::set<std::string_view> taken;
    for (const auto& one : member.members) {
      const auto where = place + "." + one.name;
      std::string rest = said(one.name);
      const auto unit = unit_in_name(rest, rest);
      const auto* value = value_of(one);
      const auto& cells = value == nullptr ? one.cells : value->cells;
      const auto proposed = layout_.proposals().propose_member(*list.field, rest, cells);
      const bool fits = proposed.field != nullptr && can_stand_in_template(one.name) &&
                        (!one.is_object() || (value != nullptr && proposed.field->kind == Kind::quantity)) &&
                        !one.is_list && taken.insert(proposed.field->name).second;
      if (!fits) {
        layout_.leave_out(where, "no member of " + in_quotes(list.field->path) + " of this name");
      } else if (one.is_object()) {
        item[one.name] = with_unit(one, proposed, proposed.field->name, where);
      } else {
        item[one.name] = layout_.hole(proposed, where, proposed.field->name, one.name, cells, unit);
      }
    }
    if (taken.empty()) return {};
    return DraftJson::array({std::move(item)});
  }

  // An object that is a number with its unit.
  static const SampleMember* unit_of(const SampleMember& at) {
    for (const auto& one : at.members) {
      if (!one.is_object() && !one.is_list && holds_units(said(one.name), one.cells)) return &one;
    }
    return nullptr;
  }
  static const SampleMember* value_of(const SampleMember& at) {
    const auto* unit = unit_of(at);
    for (const auto& one : at.members) {
      if (unit != nullptr && &one != unit && !one.is_object() && !one.is_list && one.cells.any() &&
          one.cells.all_numbers)
        return &one;
    }
    return nullptr;
  }

  Proposal propose_quantity(const SampleMember& member, const Way& way) const {
    const auto* value = value_of(member);
    if (value == nullptr) return {};
    auto proposed = propose(way, value->cells);
    return proposed.field != nullptr && proposed.field->kind == Kind::quantity ? proposed : Proposal{};
  }

  DraftJson with_unit(const SampleMember& member, const Proposal& proposed, std::string_view way,
                      const std::string& place) {
    const auto* unit = unit_of(member);
    const auto* value = value_of(member);
    auto holes =
        layout_.hole_with_unit(proposed, place, way, member.name, value->cells, unit->name, unit->cells);
    DraftJson made = {{value->name, std::move(holes.value)}, {unit->name, std::move(holes.unit)}};
    for (const auto& one : member.members) {
      if (&one != unit && &one != value)
        layout_.leave_out(place + "." + one.name, "it stands beside a number and its unit");
    }
    return made;
  }

  ProposedLayout layout_;
  std::set<const SampleMember*> chosen_;  // lists around records, the innermost of which is of them
  std::string records_;                   // the way to that
};

}  // namespace

Draft draft_of_tree(const SampleTree& sample, const terms::Terms& terms, Surest& surest) {
  return TreeDraft(terms, surest).draft(sample);
}

}  // namespace charpie::flow
