#include "record/leaf.hpp"

#include <algorithm>

#include "base/decimal.hpp"
#include "base/time.hpp"
#include "base/utf8.hpp"

namespace charpie::record {

namespace {

constexpr FindingId nothing = FindingId::count;

// CodeSystem data-absent-reason; as-text, not-a-number and the two infinities from memory.
constexpr std::string_view reasons[] = {
    "unknown",      "asked-unknown",     "temp-unknown",      "not-asked",     "asked-declined",
    "masked",       "not-applicable",    "unsupported",       "as-text",       "error",
    "not-a-number", "negative-infinity", "positive-infinity", "not-performed", "not-permitted"};

bool blank(std::string_view text) {
  return text.find_first_not_of(" \t\r\n") == text.npos;
}

// A whole number without sign, leading zero, point or exponent.
bool whole(std::string_view token) {
  if (token.empty() || (token.size() > 1 && token[0] == '0')) return false;
  return std::all_of(token.begin(), token.end(), [](char c) { return c >= '0' && c <= '9'; });
}

bool is_count(std::string_view token) {
  if (!whole(token)) return false;
  return token.size() < largest_count.size() ||
         (token.size() == largest_count.size() && token <= largest_count);
}

bool is_clock(std::string_view token) {
  return whole(token) && token != "0" && (token.size() == 1 || (token.size() == 2 && token <= "12"));
}

bool is_percent(std::string_view token) {
  return is_decimal(token) && charpie::compare(Decimal("0"), Decimal(token)) <= 0 &&
         charpie::compare(Decimal(token), Decimal("100")) <= 0;
}

// Char of XML 1.0; most texts are plain ASCII and need no decoding.
bool is_xml(std::string_view text) {
  bool plain = true;  // no early way out: the compiler looks at many bytes at once
  for (const char c : text) plain &= c >= 0x20 && c < 0x7F;
  return plain || is_xml_character_text(text);
}

}  // namespace

std::span<const std::string_view> absent_reasons() {
  return reasons;
}

FindingId leaf_fault(Kind kind, std::string_view text) {
  switch (kind) {
    case Kind::key:
    case Kind::text:
      if (blank(text)) return FindingId::field_empty;
      return is_xml(text) ? nothing : FindingId::text_character;
    case Kind::time:
      return parse_time(text) ? nothing : FindingId::time_form;
    case Kind::clocktime:
      return is_clocktime(text) ? nothing : FindingId::clocktime_form;
    case Kind::count:
      return is_count(text) ? nothing : FindingId::count_form;
    case Kind::percent:
      if (!is_decimal(text)) return FindingId::number_form;
      return is_percent(text) ? nothing : FindingId::percent_range;
    case Kind::decimal:
      return is_decimal(text) ? nothing : FindingId::number_form;
    case Kind::flag:
      return text == "true" || text == "false" ? nothing : FindingId::field_kind;
    case Kind::clock:
      return is_clock(text) ? nothing : FindingId::clock_range;
    default:
      return nothing;
  }
}

}  // namespace charpie::record
