#include "mapping/condition.hpp"

#include <algorithm>

#include "base/decimal.hpp"
#include "mapping/plan.hpp"

namespace charpie::mapping {

using record::Form;
using record::Value;

namespace {

// A number that FHIR's integer can say with the same digits.
bool is_integer(std::string_view token) {
  if (token.empty() || token.size() > 9) return false;
  if (token.find_first_not_of("0123456789") != std::string_view::npos) return false;
  return token.size() == 1 || token.front() != '0';
}

bool passes(const Test& test, const Value* value) {
  switch (test.kind) {
    case Test::missing:
      return value == nullptr;
    case Test::none:
      return value != nullptr && value->form == Form::none;
    case Test::absent:
      return value != nullptr && value->form == Form::absent;
    case Test::present:
      return value != nullptr && value->form != Form::none && value->form != Form::absent;
    case Test::integer:
      return value != nullptr && value->is_leaf() && is_integer(value->text);
    case Test::unsigned_text:
      return value != nullptr && value->is_leaf() && !value->text.empty() && value->text.front() != '-';
    case Test::positive:
      return value != nullptr && value->is_leaf() && is_decimal(value->text) &&
             sign(Decimal(value->text)) > 0;
    case Test::kind_is:
      return value != nullptr && value->is_leaf() && value->kind == test.value_kind;
    case Test::word:
      return value != nullptr && value->is_leaf() &&
             (value->code != nullptr ? value->code->word : value->text) == test.text;
  }
  return false;
}

}  // namespace

bool holds(const Condition& condition, const Scope& scope, const Options& options, Facets& facets) {
  for (const auto& clause : condition.all) {
    bool any = false;
    if (!clause.option.empty()) {
      const auto chosen = options.find(clause.option);
      any = std::any_of(clause.any.begin(), clause.any.end(), [&](const Test& test) {
        return test.kind == Test::present   ? !chosen.empty()
               : test.kind == Test::missing ? chosen.empty()
                                            : test.text == chosen;
      });
    } else {
      const Value* value = follow(clause.accessor, scope);
      if (clause.has_facet) {
        const auto text = facets.get(value, clause.accessor.field, clause.facet, clause.domain);
        any = std::any_of(clause.any.begin(), clause.any.end(), [&](const Test& test) {
          return test.kind == Test::present         ? !text.empty()
                 : test.kind == Test::missing       ? text.empty()
                 : test.kind == Test::unsigned_text ? !text.empty() && text.front() != '-'
                                                    : test.text == text;
        });
      } else {
        any = std::any_of(clause.any.begin(), clause.any.end(),
                          [&](const Test& test) { return passes(test, value); });
      }
    }
    if (!any) return false;
  }
  return true;
}

}  // namespace charpie::mapping
