#include "mapping/facet.hpp"

#include <algorithm>
#include <array>
#include <cctype>

#include "base/escape.hpp"
#include "base/time.hpp"

namespace charpie::mapping {

using record::Code;
using record::Form;
using record::Kind;
using record::Quantity;
using record::Value;

namespace {

struct FacetRow {
  std::string_view name;
  Facet facet;
  std::string_view kinds;  // initial letters: see kind_letter
};

// t text-like, n numbers, d time, c code, w word, q quantity, o clock, g coding, f flag, G group
constexpr FacetRow facet_rows[] = {
    {"self", Facet::self, "tndwqof"},
    {"number", Facet::number, "n"},
    {"precision", Facet::precision, "d"},
    {"word", Facet::word, "cwo"},
    {"own-display", Facet::own_display, "cwo"},
    {"standard-system", Facet::standard_system, "cwo"},
    {"standard-code", Facet::standard_code, "cwo"},
    {"standard-display", Facet::standard_display, "cwo"},
    {"text", Facet::text, "cw"},
    {"foreign", Facet::foreign, "cgw"},
    {"system", Facet::system, "cgw"},
    {"code", Facet::code, "cgw"},
    {"display", Facet::display, "cgw"},
    {"value", Facet::value, "q"},
    {"unit", Facet::unit, "q"},
    {"comparator", Facet::comparator, "q"},
    {"estimated", Facet::estimated, "q"},
    {"converted", Facet::converted, "q"},
    {"fixed-value", Facet::fixed_value, "q"},
    {"fixed-unit", Facet::fixed_unit, "q"},
    {"fixed-rounded", Facet::fixed_rounded, "q"},
    {"absent", Facet::absent, "*"},
    {"absent-display", Facet::absent_display, "*"},
    {"none", Facet::none, "*"},
    {"words", Facet::words, "*"},
};

char kind_letter(Kind kind) {
  switch (kind) {
    case Kind::key:
    case Kind::text:
      return 't';
    case Kind::count:
    case Kind::percent:
    case Kind::decimal:
      return 'n';
    case Kind::time:
    case Kind::clocktime:
      return 'd';
    case Kind::code:
      return 'c';
    case Kind::word:
      return 'w';
    case Kind::quantity:
      return 'q';
    case Kind::clock:
      return 'o';
    case Kind::coding:
      return 'g';
    case Kind::flag:
      return 'f';
    case Kind::group:
      return 'G';
    case Kind::any:
      return '?';
  }
  return '?';
}

struct RenderRow {
  std::string_view name;
  Render render;
};
constexpr RenderRow render_rows[] = {
    {"dateTime", Render::date_time},
    {"time", Render::time_of_day},
    {"year", Render::year},
    {"code", Render::token},
    {"url", Render::url},
    {"integer", Render::integer},
    {"query", Render::query},
    {"string", Render::plain},
    {"boolean", Render::plain},
    {"decimal", Render::plain},
    {"number", Render::plain},
    {"short-number", Render::short_number},
    {"unsigned-number", Render::unsigned_number},
    {"unsigned-short-number", Render::unsigned_short_number},
};

Code& code_of(Value& value, Arena& arena) {
  if (value.code == nullptr) value.code = arena.make<Code>();
  // Made here or by an earlier set(): the record under construction owns it.
  return const_cast<Code&>(*value.code);
}

Quantity& quantity_of(Value& value, Arena& arena) {
  if (value.quantity == nullptr) value.quantity = arena.make<Quantity>();
  return const_cast<Quantity&>(*value.quantity);
}

bool put(std::string_view& place, std::string_view text) {
  if (!place.empty()) return place == text;
  place = text;
  return true;
}

}  // namespace

bool find_facet(std::string_view name, Facet& facet) {
  for (const auto& row : facet_rows) {
    if (row.name == name) {
      facet = row.facet;
      return true;
    }
  }
  return false;
}

bool has_facet(Kind kind, Facet facet) {
  const auto kinds = facet_rows[static_cast<std::size_t>(facet)].kinds;
  return kind == Kind::any || kinds == "*" || kinds.find(kind_letter(kind)) != std::string_view::npos;
}

bool find_render(std::string_view name, Render& render) {
  for (const auto& row : render_rows) {
    if (row.name == name) {
      render = row.render;
      return true;
    }
  }
  return false;
}

namespace {

bool is_white(char c) {
  return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

// R4, datatypes.html#code: no white space but single spaces inside.
bool is_token(std::string_view text) {
  char before = ' ';
  for (const char c : text) {
    if (is_white(c) && (c != ' ' || before == ' ')) return false;
    before = c;
  }
  return before != ' ';
}

}  // namespace

std::string_view misfit(Render render, std::string_view text) {
  switch (render) {
    case Render::year:
      return text.size() == 4 && text != "0000" &&
                     text.find_first_not_of("0123456789") == std::string_view::npos
                 ? ""
                 : "a year has four digits";
    case Render::token:
      if (!is_token(text)) return "a FHIR code has single spaces inside only";
      return "";
    case Render::url:
      return std::none_of(text.begin(), text.end(), is_white) ? "" : "a URL holds no white space";
    case Render::integer:
      if (text.size() > 10 || text.find_first_not_of("0123456789") != std::string_view::npos ||
          (text.size() == 10 && text > "2147483647")) {
        return "a FHIR integer has 32 bits";
      }
      return "";
    case Render::unsigned_number:
      return text.front() == '-' ? "it cannot be below zero there" : "";
    case Render::unsigned_short_number:
      if (const auto why = misfit(Render::unsigned_number, text); !why.empty()) return why;
      return misfit(Render::short_number, text);
    case Render::short_number: {
      // R5, datatypes.html, decimal.
      const auto unsigned_text = text.front() == '-' ? text.substr(1) : text;
      const auto point = unsigned_text.find('.');
      const auto before = unsigned_text.substr(0, std::min(point, unsigned_text.size()));
      const auto behind =
          point == std::string_view::npos ? std::string_view{} : unsigned_text.substr(point + 1);
      if (before.size() > 18 || behind.size() > 17)
        return "R5 takes 18 digits before the point and 17 behind";
      return unsigned_text.find_first_of("eE") == std::string_view::npos ? "" : "R5 takes no exponent";
    }
    default:
      return "";
  }
}

bool has_misfits(Render render) {
  switch (render) {
    case Render::plain:
    case Render::date_time:
    case Render::time_of_day:
    case Render::query:
    case Render::xhtml:
      return false;
    default:
      return true;
  }
}

bool is_plain_word(const Value& value) {
  if (value.form != Form::leaf) return false;
  if (value.kind == Kind::clock) return true;
  const Code* code = value.code;
  return code != nullptr && !code->word.empty() && code->text.empty() && code->also_count == 0;
}

const terms::Concept* Facets::concept_of(const Value& value, const terms::Domain* domain) {
  if (domain == nullptr) return nullptr;
  if (concept_value_ == &value && concept_domain_ == domain) return concept_;
  const auto word = value.kind == Kind::clock ? value.text
                    : value.code != nullptr   ? value.code->word
                                              : std::string_view{};
  concept_ = word.empty() ? nullptr : domain->find(word);
  concept_value_ = &value;
  concept_domain_ = domain;
  return concept_;
}

const FixedQuantity& Facets::fixed(const Value& value, record::FieldId field) {
  if (fixed_.of == &value) return fixed_;
  fixed_ = {};
  fixed_.of = &value;
  if (knowledge_->fixed && value.quantity != nullptr && knowledge_->fixed_units != nullptr) {
    fixed_.converted = knowledge_->fixed_units->convert(*value.quantity, record::field(field).argument,
                                                        fixed_.value, fixed_.unit, fixed_.rounded);
  }
  return fixed_;
}

Form form_of(Facet facet) {
  switch (facet) {
    case Facet::absent:
    case Facet::absent_display:
      return Form::absent;
    case Facet::none:
      return Form::none;
    default:
      return Form::leaf;
  }
}

std::string_view Facets::get(const Value* value, record::FieldId field, Facet facet,
                             const terms::Domain* domain) {
  if (value == nullptr) return {};
  if (facet == Facet::absent) return value->form == Form::absent ? value->text : std::string_view{};
  if (facet == Facet::none) return value->form == Form::none ? std::string_view{"none"} : std::string_view{};
  if (facet == Facet::absent_display) {
    if (value->form != Form::absent || knowledge_->absent_reasons == nullptr) return {};
    const auto* reason = knowledge_->absent_reasons->find(value->text);
    return reason == nullptr ? std::string_view{} : std::string_view{reason->standard};
  }
  if (facet == Facet::words) {
    scratch_.clear();
    words(value, record::field(field), scratch_);
    return scratch_;
  }
  if (value->form != Form::leaf) return {};
  const Code* code = value->code;
  const Quantity* quantity = value->quantity;
  switch (facet) {
    case Facet::self:
    case Facet::number:
      return code != nullptr ? code->word : value->text;
    case Facet::precision: {
      const auto time = parse_time(value->text);
      return time && time.time.precision == TimePrecision::minute ? std::string_view{"minute"}
                                                                  : std::string_view{};
    }
    case Facet::word:
      return value->kind == Kind::clock ? value->text : code != nullptr ? code->word : std::string_view{};
    case Facet::own_display: {
      const auto* concept_found = concept_of(*value, domain);
      return concept_found == nullptr ? std::string_view{} : std::string_view{concept_found->display};
    }
    case Facet::standard_system: {
      const auto* concept_found = concept_of(*value, domain);
      return concept_found == nullptr || concept_found->code.empty()
                 ? std::string_view{}
                 : std::string_view{concept_found->system};
    }
    case Facet::standard_code: {
      const auto* concept_found = concept_of(*value, domain);
      return concept_found == nullptr ? std::string_view{} : std::string_view{concept_found->code};
    }
    case Facet::standard_display: {
      const auto* concept_found = concept_of(*value, domain);
      return concept_found == nullptr || concept_found->code.empty()
                 ? std::string_view{}
                 : std::string_view{concept_found->standard};
    }
    case Facet::text:
      return code != nullptr ? code->text : std::string_view{};
    case Facet::foreign:
      return code != nullptr && code->has_foreign() ? std::string_view{"true"} : std::string_view{};
    case Facet::system:
      return code != nullptr ? code->foreign.system : std::string_view{};
    case Facet::code:
      return code != nullptr ? code->foreign.code : std::string_view{};
    case Facet::display:
      return code != nullptr ? code->foreign.display : std::string_view{};
    case Facet::value:
      return quantity != nullptr ? quantity->value : std::string_view{};
    case Facet::unit:
      return quantity != nullptr ? quantity->unit : std::string_view{};
    case Facet::comparator:
      return quantity != nullptr ? quantity->comparator : std::string_view{};
    case Facet::estimated:
      return quantity != nullptr ? quantity->estimated : std::string_view{};
    case Facet::converted:
      return fixed(*value, field).converted ? std::string_view{"true"} : std::string_view{};
    case Facet::fixed_value:
      return fixed(*value, field).converted ? std::string_view{fixed_.value} : std::string_view{};
    case Facet::fixed_unit:
      return fixed(*value, field).converted ? fixed_.unit : std::string_view{};
    case Facet::fixed_rounded:
      return fixed(*value, field).converted && fixed_.rounded ? std::string_view{"true"} : std::string_view{};
    default:
      return {};
  }
}

bool Facets::set(Value& value, Facet facet, std::string_view text, Arena& arena,
                 const terms::Domain* domain) {
  if (text.empty()) return false;
  if (facet == Facet::none && text != "none") return false;
  if (facet == Facet::absent || facet == Facet::none) {
    const Form wanted = facet == Facet::absent ? Form::absent : Form::none;
    const bool untouched =
        value.form == Form::leaf && value.text.empty() && value.code == nullptr && value.quantity == nullptr;
    const bool empty_group = value.form == Form::group && [&] {
      for (std::uint32_t i = 0; i < value.count; ++i) {
        if (value.children[i] != nullptr) return false;
      }
      return true;
    }();
    if (value.form == wanted) return wanted == Form::none || value.text == text;
    if (!untouched && !empty_group) return false;
    value.form = wanted;
    value.text = wanted == Form::absent ? text : std::string_view{};
    value.children = nullptr;
    value.count = 0;
    return true;
  }
  if (value.form != Form::leaf) return false;
  switch (facet) {
    case Facet::self:
    case Facet::number:
      if (value.kind == Kind::word || value.kind == Kind::code) return put(code_of(value, arena).word, text);
      return put(value.text, text);
    case Facet::word:
      if (value.kind == Kind::clock) return put(value.text, text);
      return put(code_of(value, arena).word, text);
    case Facet::standard_code: {
      // Of a clock position that others sent without our word.
      if (value.kind != Kind::clock || domain == nullptr) return false;
      const auto link = std::find_if(domain->links.begin(), domain->links.end(), [&](const terms::Link& one) {
        return one.code == text && one.direction != terms::Direction::out;
      });
      return link != domain->links.end() && put(value.text, domain->concepts[link->index].word);
    }
    case Facet::text:
      return put(code_of(value, arena).text, text);
    case Facet::system:
      return put(code_of(value, arena).foreign.system, text);
    case Facet::code:
      return put(code_of(value, arena).foreign.code, text);
    case Facet::display:
      return put(code_of(value, arena).foreign.display, text);
    case Facet::value:
      return put(quantity_of(value, arena).value, text);
    case Facet::unit:
      return put(quantity_of(value, arena).unit, text);
    case Facet::comparator:
      return put(quantity_of(value, arena).comparator, text);
    case Facet::estimated:
      return put(quantity_of(value, arena).estimated, text);
    default:
      return false;
  }
}

namespace {

// wound.clockOrigin -> clock origin
void append_name(std::string_view name, std::string& out) {
  for (const char c : name) {
    if (c >= 'A' && c <= 'Z') {
      out += ' ';
      out += static_cast<char>(c - 'A' + 'a');
    } else {
      out += c;
    }
  }
}

}  // namespace

const terms::Domain* Facets::domain_of(const record::Field& field) {
  if (knowledge_->terms == nullptr || field.argument.empty()) return nullptr;
  if (domains_.empty()) domains_.resize(static_cast<std::size_t>(record::FieldId::count));
  auto& known = domains_[static_cast<std::size_t>(field.id)];
  if (known == nullptr) known = knowledge_->terms->domain(field.argument);
  return known;
}

void Facets::words(const Value* value, const record::Field& field, std::string& out) {
  if (value == nullptr) return;
  switch (value->form) {
    case Form::none:
      out += "none";
      return;
    case Form::absent:
      out += "no answer (";
      out += value->text;
      out += ')';
      return;
    case Form::list:
      for (std::uint32_t i = 0; i < value->count; ++i) {
        if (i > 0) out += " | ";
        words(value->children[i], field, out);
      }
      return;
    case Form::group: {
      bool first = true;
      for (auto id = field.first_member; id != record::FieldId::visit; id = record::field(id).next_sibling) {
        const auto& member = record::field(id);
        // Keys, systems and addresses name people and places; narrative carries none of them.
        if (member.kind == Kind::key || member.name == "system" || member.name == "url") continue;
        const Value* inside = value->children[member.slot];
        if (inside == nullptr) continue;
        if (!first) out += "; ";
        first = false;
        append_name(member.name, out);
        out += ' ';
        words(inside, member, out);
      }
      return;
    }
    case Form::leaf:
      break;
  }
  // A value under construction may say nothing yet.
  if (value->text.empty() && value->code == nullptr && value->quantity == nullptr) return;
  switch (value->kind) {
    case Kind::code:
    case Kind::word:
    case Kind::coding: {
      if (value->code == nullptr) return;
      const Code& code = *value->code;
      const auto* domain = domain_of(field);
      const auto* concept_found = domain == nullptr || code.word.empty() ? nullptr : domain->find(code.word);
      if (concept_found != nullptr) {
        out += concept_found->display;
      } else if (!code.word.empty()) {
        out += code.word;
      } else if (!code.foreign.display.empty()) {
        out += code.foreign.display;
      } else {
        out += code.foreign.code;
      }
      if (!code.text.empty()) {
        if (!code.word.empty() || code.has_foreign()) {
          out += " (";
          out += code.text;
          out += ')';
        } else {
          out += code.text;
        }
      }
      return;
    }
    case Kind::quantity: {
      if (value->quantity == nullptr) return;
      const Quantity& quantity = *value->quantity;
      if (quantity.estimated == "true") out += "about ";
      if (!quantity.comparator.empty()) {
        out += quantity.comparator;
        out += ' ';
      }
      out += quantity.value;
      out += ' ';
      out += quantity.unit;
      return;
    }
    case Kind::flag:
      out += value->text == "true" ? "yes" : "no";
      return;
    case Kind::percent:
      out += value->text;
      out += " %";
      return;
    case Kind::clock:
      out += value->text;
      out += " o'clock";
      return;
    default:
      out += value->text;
      return;
  }
}

}  // namespace charpie::mapping
