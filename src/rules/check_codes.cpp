// Codes and units, wherever they stand in the record.
#include <algorithm>

#include "base/text.hpp"
#include "record/nearest.hpp"
#include "rules/visit.hpp"
#include "terms/terms.hpp"

namespace charpie::rules {

using record::Code;
using record::Coding;
using record::FieldId;
using record::FindingId;
using record::Form;
using record::Kind;
using record::Value;

namespace {

std::string nearest_word(const terms::Domain& domain, std::string_view word) {
  const terms::Concept* best = nullptr;
  std::size_t least = std::max<std::size_t>(3, word.size() / 2);
  for (const auto& one : domain.concepts) {
    const std::size_t distance =
        std::min(record::edit_distance(one.word, word), record::edit_distance(one.display, word));
    if (distance < least) {
      least = distance;
      best = &one;
    }
  }
  return best == nullptr ? std::string{} : "; perhaps meant: '" + best->word + "'";
}

// "length", or "length or area" of "L|L2".
std::string dimension_in_words(std::string_view dimensions) {
  struct Name {
    std::string_view dimension, words;
  };
  constexpr Name names[] = {
      {"L", "a length"}, {"L2", "an area"}, {"L3", "a volume"}, {"T", "a time"}, {"pressure", "a pressure"}};
  std::string text;
  while (!dimensions.empty()) {
    const std::size_t end = std::min(dimensions.find('|'), dimensions.size());
    const auto one = dimensions.substr(0, end);
    const auto name = std::find_if(std::begin(names), std::end(names),
                                   [&](const Name& row) { return row.dimension == one; });
    if (!text.empty()) text += " or ";
    text += name == std::end(names) ? one : name->words;
    dimensions.remove_prefix(std::min(end + 1, dimensions.size()));
  }
  return text;
}

// Walks all fields that are there; the path is only built for a finding.
class Walk {
 public:
  explicit Walk(Visit& visit) : visit_(visit) {}

  void group(const record::Field& shape, const Value& group) {
    for (FieldId id = shape.first_member; id != FieldId::visit; id = record::field(id).next_sibling) {
      const auto& inner = record::field(id);
      const Value* value = group.children[inner.slot];
      if (value == nullptr) continue;
      if (value->form == Form::list) {
        for (std::uint32_t i = 0; i < value->count; ++i) {
          if (value->children[i] == nullptr) continue;
          index_ = i;
          one(inner, *value->children[i]);
        }
        if (!shape.is_list()) index_ = Visit::npos;
      } else {
        one(inner, *value);
      }
    }
  }

 private:
  void one(const record::Field& shape, const Value& value) {
    if (value.form == Form::group) return group(shape, value);
    if (value.form != Form::leaf) return;
    if (value.quantity != nullptr) return quantity(shape, value);
    if (value.code == nullptr) return;
    if (value.kind == Kind::coding) return question(shape, value);
    code(shape, value);
  }

  void report(FindingId id, const record::Field& shape, const Value& value,
              std::initializer_list<std::string_view> values) {
    visit_.report(id, Visit::path(shape.id, index_), &value, values);
  }

  void code(const record::Field& shape, const Value& value) {
    const Code& code = *value.code;
    const auto* domain = visit_.book.domain(shape.id);
    for (std::uint32_t i = 0; i < code.also_count; ++i) coding(shape, value, domain, code.also[i], false);
    if (!code.word.empty()) {
      if (domain != nullptr && domain->find(code.word) == nullptr) {
        report(FindingId::code_unknown_word, shape, value,
               {code.word, domain->name, nearest_word(*domain, code.word)});
      }
    } else if (code.has_foreign()) {
      coding(shape, value, domain, code.foreign, true);
    } else if (domain != nullptr) {
      report(FindingId::code_words_only, shape, value, {domain->name});
    }
  }

  void coding(const record::Field& shape, const Value& value, const terms::Domain* domain,
              const Coding& coding, bool alone) {
    if (domain == nullptr) return;
    if (coding.system == domain->system) {
      return report(FindingId::code_own_system, shape, value, {coding.code, coding.system, coding.code});
    }
    const terms::Link* known = nullptr;
    for (const auto& link : domain->links) {
      if (link.code == coding.code && link.system == coding.system) known = &link;
    }
    if (known == nullptr) {
      if (alone) report(FindingId::code_unmapped, shape, value, {coding.code, coding.system, domain->name});
      return;
    }
    const auto& meant = domain->concepts[known->index];
    if (known->status == "inactive") report(FindingId::code_retired, shape, value, {coding.code, meant.word});
    if (!coding.display.empty() && !same_ignoring_case(coding.display, known->standard) &&
        !same_ignoring_case(coding.display, meant.display) &&
        !same_ignoring_case(coding.display, meant.word)) {
      report(FindingId::code_display_differs, shape, value, {coding.code, known->standard, coding.display});
    }
  }

  // The code of a site's own finding must not be one that a field answers.
  void question(const record::Field& shape, const Value& value) {
    if (shape.id != FieldId::extra_code) return;
    const auto& coding = value.code->foreign;
    const auto display = visit_.book.question(coding.system, coding.code);
    if (!display.empty()) report(FindingId::extra_known, shape, value, {coding.code, display});
  }

  void quantity(const record::Field& shape, const Value& value) {
    const auto& quantity = *value.quantity;
    if (quantity.unit.empty()) return;  // the reader has said so
    const auto& units = visit_.book.units();
    const auto& facts = visit_.unit(quantity.unit);
    if (!facts.valid) {
      std::string meant;
      for (const auto& one : units.suggest(quantity.unit))
        meant += (meant.empty() ? "; perhaps meant: '" : " or '") + one + "'";
      return report(FindingId::unit_not_ucum, shape, value, {quantity.unit, meant});
    }
    if (!shape.argument.empty()) {
      if (!units.measures(quantity.unit, shape.argument)) {
        return report(FindingId::unit_dimension, shape, value,
                      {quantity.unit, facts.kind.empty() ? facts.dimension : facts.kind,
                       dimension_in_words(shape.argument)});
      }
      if (is_decimal(quantity.value) && sign(quantity.decimal()) < 0) {
        report(FindingId::quantity_negative, shape, value, {quantity.value, quantity.unit});
      }
    }
    if (!facts.warnings.empty()) {
      const auto& warning = facts.warnings.front();
      const std::string words =
          ": " + warning.message + (warning.meant.empty() ? "" : "; perhaps meant: '" + warning.meant + "'");
      report(FindingId::unit_unusual, shape, value, {quantity.unit, words});
    } else if (!shape.argument.empty() && !visit_.book.usual(shape.argument, quantity.unit)) {
      report(FindingId::unit_unusual, shape, value, {quantity.unit, ""});
    }
  }

  Visit& visit_;
  std::size_t index_ = Visit::npos;
};

}  // namespace

void check_codes_and_units(Visit& visit) {
  Walk(visit).group(record::field(FieldId::visit), *visit.record().root);
}

}  // namespace charpie::rules
