#include "units/suggest.hpp"

#include <algorithm>
#include <array>
#include <bit>

#include "syntax/csv.hpp"
#include "units/parse.hpp"
#include "units/tree.hpp"
#include "units/units.hpp"

namespace charpie::units {

namespace {

constexpr std::string_view slips_file = "units/slips.csv";
constexpr std::string_view warnings_file = "units/warnings.csv";
constexpr std::size_t most_suggestions = 5;
// A code with more unknown parts than this is no slip.
constexpr std::size_t most_unknown = 3;
// A longer word is no plural of a unit's name; it bounds how often an ending is taken off.
constexpr std::size_t longest_word = 40;

Error broken(std::string_view file, std::size_t line, std::string message) {
  return {Error::mapping_broken, std::move(message), std::string(file), line, 0, "mend the row"};
}

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
bool is_upper(char c) {
  return c >= 'A' && c <= 'Z';
}
bool is_lower(char c) {
  return c >= 'a' && c <= 'z';
}
char lower(char c) {
  return is_upper(c) ? static_cast<char>(c - 'A' + 'a') : c;
}
char upper(char c) {
  return is_lower(c) ? static_cast<char>(c - 'a' + 'A') : c;
}
bool is_blank(char c) {
  return c == ' ' || c == '\t';
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

// Small letters, one blank between words.
std::string key_of(std::string_view text) {
  std::string key;
  for (const char c : trimmed(text)) {
    if (is_blank(c)) {
      if (!key.empty() && key.back() != ' ') key += ' ';
    } else {
      key += lower(c);
    }
  }
  return key;
}

std::string capitals(std::string_view text) {
  std::string result(text);
  for (char& c : result) c = upper(c);
  return result;
}

std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> words;
  while (!text.empty()) {
    const auto blank = text.find(' ');
    if (blank != 0) words.emplace_back(text.substr(0, blank));
    if (blank == std::string_view::npos) break;
    text.remove_prefix(blank + 1);
  }
  return words;
}

void add(std::vector<std::string>& list, std::string code) {
  if (!code.empty() && std::find(list.begin(), list.end(), code) == list.end())
    list.push_back(std::move(code));
}

std::string replaced(std::string text, std::string_view from, std::string_view to) {
  for (std::size_t at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size())) {
    text.replace(at, from.size(), to);
  }
  return text;
}

// Splits "cm-2" into "cm" and "-2".
std::pair<std::string_view, std::string_view> split_exponent(std::string_view text) {
  std::size_t stem = text.size();
  while (stem > 0 && is_digit(text[stem - 1])) --stem;
  if (stem < text.size() && stem > 0 && (text[stem - 1] == '-' || text[stem - 1] == '+')) --stem;
  return {text.substr(0, stem), text.substr(stem)};
}

// One step of a code taken apart by text alone: an operator or parenthesis, or a component.
struct Piece {
  std::string text;
  bool operation = false;
};

// Operators count outside brackets and braces only. A star is a product unless it belongs to 10*.
std::vector<Piece> pieces_of(std::string_view text) {
  std::vector<Piece> pieces;
  std::string current;
  auto flush = [&] {
    const auto component = trimmed(current);
    if (!component.empty()) pieces.push_back({std::string(component), false});
    current.clear();
  };
  char closing = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (closing != 0) {
      current += c;
      if (c == closing) closing = 0;
    } else if (c == '[' || c == '{') {
      current += c;
      closing = c == '[' ? ']' : '}';
    } else if (c == '.' || c == '/' || c == '(' || c == ')') {
      flush();
      pieces.push_back({std::string(1, c), true});
    } else if (c == '*' && trimmed(current) != "10" && trimmed(current) != "x10" &&
               trimmed(current) != "X10") {
      flush();
      pieces.push_back({".", true});
    } else {
      current += c;
    }
  }
  flush();
  return pieces;
}

// "(m/s)2" and "kg/(m.s)2" with the exponent at each unit inside; empty when there is nothing of the kind.
std::string expanded_group(std::string_view text) {
  const auto close = text.find(')');
  if (close == std::string_view::npos || close + 1 >= text.size()) return {};
  const auto open = text.rfind('(', close);
  if (open == std::string_view::npos) return {};
  std::size_t end = close + 1;
  if (text[end] == '^') ++end;
  const std::size_t sign = end;
  if (end < text.size() && (text[end] == '-' || text[end] == '+')) ++end;
  const std::size_t digits = end;
  while (end < text.size() && is_digit(text[end])) ++end;
  if (end == digits || end - digits > 3) return {};
  int power = std::stoi(std::string(text.substr(digits, end - digits)));
  if (text[sign] == '-') power = -power;
  std::string inside;
  for (const auto& piece : pieces_of(text.substr(open + 1, close - open - 1))) {
    if (piece.operation) {
      inside += piece.text;
      continue;
    }
    const auto [stem, exponent] = split_exponent(piece.text);
    if (stem.empty() || exponent.size() > 4) return {};
    const int each = (exponent.empty() ? 1 : std::stoi(std::string(exponent))) * power;
    inside += stem;
    if (each != 1) inside += std::to_string(each);
  }
  return std::string(text.substr(0, open)) + "(" + inside + ")" + std::string(text.substr(end));
}

// "2+10" is no code: the number that was meant, 1024; empty when the text is no such power or it is too long.
std::string power_of_number(std::string_view text) {
  const auto sign = text.find('+');
  if (sign == std::string_view::npos || sign == 0 || sign + 1 == text.size() || text.size() > 8) return {};
  if (text.find_first_not_of("0123456789+") != std::string_view::npos || text.rfind('+') != sign) return {};
  const int exponent = std::stoi(std::string(text.substr(sign + 1)));
  Wide power = static_cast<unsigned>(std::stoi(std::string(text.substr(0, sign))));
  if (exponent < 1 || exponent > 99 || !raise(power, static_cast<unsigned>(exponent)) || (power >> 63) != 0)
    return {};
  return std::to_string(static_cast<std::uint64_t>(power));
}

// Which characters occur, capitals as small letters; several share a bit, which only lets more pass.
std::uint32_t character_set(std::string_view text) {
  std::uint32_t set = 0;
  for (const char c : text) set |= 1u << (static_cast<unsigned char>(lower(c)) % 32);
  return set;
}

// Edits to come from one text to the other, neighbours swapped counted once: 2 each, a change of case 1.
// Gives up, with a number beyond `allowed`, as soon as it cannot be less.
int distance(std::string_view a, std::string_view b, int allowed) {
  constexpr std::size_t most = 24;
  if (a.size() > most || b.size() > most) return allowed + 1;
  std::array<std::array<int, most + 1>, 3> rows;  // this row, the one before, the one before that
  auto *before_last = &rows[0], *last = &rows[1], *row = &rows[2];
  for (std::size_t j = 0; j <= b.size(); ++j) (*last)[j] = static_cast<int>(2 * j);
  for (std::size_t i = 1; i <= a.size(); ++i) {
    int least = (*row)[0] = static_cast<int>(2 * i);
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const int change = a[i - 1] == b[j - 1] ? 0 : lower(a[i - 1]) == lower(b[j - 1]) ? 1 : 2;
      int best = std::min({(*last)[j] + 2, (*row)[j - 1] + 2, (*last)[j - 1] + change});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
        best = std::min(best, (*before_last)[j - 2] + 2);
      }
      (*row)[j] = best;
      least = std::min(least, best);
    }
    // A swap looks two rows back, so this row and the last must both be beyond.
    if (least > allowed + 2) return allowed + 1;
    auto* const oldest = before_last;
    before_last = last;
    last = row;
    row = oldest;
  }
  return (*last)[b.size()];
}

}  // namespace

Result<std::shared_ptr<const Slips>> Slips::load(const Tables& tables, const AtomTable& table) {
  std::shared_ptr<Slips> slips(new Slips(table));
  // Litre and international unit have two atoms of one code: the later row, L and [IU], is the better known.
  slips->other_codes_.reserve(table.atoms().size());
  for (const auto& atom : table.atoms()) slips->other_codes_[capitals(atom.ci)] = &atom;
  if (auto read = slips->read_slips(tables); !read) return read.error();
  if (auto read = slips->read_warnings(tables); !read) return read.error();
  for (const auto& atom : table.atoms())
    slips->spellings_.push_back({atom.symbol, character_set(atom.symbol)});
  return std::shared_ptr<const Slips>(std::move(slips));
}

bool Slips::is_valid(std::string_view code) const {
  return !validate(code, table_);
}

Outcome Slips::read_slips(const Tables& tables) {
  const auto* text = tables.find(slips_file);
  if (text == nullptr) return broken(slips_file, 0, "the table of slips is missing");
  auto csv = syntax::read_csv_table(*text, slips_file);
  if (!csv) return csv.error();
  const auto kind = csv->column("kind"), slip = csv->column("slip"), meant = csv->column("meant");
  if (kind == csv->none || slip == csv->none || meant == csv->none) {
    return broken(slips_file, 1, "the columns are kind, slip, meant");
  }
  whole_.reserve(csv->rows.size());
  parts_.reserve(csv->rows.size());
  for (const auto& row : csv->rows) {
    const auto& what = row.cells[kind];
    const auto& from = row.cells[slip];
    if (what == "mark") {
      look_alikes_[from] = row.cells[meant];
    } else if (what == "common") {
      if (!is_valid(from)) return broken(slips_file, row.line, "no valid code: " + from);
      spellings_.push_back({from, character_set(from)});
    } else if (what == "whole" || what == "part") {
      auto codes = words_of(row.cells[meant]);
      for (const auto& code : codes) {
        if (!is_valid(code)) return broken(slips_file, row.line, "no valid code: " + code);
      }
      (what == "whole" ? whole_ : parts_)[from] = std::move(codes);
    } else {
      return broken(slips_file, row.line, "unknown kind: " + what);
    }
  }
  return std::monostate{};
}

Outcome Slips::read_warnings(const Tables& tables) {
  const auto* text = tables.find(warnings_file);
  if (text == nullptr) return broken(warnings_file, 0, "the table of warnings is missing");
  auto csv = syntax::read_csv_table(*text, warnings_file);
  if (!csv) return csv.error();
  for (const auto& row : csv->rows) {
    const std::string code(csv->cell(row, "code")), kind(csv->cell(row, "kind")),
        message(csv->cell(row, "message")), meant(csv->cell(row, "meant"));
    if (!is_valid(code)) return broken(warnings_file, row.line, "no valid code: " + code);
    if (!meant.empty() && !is_valid(meant)) return broken(warnings_file, row.line, "no valid code: " + meant);
    if (kind == "note") {
      notes_[code] = message;
    } else if (kind == "code" || kind == "part") {
      cautions_[code] = {message, meant, kind == "part"};
    } else {
      return broken(warnings_file, row.line, "unknown kind: " + kind);
    }
  }
  return std::monostate{};
}

std::string_view Slips::note(std::string_view symbol) const {
  const auto found = notes_.find(std::string(symbol));
  return found == notes_.end() ? std::string_view{} : std::string_view(found->second);
}

const Slips::Codes* Slips::whole(std::string_view text) const {
  const auto found = whole_.find(key_of(text));
  return found == whole_.end() ? nullptr : &found->second;
}

const Slips::Codes* Slips::part(std::string_view text) const {
  const auto found = parts_.find(key_of(text));
  return found == parts_.end() ? nullptr : &found->second;
}

// Characters that look like plain ones become plain; a raised digit behind 10 is a power of ten.
std::string Slips::without_look_alikes(std::string_view text) const {
  std::string plain;
  bool raised_before = false;
  for (std::size_t at = 0; at < text.size();) {
    if (static_cast<unsigned char>(text[at]) < 0x80) {
      plain += text[at++];
      raised_before = false;
      continue;
    }
    std::size_t length = 1;
    while (length < 4 && at + length < text.size() &&
           (static_cast<unsigned char>(text[at + length]) & 0xC0) == 0x80)
      ++length;
    const auto character = text.substr(at, length);
    const auto found = look_alikes_.find(std::string(character));
    if (found == look_alikes_.end()) {
      plain += character;
    } else {
      const auto& meant = found->second;
      const bool full_width = character.starts_with("\xEF\xBC");
      const bool raised =
          !full_width && !meant.empty() && (is_digit(meant[0]) || meant[0] == '-' || meant[0] == '+');
      if (raised && !raised_before && plain.ends_with("10")) plain += '*';
      raised_before = raised;
      plain += meant;
    }
    at += length;
  }
  return plain;
}

// The case-sensitive symbol of a case-insensitive one, exponent kept; empty when there is none.
std::string Slips::case_insensitive_symbol(std::string_view text) const {
  const auto [stem, exponent] = split_exponent(text);
  const std::string wanted = capitals(stem);
  const auto whole_symbol = other_codes_.find(wanted);
  if (whole_symbol != other_codes_.end()) return whole_symbol->second->symbol + std::string(exponent);
  for (const auto& prefix : table_.prefixes()) {
    if (wanted.size() <= prefix.ci.size() || !wanted.starts_with(prefix.ci)) continue;
    const auto atom = other_codes_.find(wanted.substr(prefix.ci.size()));
    if (atom != other_codes_.end() && atom->second->metric) {
      return prefix.symbol + atom->second->symbol + std::string(exponent);
    }
  }
  return {};
}

std::string Slips::case_insensitive(std::string_view text) const {
  std::string code;
  for (const auto& piece : pieces_of(text)) {
    const bool number = piece.text.find_first_not_of("0123456789") == std::string::npos;
    if (piece.operation || number || piece.text[0] == '{') {
      code += piece.text;
      continue;
    }
    const auto brace = piece.text.find('{');
    const auto symbol = case_insensitive_symbol(std::string_view(piece.text).substr(0, brace));
    if (symbol.empty()) return {};
    code += symbol;
    if (brace != std::string::npos) code += piece.text.substr(brace);
  }
  return is_valid(code) ? code : std::string{};
}

// One symbol with its exponent, no number before it: by the table of slips, by the other code set, by
// brackets.
Slips::Codes Slips::mended_symbol(std::string_view text) const {
  Codes codes;
  if (is_valid(text)) {
    const auto caution = cautions_.find(std::string(text));
    if (caution != cautions_.end() && caution->second.part) add(codes, caution->second.meant);
    add(codes, std::string(text));
    return codes;
  }
  if (const auto* known = part(text)) return *known;
  const auto [stem, exponent] = split_exponent(text);
  if (!exponent.empty() && !stem.empty()) {
    if (const auto* known = part(stem)) {
      for (const auto& code : *known) {
        if (code.find_first_of("./({") == std::string::npos && !is_digit(code.back()))
          add(codes, code + std::string(exponent));
      }
      if (!codes.empty()) return codes;
    }
  }
  if (auto symbol = case_insensitive_symbol(text); !symbol.empty() && is_valid(symbol)) return {symbol};
  for (const auto& spelling : {std::string(stem), capitals(stem), key_of(stem)}) {
    if (auto symbol = "[" + spelling + "]" + std::string(exponent); is_valid(symbol)) return {symbol};
  }
  if (stem.size() > 2 && stem.size() <= longest_word && (stem.back() == 's' || stem.back() == '.') &&
      exponent.empty()) {
    return mended_symbol(stem.substr(0, stem.size() - 1));
  }
  return codes;
}

// One component, with what may stand before or behind its symbol.
Slips::Codes Slips::mended_component(std::string_view text) const {
  const auto brace = text.find('{');
  if (brace != std::string_view::npos && brace > 0 && text.back() == '}') {
    Codes codes;
    const auto note =
        replaced(std::string(text.substr(brace)), " ", "_");  // a blank cannot stand in an annotation
    for (const auto& code : mended_component(trimmed(text.substr(0, brace)))) add(codes, code + note);
    return codes;
  }
  std::string plain = replaced(std::string(text), "^", "");
  if (text.starts_with("10^") || text.starts_with("10*")) plain = replaced(std::string(text), " ", "");
  for (const std::string_view times : {"x10", "X10", "x 10", "X 10"}) {
    if (plain.starts_with(times) && plain.size() > times.size()) plain = plain.substr(times.size() - 2);
  }
  const auto key = key_of(plain);
  // 10e3, 10E3, 10+3, and x103 after the ^ is gone
  if (key.starts_with("10") && key.size() > 2 &&
      key.find_first_not_of("0123456789e+-*^", 2) == std::string::npos && !is_valid(plain)) {
    const auto digits =
        key.substr(key.find_first_not_of("e+*^", 2) == std::string::npos ? key.size()
                                                                         : key.find_first_not_of("e+*^", 2));
    if (auto power = "10*" + digits; !digits.empty() && is_valid(power)) return {power};
  }
  if (text.starts_with("x10") && key.size() > 2 && key.find_first_not_of("0123456789") == std::string::npos)
    return {"10*" + key.substr(2)};
  if (auto codes = mended_symbol(plain); !codes.empty()) return codes;
  if (auto power = power_of_number(plain); !power.empty()) return {power};
  static constexpr struct {
    std::string_view word;
    std::string_view exponent;
  } powers[] = {{"sq ", "2"}, {"square ", "2"}, {"cu ", "3"}, {"cubic ", "3"}};
  for (const auto& power : powers) {
    if (!key.starts_with(power.word)) continue;
    Codes codes;
    for (const auto& code : mended_symbol(trimmed(std::string_view(plain).substr(power.word.size())))) {
      if (!is_digit(code.back())) add(codes, code + std::string(power.exponent));
    }
    return codes;
  }
  // A number and a unit: 24h, 24 hrs.
  std::size_t digits = 0;
  while (digits < plain.size() && is_digit(plain[digits])) ++digits;
  if (digits > 0 && digits < plain.size()) {
    Codes codes;
    for (const auto& code : mended_component(trimmed(std::string_view(plain).substr(digits)))) {
      add(codes, plain.substr(0, digits) + "." + code);
    }
    return codes;
  }
  // Blanks within: a slip of the table, a symbol torn apart, or a product.
  if (plain.find(' ') != std::string::npos) {
    if (auto codes = mended_symbol(replaced(plain, " ", "")); !codes.empty()) return codes;
    std::string product;
    for (const auto& word : words_of(plain)) {
      const auto codes = mended_symbol(word);
      if (codes.empty()) return {};
      product += (product.empty() ? "" : ".") + codes.front();
    }
    return {product};
  }
  return {};
}

// The code with every component mended; several when one component has several readings.
Slips::Codes Slips::rewritten(std::string_view text) const {
  std::string spaced(text);
  for (const std::string_view per : {" per ", " PER ", " Per "}) spaced = replaced(spaced, per, "/");
  for (const std::string_view word : {"sq", "Sq", "SQ", "cu", "Cu", "CU"}) {
    spaced = replaced(spaced, std::string(word) + ". ", std::string(word) + " ");
  }
  if (key_of(spaced).starts_with("per ")) spaced = "/" + spaced.substr(spaced.find(' ') + 1);
  if (auto expanded = expanded_group(spaced); !expanded.empty()) {
    if (is_valid(expanded)) return {expanded};
    spaced = expanded;
  }
  Codes codes{""};
  bool divided = false;
  std::size_t unknown = 0;
  for (const auto& piece : pieces_of(spaced)) {
    if (piece.operation) {
      for (auto& code : codes) code += piece.text;
      divided = piece.text == "/";
      continue;
    }
    Codes mended = piece.text[0] == '{' ? Codes{} : mended_component(piece.text);
    if (piece.text[0] == '{') {
      // A blank cannot stand in an annotation.
      const auto kept = replaced(piece.text, " ", "_");
      if (is_valid(kept)) mended.push_back(kept);
    }
    if (mended.empty() && unknown++ < most_unknown) mended = near(piece.text, 1);
    if (mended.empty()) return {};
    Codes longer;
    for (const auto& code : codes) {
      for (const auto& symbol : mended) {
        const bool product = symbol.find('.') != std::string::npos && symbol.find('[') > symbol.find('.');
        if (longer.size() < most_suggestions)
          longer.push_back(code + (divided && product && symbol[0] != '(' ? "(" + symbol + ")" : symbol));
      }
    }
    codes = std::move(longer);
    divided = false;
  }
  return codes;
}

Slips::Codes Slips::near(std::string_view text, std::size_t most) const {
  if (text.size() > Symbol::longest + 8) return {};
  const int allowed = text.size() <= 1 ? 1 : text.size() <= 4 ? 2 : 4;
  struct Candidate {
    int distance;
    std::size_t rank;
    std::string_view code;
  };
  std::vector<Candidate> candidates;
  const std::uint32_t characters = character_set(text);
  for (std::size_t rank = 0; rank < spellings_.size(); ++rank) {
    const auto& [code, set] = spellings_[rank];
    const std::size_t longer = std::max(text.size(), code.size()),
                      shorter = std::min(text.size(), code.size());
    if (static_cast<int>(2 * (longer - shorter)) > allowed) continue;
    // An edit takes away one kind of character at most, and brings one.
    if (2 * std::popcount(characters & ~set) > allowed || 2 * std::popcount(set & ~characters) > allowed)
      continue;
    const int apart = distance(text, code, allowed);
    if (apart <= allowed) candidates.push_back({apart, rank, code});
  }
  std::sort(candidates.begin(), candidates.end(), [](const Candidate& a, const Candidate& b) {
    return a.distance != b.distance ? a.distance < b.distance : a.rank < b.rank;
  });
  Codes codes;
  for (const auto& candidate : candidates) {
    if (codes.size() < most) add(codes, std::string(candidate.code));
  }
  return codes;
}

std::vector<std::string> Slips::suggest(std::string_view text) const {
  Codes found;
  if (text.size() > longest_code || trimmed(text).empty() || is_valid(text)) return found;
  auto take = [&](const Codes& codes) {
    for (const auto& code : codes) {
      if (found.size() < most_suggestions && is_valid(code)) add(found, code);
    }
  };
  const std::string plain_text = without_look_alikes(text);
  auto plain = trimmed(plain_text);
  if (const auto* known = whole(plain)) take(*known);
  // The period of an abbreviation: "ft.", "hrs."
  while (plain.size() > 1 && plain.back() == '.') plain = trimmed(plain.substr(0, plain.size() - 1));
  if (const auto* known = whole(plain); known != nullptr && found.empty()) take(*known);
  if (is_valid(plain)) take({std::string(plain)});
  // All capitals: an old interface that sends the other code set, unless a part is a slip of its own (CC is
  // no centicoulomb).
  const bool small_letters = std::any_of(plain.begin(), plain.end(), is_lower);
  const auto pieces = pieces_of(plain);
  const bool slip = std::any_of(pieces.begin(), pieces.end(),
                                [&](const Piece& piece) { return part(piece.text) != nullptr; });
  if (found.empty() && !small_letters && !slip) take({case_insensitive(plain)});
  if (found.empty()) take(rewritten(plain));
  if (found.empty() || !small_letters) take({case_insensitive(plain)});
  if (found.empty()) take(near(plain, most_suggestions));
  return found;
}

namespace {

// Walks a valid code for what is allowed and doubtful.
struct Doubts {
  std::vector<Warning> warnings;
  bool special = false, algebra = false, unit = false;
  bool number_before = false;

  void component(const Component& found) {
    if (found.text == "{}" || found.note == "{}")
      warnings.push_back({"an empty annotation says nothing", {}});
    if (found.kind == Component::number) {
      if (found.text.size() > 1 && found.text[0] == '0')
        warnings.push_back({"a number begins with zero", {}});
      if (number_before && !found.divided) {
        warnings.push_back({"a period multiplies: this is no decimal number", {}});
      }
    }
    number_before = found.kind == Component::number;
    if (found.kind == Component::symbol) symbol(found);
  }

  void symbol(const Component& found) {
    if (!found.exponent_text.empty()) {
      const auto digits = found.exponent_text.find_first_of("0123456789");
      if (found.exponent == 0) {
        warnings.push_back({"an exponent of zero makes the unit 1", {}});
      } else if (found.exponent_text[digits] == '0') {
        warnings.push_back({"an exponent begins with zero", {}});
      }
    }
    if (found.atom->function.kind != SpecialFunction::none) {
      if (special || unit || found.exponent != 1 || found.divided) algebra = true;
      special = true;
    } else if (!found.atom->number) {
      unit = true;
      if (special) algebra = true;
    }
  }
  void open(bool) { number_before = false; }
  void close(std::string_view note) {
    number_before = false;
    if (note == "{}") warnings.push_back({"an empty annotation says nothing", {}});
  }
};

// "mL/24.h" is (mL/24).h: where a product follows a quotient, the whole product was perhaps meant to divide.
std::string grouped_denominator(const Tree& term) {
  std::size_t slash = 0;
  bool doubtful = false;
  for (std::size_t i = 1; i < term.parts.size(); ++i) {
    if (term.parts[i].divided) {
      slash = i;
      doubtful = false;
    } else if (slash == i - 1 && slash > 0) {
      doubtful = true;
    }
    if (doubtful) break;
  }
  if (!doubtful) return {};
  Tree grouped = term;
  Tree inner;
  inner.divided = true;
  while (grouped.parts.size() > slash) {
    inner.parts.insert(inner.parts.begin(), grouped.parts.back());
    grouped.parts.pop_back();
  }
  inner.parts.front().divided = false;
  grouped.parts.push_back(std::move(inner));
  return print(grouped);
}

}  // namespace

std::vector<Warning> Slips::warnings(std::string_view code) const {
  Doubts doubts;
  if (parse(code, table_, doubts)) return {};
  auto warnings = std::move(doubts.warnings);
  if (doubts.algebra) {
    warnings.push_back({"a special unit in a product, quotient or power cannot be converted (UCUM 22.1)",
                        replaced(replaced(std::string(code), "Cel", "K"), "[degF]", "[degR]")});
    if (warnings.back().meant == code || !is_valid(warnings.back().meant)) warnings.back().meant.clear();
  }
  const auto tree = read_tree(code, table_);
  if (auto meant = grouped_denominator(*tree); !meant.empty()) {
    warnings.push_back(
        {"read from left to right: what follows the second operator multiplies, it does not divide (UCUM "
         "7.4)",
         std::move(meant)});
  }
  const auto whole = cautions_.find(std::string(code));
  if (whole != cautions_.end()) {
    warnings.push_back({"this is " + whole->second.message, whole->second.meant});
    return warnings;
  }
  // Each doubtful part once, with all of them mended in the code that may have been meant.
  std::string meant;
  std::vector<std::string> messages;
  bool mended = true;
  for (const auto& piece : pieces_of(code)) {
    const auto [stem, exponent] = split_exponent(piece.text);
    const auto caution = piece.operation ? cautions_.end() : cautions_.find(std::string(stem));
    if (caution == cautions_.end() || !caution->second.part) {
      meant += piece.text;
      continue;
    }
    add(messages, "`" + std::string(stem) + "` is " + caution->second.message);
    meant += caution->second.meant + std::string(exponent);
    if (caution->second.meant.empty()) mended = false;
  }
  for (auto& message : messages)
    warnings.push_back({std::move(message), mended && is_valid(meant) ? meant : std::string{}});
  return warnings;
}

}  // namespace charpie::units
