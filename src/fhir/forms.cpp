#include "fhir/forms.hpp"

#include <algorithm>

#include "base/decimal.hpp"
#include "base/time.hpp"

namespace charpie::fhir {

namespace {

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

// The white space of \s in the specification's regular expressions.
bool is_space(char c) {
  return c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == '\f' || c == '\v';
}

std::string_view code_fault(std::string_view text, Version version) {
  if (is_space(text.front()) || is_space(text.back())) return "white space at an end";
  for (std::size_t i = 1; i < text.size(); ++i) {
    if (!is_space(text[i])) continue;
    if (is_space(text[i - 1])) return "two white spaces in a row";
    if (version == Version::r5 && text[i] != ' ') return "white space other than a blank";
  }
  return {};
}

std::string_view integer_fault(std::string_view text, std::string_view smallest, std::string_view largest) {
  std::string_view digits = text;
  const bool negative = digits.starts_with('-');
  if (negative) digits.remove_prefix(1);
  if (digits.empty() || !std::all_of(digits.begin(), digits.end(), is_digit)) return "not a whole number";
  if (digits.size() > 1 && digits.front() == '0') return "a zero in front";
  const auto limit = negative ? smallest : largest;
  if (digits.size() > limit.size() || (digits.size() == limit.size() && digits > limit))
    return "out of range";
  return {};
}

std::string_view decimal_fault(std::string_view text, Version version) {
  if (!is_decimal(text)) return "not a decimal number";
  if (version == Version::r5) {
    const auto count = digits(Decimal(text));
    if (count.before > 18 || count.after > 17) return "more than 18 digits before or 17 after the point";
  }
  return {};
}

// HH:MM:SS with an optional fraction, of which R5 allows nine digits; the length read, 0 when it is none.
std::size_t clock_length(std::string_view text, Version version) {
  if (text.size() < 8 || text[2] != ':' || text[5] != ':') return 0;
  for (const std::size_t at : {0u, 1u, 3u, 4u, 6u, 7u}) {
    if (!is_digit(text[at])) return 0;
  }
  if (text.substr(0, 2) > "23" || text[3] > '5' || text.substr(6, 2) > "60") return 0;
  std::size_t end = 8;
  if (end < text.size() && text[end] == '.') {
    ++end;
    while (end < text.size() && is_digit(text[end])) ++end;
    if (end == 9 || (version == Version::r5 && end > 18)) return 0;
  }
  return end;
}

bool is_offset(std::string_view text) {
  if (text == "Z") return true;
  return text.size() == 6 && (text[0] == '+' || text[0] == '-') && is_digit(text[1]) && is_digit(text[2]) &&
         text[3] == ':' && is_digit(text[4]) && is_digit(text[5]) && text[4] <= '5' &&
         text.substr(1) <= "14:00";
}

std::string_view date_fault(std::string_view text) {
  const bool lengths = text.size() == 4 || text.size() == 7 || text.size() == 10;
  if (!lengths) return "write YYYY, YYYY-MM or YYYY-MM-DD";
  return parse_time(text).reason;
}

std::string_view date_time_fault(std::string_view text, Version version) {
  const auto mark = text.find('T');
  if (mark == std::string_view::npos) {
    if (version == Version::r5 && !date_fault(text).empty()) {
      const auto offset = text.ends_with('Z') ? text.size() - 1
                          : text.size() < 6   ? text.size()
                                              : text.size() - 6;
      if (is_offset(text.substr(offset))) return date_fault(text.substr(0, offset));
    }
    return date_fault(text);
  }
  if (mark != 10) return "a time of day needs a whole date";
  if (const auto fault = date_fault(text.substr(0, mark)); !fault.empty()) return fault;
  const auto clock = clock_length(text.substr(mark + 1), version);
  if (clock == 0) return "write the time of day as HH:MM:SS";
  const auto offset = text.substr(mark + 1 + clock);
  if (offset.empty()) return "a time of day needs an offset: Z or +01:00";
  return is_offset(offset) ? std::string_view{} : "write the offset as Z or +01:00, up to 14:00";
}

std::string_view base64_fault(std::string_view text, Version version) {
  std::size_t count = 0;
  std::size_t padding = 0;
  for (const char c : text) {
    if (is_space(c)) {
      if (version == Version::r5) return "white space";
      continue;
    }
    ++count;
    if (c == '=') {
      ++padding;
    } else if (padding > 0) {
      return "'=' before the end";
    } else if (!is_digit(c) && !(c >= 'A' && c <= 'Z') && !(c >= 'a' && c <= 'z') && c != '+' && c != '/') {
      return "a character that base64 has not";
    }
  }
  if (count % 4 != 0 || padding > 2) return "not in groups of four characters";
  return {};
}

std::string_view oid_fault(std::string_view text) {
  if (!text.starts_with("urn:oid:")) return "it begins with urn:oid:";
  text.remove_prefix(8);
  if (text.size() < 3 || text[0] < '0' || text[0] > '2' || text[1] != '.')
    return "an OID is numbers with points between";
  text.remove_prefix(1);
  while (!text.empty()) {
    text.remove_prefix(1);  // the point
    std::size_t end = 0;
    while (end < text.size() && is_digit(text[end])) ++end;
    if (end == 0 || (end > 1 && text[0] == '0') || (end < text.size() && text[end] != '.'))
      return "an OID is numbers with points between";
    text.remove_prefix(end);
  }
  return {};
}

std::string_view uuid_fault(std::string_view text) {
  if (!text.starts_with("urn:uuid:")) return "it begins with urn:uuid:";
  text.remove_prefix(9);
  if (text.size() != 36) return "a UUID has 36 characters";
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool dash = i == 8 || i == 13 || i == 18 || i == 23;
    if (dash ? text[i] != '-' : !is_digit(text[i]) && !(text[i] >= 'a' && text[i] <= 'f'))
      return "a UUID is lower-case hexadecimal with four dashes";
  }
  return {};
}

}  // namespace

syntax::NodeKind json_kind(Primitive primitive) {
  switch (primitive) {
    case Primitive::boolean:
      return syntax::NodeKind::boolean;
    case Primitive::decimal:
    case Primitive::integer:
    case Primitive::positive_int:
    case Primitive::unsigned_int:
      return syntax::NodeKind::number;
    default:
      return syntax::NodeKind::string;
  }
}

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= 64 && std::all_of(text.begin(), text.end(), [](char c) {
    return is_digit(c) || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '-' || c == '.';
  });
}

std::string_view form_fault(Primitive primitive, std::string_view text, Version version) {
  switch (primitive) {
    case Primitive::none:
    case Primitive::boolean:
    case Primitive::xhtml:
      return {};
    case Primitive::code:
      return code_fault(text, version);
    case Primitive::string:
    case Primitive::markdown:
      return std::any_of(text.begin(), text.end(),
                         [](char c) { return static_cast<unsigned char>(c) < 32 && !is_space(c); })
                 ? "a control character"
                 : std::string_view{};
    case Primitive::uri:
    case Primitive::url:
    case Primitive::canonical:
      return std::any_of(text.begin(), text.end(), is_space) ? "white space" : std::string_view{};
    case Primitive::id:
      return is_id(text) ? std::string_view{} : "1 to 64 letters, digits, '-' and '.'";
    case Primitive::oid:
      return oid_fault(text);
    case Primitive::uuid:
      return uuid_fault(text);
    case Primitive::integer:
      return integer_fault(text, "2147483648", "2147483647");
    case Primitive::integer64:
      return integer_fault(text, "9223372036854775808", "9223372036854775807");
    case Primitive::unsigned_int:
      return text.front() == '-' ? "negative" : integer_fault(text, "0", "2147483647");
    case Primitive::positive_int:
      return text.front() == '-' || text == "0" ? "not above zero" : integer_fault(text, "0", "2147483647");
    case Primitive::decimal:
      return decimal_fault(text, version);
    case Primitive::date:
      return date_fault(text);
    case Primitive::date_time:
      return date_time_fault(text, version);
    case Primitive::instant:
      if (text.find('T') == std::string_view::npos)
        return "an instant has a date, a time of day and an offset";
      return date_time_fault(text, version);
    case Primitive::time:
      return clock_length(text, version) == text.size() ? std::string_view{} : "write HH:MM:SS";
    case Primitive::base64_binary:
      return base64_fault(text, version);
  }
  return {};
}

}  // namespace charpie::fhir
