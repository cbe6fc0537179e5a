#include "mapping/prove.hpp"

#include <algorithm>
#include <deque>
#include <span>

#include "mapping/likeness.hpp"

namespace charpie::mapping {

using record::Field;
using record::FieldId;
using record::Kind;

namespace {

bool about_the_same(const Clause& a, const Clause& b) {
  if (!a.option.empty() || !b.option.empty()) return a.option == b.option;
  // Within a loop the level differs from template to template; the field is what is asked about.
  return a.accessor.field == b.accessor.field && a.has_facet == b.has_facet && a.facet == b.facet;
}

bool same_test(const Test& a, const Test& b) {
  return a.kind == b.kind && a.text == b.text && a.value_kind == b.value_kind;
}

// Whether one value could pass both tests.
bool compatible(const Test& a, const Test& b) {
  const auto on_value = [](const Test& t) {
    return t.kind == Test::word || t.kind == Test::present || t.kind == Test::integer ||
           t.kind == Test::positive || t.kind == Test::unsigned_text || t.kind == Test::kind_is;
  };
  if (on_value(a) != on_value(b)) {
    // An element that is none or absent counts as missing too.
    return false;
  }
  if (a.kind == Test::word && b.kind == Test::word) return a.text == b.text;
  if (a.kind == Test::kind_is && b.kind == Test::kind_is) return a.value_kind == b.value_kind;
  if (!on_value(a)) return a.kind == b.kind || a.kind == Test::missing || b.kind == Test::missing;
  return true;
}

// Whether one value could pass both clauses.
bool overlap(const Clause& a, const Clause& b) {
  return std::any_of(a.any.begin(), a.any.end(), [&](const Test& one) {
    return std::any_of(b.any.begin(), b.any.end(), [&](const Test& two) { return compatible(one, two); });
  });
}

// Whether whatever passes the one passes the other.
bool within(const Clause& a, const Clause& b) {
  return std::all_of(a.any.begin(), a.any.end(), [&](const Test& one) {
    return std::any_of(b.any.begin(), b.any.end(), [&](const Test& two) { return same_test(one, two); });
  });
}

// One of the circumstances under which a hole is written, with those of what is around it.
struct Circumstance {
  const Circumstance* around = nullptr;
  std::span<const Clause> hold{};  // all of these
  const Clause* fails = nullptr;   // the only one of an earlier alternative
  const Part* choice = nullptr;    // this alternative of it
  std::size_t alternative = 0;
};

bool exclude_each_other(const Circumstance& a, const Circumstance& b) {
  for (const auto& x : a.hold) {
    for (const auto& y : b.hold) {
      if (about_the_same(x, y) && !overlap(x, y)) return true;
    }
  }
  const auto refused = [](std::span<const Clause> hold, const Clause* fails) {
    return fails != nullptr && std::any_of(hold.begin(), hold.end(), [&](const Clause& one) {
             return about_the_same(one, *fails) && within(one, *fails);
           });
  };
  return refused(a.hold, b.fails) || refused(b.hold, a.fails);
}

struct FoundHome {
  FieldId field;
  Facet facet;
  bool further_codings;
  const Part* part;
  const Template* owner;
  const Circumstance* circumstances;
};

bool exclusive(const FoundHome& a, const FoundHome& b) {
  for (const auto* x = a.circumstances; x != nullptr; x = x->around) {
    for (const auto* y = b.circumstances; y != nullptr; y = y->around) {
      // A choice in a part that templates share is made in each of them.
      const bool same_choice = a.owner == b.owner && x->choice != nullptr && x->choice == y->choice;
      if (same_choice && x->alternative != y->alternative) return true;
      if (exclude_each_other(*x, *y)) return true;
    }
  }
  return false;
}

// The facets that must come back for a field of a kind.
std::vector<Facet> needed(const Field& field) {
  std::vector<Facet> facets;
  switch (field.kind) {
    case Kind::code:
      facets = {Facet::word, Facet::text, Facet::system, Facet::code, Facet::display};
      break;
    case Kind::coding:
      facets = {Facet::system, Facet::code, Facet::display};
      break;
    case Kind::quantity:
      facets = {Facet::value, Facet::unit};
      break;
    case Kind::group:
      break;
    default:
      facets = {Facet::self};
      break;
  }
  if (field.may_be_absent()) facets.push_back(Facet::absent);
  if (field.may_be_none()) facets.push_back(Facet::none);
  return facets;
}

// Several names for the plain text of a value.
Facet home_facet(const Part& part, Kind kind) {
  if (part.facet == Facet::number) return Facet::self;
  if (part.facet == Facet::word && (kind == Kind::clock || kind == Kind::word)) return Facet::self;
  if (part.facet == Facet::self && kind == Kind::code) return Facet::word;
  return part.facet;
}

bool differs(const syntax::Node& a, const syntax::Node& b) {
  if (a.kind != b.kind) return true;
  if (a.is_object()) {
    for (const auto* x = a.first; x != nullptr; x = x->next) {
      const auto* y = b.member(x->name_text);
      if (y != nullptr && differs(*x, *y)) return true;
    }
    return false;
  }
  if (a.is_array()) return a.first != nullptr && b.first != nullptr && differs(*a.first, *b.first);
  return a.text != b.text;
}

const Part* first_required(const Part& array) {
  for (const auto& below : array.parts) {
    if (required(*below) && below->discriminates) return below;
  }
  return nullptr;
}

const Part& body(const Part& part) {
  return part.kind == Part::Kind::loop ? *part.parts.front() : part;
}

}  // namespace

namespace {

// A part against a constant: something that the part always writes and the constant says otherwise.
bool differs_from(const Part& part_or_loop, const syntax::Node& constant) {
  const Part& part = body(part_or_loop);
  if (part.constant != nullptr) return differs(*part.constant, constant);
  if (part.known_by_value) {
    return std::find(part.allowed.begin(), part.allowed.end(), constant.text) == part.allowed.end();
  }
  if (part.kind == Part::Kind::array) {
    const Part* item = first_required(part);
    return item != nullptr && constant.first != nullptr && differs_from(*item, *constant.first);
  }
  return std::any_of(part.parts.begin(), part.parts.end(), [&](const auto& member) {
    if (of_constants(*member)) {
      return std::all_of(member->parts.begin(), member->parts.end(),
                         [&](const auto& one) { return differs(*one->constant, constant); });
    }
    const auto* other = required(*member) && member->name != 0 ? constant.member(member->name) : nullptr;
    return other != nullptr && differs_from(*member, *other);
  });
}

}  // namespace

bool distinguishable(const Part& a_part, const Part& b_part) {
  const Part& a = body(a_part);
  const Part& b = body(b_part);
  if (b.constant != nullptr) return differs_from(a, *b.constant);
  if (a.constant != nullptr) return differs_from(b, *a.constant);
  if (a.kind == Part::Kind::array && b.kind == Part::Kind::array) {
    const Part* x = first_required(a);
    const Part* y = first_required(b);
    return x != nullptr && y != nullptr && distinguishable(*x, *y);
  }
  // A choice between constants must differ in each of them.
  for (const auto* one : {&a, &b}) {
    const Part& other = one == &a ? b : a;
    for (const auto& choice : one->parts) {
      if (!of_constants(*choice)) continue;
      const bool all = std::all_of(choice->parts.begin(), choice->parts.end(), [&](const auto& alternative) {
        return differs_from(other, *alternative->constant);
      });
      if (all) return true;
    }
  }
  return std::any_of(a.parts.begin(), a.parts.end(), [&](const auto& x) {
    return required(*x) && std::any_of(b.parts.begin(), b.parts.end(), [&](const auto& y) {
             return required(*y) && x->name != 0 && x->name == y->name && distinguishable(*x, *y);
           });
  });
}

class Prover {
 public:
  explicit Prover(Mapping& mapping) : mapping_(mapping) {}

  Outcome run() {
    if (!mapping_.is_document_) {
      if (auto indexed = index(); !indexed) return indexed;
    }
    for (const auto& one : mapping_.templates_) {
      if (auto walked = walk(*one.body, one, under(nullptr, one.when)); !walked) return walked;
    }
    by_field_.resize(static_cast<std::size_t>(FieldId::count));
    for (const auto& home : found_) by_field_[static_cast<std::size_t>(home.field)].push_back(&home);
    return homes();
  }

 private:
  static Error fault(const Place& place, std::string message, std::string mend) {
    return {Error::mapping_broken, std::move(message), std::string(place.file), place.line, 0,
            std::move(mend)};
  }

  Outcome index() {
    std::map<std::string, int> standard_uses;
    for (const auto& one : mapping_.templates_) {
      if (one.one_way) continue;
      for (const auto& code : one.standard_codes) ++standard_uses[one.resource_type + "|" + code];
    }
    for (const auto& one : mapping_.templates_) {
      if (one.one_way) {
        if (auto indexed = index_one_way(one); !indexed) return indexed;
        continue;
      }
      const std::string key =
          one.own_code.empty() ? one.resource_type : one.resource_type + "|" + one.own_code;
      const auto [known, fresh] = mapping_.index_.emplace(key, one.number);
      if (!fresh) {
        const auto& other = mapping_.templates_[known->second - 1];
        return fault(
            one.place,
            "the templates '" + other.name + "' and '" + one.name + "' cannot be told apart: both are " + key,
            "give one a code of its own");
      }
      for (const auto& code : one.standard_codes) {
        const auto standard_key = one.resource_type + "|" + code;
        const bool own = code.starts_with(mapping_.terms_->canonical());
        if (own || standard_uses[standard_key] == 1) {
          const auto [clash, added] = mapping_.index_.emplace(standard_key, one.number);
          if (!added && clash->second != one.number) {
            return fault(one.place, "the code " + code + " stands on two templates", "use it on one of them");
          }
        }
      }
    }
    return std::monostate{};
  }

  // A shape of others is known by each of its codes, or by its type. What every instance says of its visit is
  // no shape of its own.
  Outcome index_one_way(const Template& one) {
    for (const auto* list : {&mapping_.elsewhere_.key, &mapping_.elsewhere_.visit}) {
      if (std::find(list->begin(), list->end(), one.number) != list->end()) return std::monostate{};
    }
    std::vector<std::string> keys;
    for (const auto& code : one.standard_codes) keys.push_back(one.resource_type + "|" + code);
    if (keys.empty()) keys.push_back(one.resource_type);
    for (const auto& key : keys) {
      const auto [known, fresh] = mapping_.elsewhere_index_.emplace(key, one.number);
      if (fresh) continue;
      const auto& other = mapping_.templates_[known->second - 1];
      return fault(
          one.place,
          "the templates '" + other.name + "' and '" + one.name + "' cannot be told apart: both are " + key,
          "give one another code");
    }
    return std::monostate{};
  }

  const Circumstance* under(const Circumstance* around, const Condition& when) {
    return when.empty() ? around : &circumstances_.emplace_back(Circumstance{around, when.all});
  }

  Outcome walk(const Part& part, const Template& owner, const Circumstance* circumstances) {
    if (part.one_way) return std::monostate{};
    circumstances = under(circumstances, part.when);
    if (part.kind == Part::Kind::array) {
      if (auto told_apart = items(part); !told_apart) return told_apart;
    }
    if (part.kind == Part::Kind::choose) {
      for (std::size_t i = 0; i < part.parts.size(); ++i) {
        const auto* inside = &circumstances_.emplace_back(Circumstance{circumstances, {}, nullptr, &part, i});
        for (std::size_t earlier = 0; earlier < i; ++earlier) {
          const auto& when = part.parts[earlier]->when;
          if (when.all.size() == 1)
            inside = &circumstances_.emplace_back(Circumstance{inside, {}, &when.all.front()});
        }
        if (auto walked = walk(*part.parts[i], owner, inside); !walked) return walked;
      }
      return std::monostate{};
    }
    if (part.kind == Part::Kind::primitive && !owner.one_way && !part.mirror &&
        part.facet != Facet::precision &&
        (part.source == Source::field ||
         (part.source == Source::identity_system && part.accessor.steps > 0))) {
      const auto kind = record::field(part.accessor.field).kind;
      const auto home = [&](Facet facet) {
        found_.push_back({part.accessor.field, facet, part.also_loop, &part, &owner, circumstances});
      };
      const auto* words = part.spelling.words;
      const bool has_word =
          words == nullptr || std::any_of(words->rows().begin(), words->rows().end(),
                                          [](const SiteWord& row) { return !row.means.empty(); });
      if (has_word && (words == nullptr || kind != Kind::group))
        home(home_facet(part, part.has_sets_kind ? part.sets_kind : kind));
      if (!part.spelling.unit.empty()) home(Facet::unit);
      if (words != nullptr) {
        // A cell that is in no row stays as words.
        if (kind == Kind::code && has_word && part.facet == Facet::self) home(Facet::text);
        const auto any = [&](const auto& test) {
          return std::any_of(words->rows().begin(), words->rows().end(), test);
        };
        if (any([](const SiteWord& row) { return !row.absent.empty(); })) home(Facet::absent);
        if (any([](const SiteWord& row) { return row.none; })) home(Facet::none);
      }
    }
    for (const auto& below : part.parts) {
      if (auto walked = walk(*below, owner, circumstances); !walked) return walked;
    }
    return std::monostate{};
  }

  // Items of one list must be told apart, or the way back could put a value into the wrong field.
  Outcome items(const Part& array) {
    std::vector<const Part*> open;
    for (std::size_t i = 0; i < array.parts.size(); ++i) {
      const Part& one = *array.parts[i];
      if (one.pure_mirror || !one.has_hole) continue;
      if (!body(one).discriminates) {
        open.push_back(&one);
        continue;
      }
      for (std::size_t j = i + 1; j < array.parts.size(); ++j) {
        const Part& other = *array.parts[j];
        // A shape of others takes what is left, in the order of the list.
        if (mapping_.is_document_ && (one.one_way || other.one_way)) continue;
        if (other.pure_mirror || !other.has_hole || !body(other).discriminates) continue;
        if (!distinguishable(one, other)) {
          return fault(other.place, "two items of one list cannot be told apart",
                       "give each a constant that the other does not have, marked $always if it has holes");
        }
      }
    }
    // Without a constant: one item, and a loop after it that takes the rest.
    for (std::size_t i = 0; i + 1 < open.size(); ++i) {
      if (open[i]->kind == Part::Kind::loop || open[i + 1]->kind != Part::Kind::loop) {
        return fault(open[i + 1]->place, "two items of one list cannot be told apart",
                     "give each a constant that the other does not have");
      }
    }
    return std::monostate{};
  }

  Outcome homes() {
    for (const auto& a : found_) {
      for (const auto* other : homes_of(a.field)) {
        const auto& b = *other;
        if (&b <= &a || a.facet != b.facet || a.further_codings != b.further_codings) continue;
        const bool any_kind =
            record::field(a.field).kind == Kind::any && a.part->sets_kind != b.part->sets_kind;
        if (a.part->each && b.part->each) continue;  // each says the same, or it is told
        if (any_kind || exclusive(a, b)) continue;
        return fault(b.part->place,
                     "the field '" + std::string(record::field(a.field).path) +
                         "' has two homes: here and in " + std::string(a.part->place.file) + " line " +
                         std::to_string(a.part->place.line),
                     "make one of them a mirror");
      }
    }
    if (mapping_.is_document_) {
      if (auto proved = document(); !proved) return proved;
    }
    for (const auto& field : record::dictionary()) {
      if (field.id == FieldId::visit) continue;
      if (mapping_.is_document_ && (is_given(field.id) || !mapping_.layout_.others.empty())) continue;
      const auto listed = std::find_if(mapping_.not_carried_.begin(), mapping_.not_carried_.end(),
                                       [&](const NotCarried& row) { return row.field == field.id; });
      for (const auto facet : needed(field)) {
        const auto& known = homes_of(field.id);
        const bool has = std::any_of(known.begin(), known.end(), [&](const FoundHome* home) {
          return home->facet == facet && !home->further_codings;
        });
        if (has) {
          if (listed != mapping_.not_carried_.end() && listed->unless_option.empty()) {
            return fault({"set.json", 0},
                         "'" + std::string(field.path) + "' has a home and is listed as not carried",
                         "take it out of notCarried");
          }
          continue;
        }
        if (listed != mapping_.not_carried_.end()) continue;
        if (field.kind == Kind::any && !known.empty()) continue;
        std::string side;
        if (facet == Facet::absent) side = " when it is absent";
        if (facet == Facet::none) side = " when it is none";
        return fault({"set.json", 0}, "the field '" + std::string(field.path) + "' has no home" + side,
                     "add a template or a row for it, or list it under notCarried with the reason");
      }
    }
    mapping_.carried_.resize(static_cast<std::size_t>(FieldId::count));
    for (const auto& home : found_) {
      const auto shift = static_cast<unsigned>(home.facet) + (home.further_codings ? facet_count : 0);
      mapping_.carried_[static_cast<std::size_t>(home.field)] |= std::uint64_t{1} << shift;
    }
    for (const auto& given : mapping_.layout_.given) {
      const auto facet = record::field(given.field).kind == Kind::code ? Facet::word : Facet::self;
      mapping_.carried_[static_cast<std::size_t>(given.field)] |= std::uint64_t{1}
                                                                  << static_cast<unsigned>(facet);
    }
    mapping_.reached_.assign(static_cast<std::size_t>(FieldId::count), false);
    for (std::size_t i = 0; i < mapping_.carried_.size(); ++i) {
      if (mapping_.carried_[i] == 0) continue;
      for (auto id = static_cast<FieldId>(i); id != FieldId::visit; id = record::field(id).parent) {
        mapping_.reached_[static_cast<std::size_t>(id)] = true;
      }
    }
    mapping_.limits_.resize(static_cast<std::size_t>(FieldId::count));
    for (const auto& home : found_) {
      const Part& part = *home.part;
      if (part.spelling.any()) {
        auto& limits = mapping_.limits_[static_cast<std::size_t>(home.field)];
        const bool known = std::any_of(limits.begin(), limits.end(),
                                       [&](const Limit& limit) { return limit.spelled == &part; });
        if (!known)
          limits.push_back(
              {part.facet, part.render, part.allowed, part.has_sets_kind, part.sets_kind, &part});
        continue;
      }
      if (!has_misfits(part.render) && part.allowed.empty()) continue;
      auto& limits = mapping_.limits_[static_cast<std::size_t>(home.field)];
      const bool known = std::any_of(limits.begin(), limits.end(), [&](const Limit& limit) {
        return limit.facet == part.facet && limit.render == part.render;
      });
      if (!known)
        limits.push_back(
            {part.facet, part.render, part.allowed, part.has_sets_kind, part.sets_kind, nullptr});
    }
    for (const auto& home : found_) {
      if (home.field == FieldId::id) mapping_.visit_template_ = home.owner->number;
      mapping_.homes_.push_back({home.field, home.facet, home.owner->number, home.part});
    }
    return std::monostate{};
  }

  bool is_given(FieldId field) const {
    const auto& given = mapping_.layout_.given;
    return std::any_of(given.begin(), given.end(), [&](const Given& one) { return one.field == field; });
  }
  const std::vector<const FoundHome*>& homes_of(FieldId field) const {
    return by_field_[static_cast<std::size_t>(field)];
  }
  bool has_home(FieldId field, Facet facet) const {
    const auto& known = homes_of(field);
    return std::any_of(known.begin(), known.end(), [&](const FoundHome* home) { return home->facet == facet; });
  }
  bool has_home(FieldId field) const { return !homes_of(field).empty(); }

  // What a site's layout must have though it carries only some of the fields.
  Outcome document() {
    for (const auto& given : mapping_.layout_.given) {
      if (!has_home(given.field)) continue;
      return fault(
          given.place,
          "'" + std::string(record::field(given.field).path) + "' is given and has a home in the template",
          "take one of the two out");
    }
    for (const auto& field : record::dictionary()) {
      if (field.id == FieldId::visit || field.id == FieldId::format) continue;
      if (field.kind == Kind::quantity &&
          has_home(field.id, Facet::value) != has_home(field.id, Facet::unit)) {
        const bool value = has_home(field.id, Facet::value);
        const auto& home = *homes_of(field.id).front();
        return fault(
            home.part->place,
            "'" + std::string(field.path) +
                (value ? "' has a value, and nothing says its unit" : "' has a unit and no value"),
            "declare the unit, {" + std::string(field.path) + " in cm}, or give value and unit a place each");
      }
      if (field.occurs != record::Occurs::required || field.is_group() || has_home(field.id) ||
          is_given(field.id))
        continue;
      // Required where its group is there: of the record, or of a group that the template reaches.
      bool there = true;
      for (auto id = field.parent; there && id != FieldId::visit; id = record::field(id).parent) {
        const auto& group = record::field(id);
        there = group.occurs == record::Occurs::required ||
                std::any_of(found_.begin(), found_.end(), [&](const FoundHome& home) {
                  return home.facet != Facet::none && home.facet != Facet::absent &&
                         record::field(home.field).parent == id;
                });
      }
      if (!there) continue;
      return fault(
          {mapping_.templates_.front().place.file, mapping_.templates_.front().place.line},
          "'" + std::string(field.path) + "' is required in a record, and the layout does not say it",
          "give it a place in the template, or its one value under \"given\"");
    }
    return std::monostate{};
  }

  Mapping& mapping_;
  std::deque<Circumstance> circumstances_;
  std::vector<FoundHome> found_;
  std::vector<std::vector<const FoundHome*>> by_field_;
};

Outcome prove(Mapping& mapping) {
  return Prover(mapping).run();
}

}  // namespace charpie::mapping
