// The grammar of unit codes, UCUM 2.2 case-sensitive, walked once from left to right.
//
//   expression := ["/"] term                                  7.3
//   term       := component { ("." | "/") component }         7.4, left to right, equal precedence
//   component  := "(" term ")" [annotation] | integer [annotation] | symbol [exponent] [annotation] |
//   annotation exponent   := ["+" | "-"] digits                          9, of prefix and atom together
//   symbol     := [prefix] atom                               4, 11
//   annotation := "{" printable ASCII without braces "}"      6
//
// Where the specification is silent or contradicts itself, we decided: no exponent on a number, an annotation
// may follow a number or a parenthesis, no factor 0, one annotation at a time, no "/" directly after "(".
#pragma once
#include <array>
#include <cstdint>
#include <string_view>

#include "units/fault.hpp"
#include "units/table.hpp"

namespace charpie::units {

/// Longer codes are refused, so that time and stack are bounded. FHIR and HL7 v2 codes are far shorter.
inline constexpr std::size_t longest_code = 255;
inline constexpr std::int32_t largest_exponent = 9999;

/// What the parser met. Views point into the code.
struct Component {
  enum Kind { number, symbol, annotation, group };
  Kind kind = annotation;
  bool divided = false;   // stands directly after a "/"
  std::string_view text;  // number: its digits; symbol: prefix, atom and exponent; annotation: its braces too
  const Prefix* prefix = nullptr;  // symbol only
  const Atom* atom = nullptr;      // symbol only
  std::int32_t exponent = 1;       // symbol only
  std::string_view exponent_text;  // symbol only: as written, empty when there is none
  std::string_view note;           // the annotation behind a number or symbol, braces included, or empty
};

/// Which byte may stand where.
enum ByteClass : unsigned char {
  byte_refused,
  byte_symbol,
  byte_digit,
  byte_ends_symbol,
  byte_open_bracket,
  byte_close
};

constexpr std::array<ByteClass, 256> classify_bytes() {
  std::array<ByteClass, 256> classes{};
  for (std::size_t c = 33; c <= 126; ++c) classes[c] = byte_symbol;
  for (std::size_t c = '0'; c <= '9'; ++c) classes[c] = byte_digit;
  for (const char c : {'.', '/', '(', ')', '{'}) classes[static_cast<std::size_t>(c)] = byte_ends_symbol;
  classes['['] = byte_open_bracket;
  classes[']'] = classes['}'] = byte_close;
  return classes;
}
inline constexpr auto byte_classes = classify_bytes();

/// Walks `code`, telling `sink` of every component in order:
///   void sink.component(const Component&); void sink.open(bool divided); void sink.close(std::string_view
///   note);
template <class Sink>
class Parser {
 public:
  Parser(std::string_view code, const AtomTable& table, Sink& sink)
      : code_(code), table_(table), sink_(sink) {}

  Fault run() {
    if (code_.empty()) return {Reason::missing, 0, 0};
    if (code_.size() > longest_code) return {Reason::too_long, 0, 0};
    bool divided = false;
    if (code_[0] == '/') {
      at_ = 1;
      divided = true;
    }
    if (!term(divided, 0)) return fault_;
    if (at_ < code_.size()) return {Reason::stray_parenthesis, at_, 1};
    return {};
  }

 private:
  bool fail(Reason reason, std::size_t position, std::size_t length) {
    fault_ = {reason, position, length};
    return false;
  }
  bool done() const { return at_ == code_.size(); }
  ByteClass byte_at(std::size_t at) const { return byte_classes[static_cast<unsigned char>(code_[at])]; }

  // Components and operators until the end or a closing parenthesis, which is left in place.
  bool term(bool divided, std::size_t depth) {
    while (true) {
      if (!component(divided, depth)) return false;
      if (done()) return true;
      const char c = code_[at_];
      if (c == ')') {
        if (depth == 0) return fail(Reason::stray_parenthesis, at_, 1);
        return true;
      }
      if (c != '.' && c != '/') return misplaced(at_);
      divided = c == '/';
      ++at_;
    }
  }

  bool misplaced(std::size_t at) {
    switch (byte_at(at)) {
      case byte_refused:
        return fail(Reason::character, at, sequence_length(at));
      case byte_close:
        return fail(code_[at] == ']' ? Reason::stray_bracket : Reason::stray_brace, at, 1);
      default:
        break;
    }
    if (code_[at] == '{') return fail(Reason::two_annotations, at, code_.size() - at);
    return fail(Reason::missing_operator, at, 1);
  }

  // A character beyond ASCII is reported whole, as far as its bytes look like UTF-8.
  std::size_t sequence_length(std::size_t at) const {
    std::size_t length = 1;
    while (length < 4 && at + length < code_.size() &&
           (static_cast<unsigned char>(code_[at + length]) & 0xC0) == 0x80) {
      ++length;
    }
    return length;
  }

  bool component(bool divided, std::size_t depth) {
    if (done()) return fail(Reason::missing_operand, at_, 0);
    const char c = code_[at_];
    if (c == '(') return group(divided, depth);
    if (c == '{') {
      Component found;
      found.divided = divided;
      if (!annotation(found.text)) return false;
      sink_.component(found);
      return true;
    }
    if (c == '/' || c == '.' || c == ')') {
      if (c == '/' && at_ > 0 && code_[at_ - 1] == '(') return fail(Reason::slash_in_parentheses, at_, 1);
      if (c == ')' && depth == 0) return fail(Reason::stray_parenthesis, at_, 1);
      return fail(Reason::missing_operand, at_, c == ')' ? 0 : 1);
    }
    return symbol_or_number(divided);
  }

  bool group(bool divided, std::size_t depth) {
    const std::size_t opened = at_++;
    sink_.open(divided);
    if (!term(false, depth + 1)) return false;
    if (done()) return fail(Reason::unclosed_parenthesis, opened, 1);
    ++at_;
    std::string_view note;
    if (!done() && code_[at_] == '{' && !annotation(note)) return false;
    sink_.close(note);
    if (note.empty() && !done()) {
      const auto kind = byte_at(at_);
      if (kind == byte_digit || code_[at_] == '^' || code_[at_] == '+' || code_[at_] == '-') {
        return fail(Reason::exponent_on_parentheses, at_, code_.size() - at_);
      }
    }
    return true;
  }

  bool annotation(std::string_view& text) {
    const std::size_t opened = at_++;
    while (!done() && code_[at_] != '}') {
      const char c = code_[at_];
      if (c == '{') return fail(Reason::unclosed_annotation, opened, at_ - opened);
      if (c < 33 || c > 126) return fail(Reason::character, at_, sequence_length(at_));
      ++at_;
    }
    if (done()) return fail(Reason::unclosed_annotation, opened, code_.size() - opened);
    ++at_;
    text = code_.substr(opened, at_ - opened);
    return true;
  }

  bool symbol_or_number(bool divided) {
    const std::size_t start = at_;
    while (at_ < code_.size()) {
      const auto kind = byte_at(at_);
      if (kind == byte_symbol || kind == byte_digit) {
        ++at_;
        continue;
      }
      if (kind == byte_ends_symbol) break;
      if (kind == byte_open_bracket) {
        if (!bracket()) return false;
        continue;
      }
      return misplaced(at_);
    }
    const std::string_view text = code_.substr(start, at_ - start);
    std::size_t stem = text.size();
    while (stem > 0 && text[stem - 1] >= '0' && text[stem - 1] <= '9') --stem;
    Component found;
    found.divided = divided;
    found.text = text;
    if (stem == 0) {
      found.kind = Component::number;
      if (text.find_first_not_of('0') == std::string_view::npos)
        return fail(Reason::zero, start, text.size());
    } else {
      found.kind = Component::symbol;
      if (stem < text.size()) {
        if ((text[stem - 1] == '-' || text[stem - 1] == '+')) --stem;
        found.exponent_text = text.substr(stem);
        if (stem == 0) return fail(Reason::leading_sign, start, text.size());
        if (!exponent(found)) return fail(Reason::exponent_too_large, start + stem, text.size() - stem);
      }
      const auto found_symbol = table_.look_up(text.substr(0, stem));
      if (found_symbol.atom == nullptr || found_symbol.prefix_refused)
        return unknown(start, text, stem, found_symbol);
      found.prefix = found_symbol.prefix;
      found.atom = found_symbol.atom;
    }
    if (!done() && code_[at_] == '{' && !annotation(found.note)) return false;
    sink_.component(found);
    return true;
  }

  bool bracket() {
    const std::size_t opened = at_++;
    while (!done() && code_[at_] != ']') {
      const char c = code_[at_];
      if (c < 33 || c > 126) return fail(Reason::character, at_, sequence_length(at_));
      if (c == '[') return fail(Reason::unclosed_bracket, opened, at_ - opened);
      ++at_;
    }
    if (done()) return fail(Reason::unclosed_bracket, opened, code_.size() - opened);
    ++at_;
    return true;
  }

  static bool exponent(Component& found) {
    std::string_view digits = found.exponent_text;
    const bool negative = digits[0] == '-';
    if (negative || digits[0] == '+') digits.remove_prefix(1);
    std::int32_t size = 0;
    for (const char c : digits) {
      size = size * 10 + (c - '0');
      if (size > largest_exponent) return false;
    }
    found.exponent = negative ? -size : size;
    return true;
  }

  bool unknown(std::size_t start, std::string_view text, std::size_t stem, const Lookup& found) {
    const auto name = text.substr(0, stem);
    if (found.prefix_refused) return fail(Reason::prefix_not_allowed, start, text.size());
    const bool digit_first = name[0] >= '0' && name[0] <= '9';
    if (name.find_first_not_of("0123456789") == std::string_view::npos) {
      return fail(Reason::exponent_on_number, start, text.size());
    }
    if (name.find('*') != std::string_view::npos) return fail(Reason::star, start, text.size());
    if (name.find('^') != std::string_view::npos) return fail(Reason::caret, start, text.size());
    if (digit_first && start >= 2 && code_[start - 1] == '.' && byte_at(start - 2) == byte_digit) {
      return fail(Reason::decimal_number, start - 2, text.size() + 2);
    }
    if (digit_first) return fail(Reason::number_and_unit, start, text.size());
    if (name[0] == '-' || name[0] == '+') return fail(Reason::leading_sign, start, text.size());
    return fail(Reason::unknown_symbol, start, text.size());
  }

  std::string_view code_;
  const AtomTable& table_;
  Sink& sink_;
  std::size_t at_ = 0;
  Fault fault_;
};

/// Walks `code` for `sink`; see Parser.
template <class Sink>
Fault parse(std::string_view code, const AtomTable& table, Sink& sink) {
  return Parser<Sink>(code, table, sink).run();
}

/// Whether `code` follows the grammar and names known units, and where it does not. Takes no memory.
Fault validate(std::string_view code, const AtomTable& table);

}  // namespace charpie::units
