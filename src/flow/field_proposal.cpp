#include "flow/field_proposal.hpp"

#include <algorithm>

#include "record/nearest.hpp"

namespace charpie::flow {

using record::Field;
using record::FieldId;
using record::Kind;

namespace {

bool is_coded(const Field& field) {
  return field.kind == Kind::code || field.kind == Kind::word;
}

bool is_number(const Field& field) {
  return field.kind == Kind::quantity || field.kind == Kind::count || field.kind == Kind::percent ||
         field.kind == Kind::decimal;
}

bool can_stand(const Field& field, Place place) {
  if (field.is_group() || field.id == FieldId::format) return false;
  if (field.kind == Kind::any || field.kind == Kind::coding) return false;
  const Field* list = list_of(field);
  if (list == nullptr) return true;
  // Rows apart cannot say two members of one element.
  return place == Place::finding && list->parent == FieldId::visit &&
         (list == &field || is_coded(field) || field.kind == Kind::key);
}

// "note" and "notes"; of longer names one letter.
bool is_near(std::string_view said, std::string_view own) {
  if (said.size() > 2 &&
      (said.size() + 1 == own.size() ? own == std::string(said) + "s" : said == std::string(own) + "s"))
    return true;
  return own.size() > 4 && said.size() > 4 && record::edit_distance(said, own) <= 1;
}

std::string words_of(std::string_view domain, std::size_t known, const Cells& cells) {
  return std::to_string(known) + " of " + std::to_string(cells.different.size()) +
         " different cells are words of " + std::string(domain);
}

// What the cells say against the field, which only a person can weigh.
void doubt(Proposal& proposal, const Cells& cells) {
  if (proposal.field == nullptr || !cells.any()) return;
  if (is_number(*proposal.field) && !cells.all_numbers) proposal.reason += "; but not all cells are numbers";
  if (is_coded(*proposal.field) && cells.all_numbers) proposal.reason += "; but all cells are numbers";
}

}  // namespace

const Field* list_of(const Field& field) {
  const Field* at = &field;
  while (!at->is_list() && at->parent != FieldId::visit) at = &record::field(at->parent);
  return at->is_list() ? at : nullptr;
}

FieldProposals::FieldProposals(const terms::Terms& terms) {
  for (const auto& domain : terms.domains()) {
    for (const auto& one : domain.concepts) {
      for (const auto& text : {one.word, one.display}) domains_[plain(text)].insert(domain.name);
    }
  }
}

// The domain that has most of the cells as words: two at least, and more than half.
std::string_view FieldProposals::domain_of(const Cells& cells, std::size_t& known) const {
  std::map<std::string_view, std::size_t> counts;
  for (const auto& cell : cells.different) {
    const auto found = domains_.find(plain(cell));
    if (found == domains_.end()) continue;
    for (const auto& domain : found->second) ++counts[domain];
  }
  const auto most = std::max_element(counts.begin(), counts.end(),
                                     [](const auto& a, const auto& b) { return a.second < b.second; });
  if (most == counts.end() || most->second < 2 || most->second * 2 <= cells.different.size()) return {};
  known = most->second;
  return most->first;
}

Proposal FieldProposals::propose(std::string_view name, const Cells& cells, Place place) const {
  Proposal best;
  const auto take = [&](const Field& field, Confidence confidence, std::string reason) {
    const auto depth = [](const Field& one) { return std::count(one.path.begin(), one.path.end(), '.'); };
    if (confidence < best.confidence ||
        (confidence == best.confidence && best.field != nullptr && depth(field) >= depth(*best.field)))
      return;
    best = {&field, confidence, std::move(reason)};
  };
  std::size_t known = 0;
  const auto domain = domain_of(cells, known);
  const auto in_words = words_of(domain, known, cells);
  const auto look = [&](const std::string& said) {
    for (const auto& field : record::dictionary()) {
      if (!can_stand(field, place)) continue;
      const auto path = plain(field.path);
      const auto own = plain(field.name);
      const bool says_words = is_coded(field) && !domain.empty() && field.argument == domain;
      if (field.id == FieldId::id && (said == "visitid" || said == "recordid"))
        take(field, Confidence::medium, "an identifier of the visit");
      else if (said == path)
        take(field, Confidence::high, "the name is the field's");
      else if (said == own && field.kind == Kind::quantity && cells.all_numbers)
        take(field, Confidence::medium, "the name is the field's last word, and all cells are numbers");
      else if (said == own && says_words)
        take(field, Confidence::low, "the name is the field's last word, and " + in_words);
      else if (said == own)
        take(field, Confidence::low, "the name is the field's last word");
      else if (own.size() > 3 && said.ends_with(own) && path.starts_with(said.substr(0, 3)))
        take(field, Confidence::medium, "the name ends with the field's last word");
      else if (own == "id" && field.parent != FieldId::visit &&
               said == plain(record::field(field.parent).path))
        take(field, Confidence::low, "the name is that of what it identifies");
      else if (is_near(said, own) && !(is_number(field) && !cells.all_numbers))
        take(field, Confidence::low, "nearly the field's last word");
    }
  };
  const auto said = plain(name);
  look(said);
  constexpr std::string_view wound = "wound";
  if (best.field == nullptr && said.starts_with(wound)) {
    look(said.substr(wound.size()));
    if (best.field != nullptr) best.reason += ", without 'wound'";
  }
  for (const std::string_view number : {"number", "nr", "no"}) {
    if (best.field != nullptr || said == number || !said.ends_with(number)) continue;
    look(said.substr(0, said.size() - number.size()) + "id");
    if (best.field != nullptr) best = {best.field, Confidence::low, "a number may identify"};
  }
  if (best.field == nullptr && !domain.empty()) {
    for (const auto& field : record::dictionary()) {
      if (can_stand(field, place) && is_coded(field) && field.argument == domain)
        take(field, Confidence::low, in_words);
    }
  }
  doubt(best, cells);
  return best;
}

Proposal FieldProposals::propose_member(const Field& list, std::string_view name, const Cells& cells) const {
  Proposal best;
  const auto said = plain(name);
  std::size_t known = 0;
  const auto domain = domain_of(cells, known);
  const auto take = [&](const Field& field, Confidence confidence, std::string reason) {
    if (confidence > best.confidence) best = {&field, confidence, std::move(reason)};
  };
  for (const auto& field : record::dictionary()) {
    if (field.parent != list.id || !(field.kind != Kind::any && field.kind != Kind::coding) ||
        field.is_group() || field.is_list())
      continue;
    const auto own = plain(field.name);
    if (said == own)
      take(field, Confidence::medium, "a member of " + in_quotes(list.name) + " has this name");
    else if (is_near(said, own) || (own.size() > 3 && said.ends_with(own)))
      take(field, Confidence::low, "a member of " + in_quotes(list.name) + " has nearly this name");
    else if (is_coded(field) && !domain.empty() && field.argument == domain)
      take(field, Confidence::low, words_of(domain, known, cells));
  }
  doubt(best, cells);
  return best;
}

Proposal FieldProposals::propose_list(std::string_view name,
                                      std::span<const std::pair<std::string, Cells>> members) const {
  const auto said = plain(name);
  Proposal best;
  std::size_t most = 0;
  for (const auto& field : record::dictionary()) {
    if (!field.is_list() || !field.is_group() || field.parent != FieldId::visit || field.id == FieldId::extra)
      continue;
    const auto own = plain(field.name);
    if (said == own || is_near(said, own)) return {&field, Confidence::medium, "it is named after that"};
    const auto known =
        static_cast<std::size_t>(std::count_if(members.begin(), members.end(), [&](const auto& member) {
          const auto one = propose_member(field, member.first, member.second);
          return one.confidence == Confidence::medium && one.field->kind != Kind::key;  // anything has an id
        }));
    const auto* named = record::find_member(field, name);
    const bool is_named = named != nullptr && is_coded(*named);  // a list of tissues, and a tissue in each
    const auto weight = known + (is_named ? 2 : 0);
    if (weight <= most) continue;
    most = weight;
    best = {
        &field, Confidence::low,
        is_named ? "it is named after a member" : "members that are named alike: " + std::to_string(known)};
  }
  return best;
}

std::string nearest_word(const terms::Domain& domain, std::string_view cell, bool& same) {
  const auto said = plain(cell);
  std::string nearest;
  std::size_t least = said.size() / 2 + 1;
  for (const auto& one : domain.concepts) {
    for (const auto& text : {one.word, one.display}) {
      const auto distance = record::edit_distance(said, plain(text));
      if (distance == 0 && !said.empty()) {
        same = true;
        return one.word;
      }
      if (distance < least) {
        least = distance;
        nearest = one.word;
      }
    }
  }
  return nearest;
}

}  // namespace charpie::flow
