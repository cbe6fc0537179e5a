#include "units/table.hpp"

#include <charconv>
#include <cstring>

#include "syntax/csv.hpp"
#include "units/reduce.hpp"

namespace charpie::units {

namespace {

constexpr std::string_view atoms_file = "units/atoms.csv";
constexpr std::string_view prefixes_file = "units/prefixes.csv";

Error broken(std::string_view file, std::size_t line, std::string message) {
  return {Error::mapping_broken, std::move(message), std::string(file), line, 0, "mend the row"};
}

// Reads a plain or exponent decimal ("1.0576e-34") exactly. False when it is none, is zero, or does not fit
// 128 bits.
bool read_decimal(std::string_view text, Ratio& ratio) {
  std::string digits;
  std::int32_t exponent = 0;
  std::size_t at = 0;
  bool point = false;
  for (; at < text.size() && (text[at] == '.' || (text[at] >= '0' && text[at] <= '9')); ++at) {
    if (text[at] == '.') {
      if (point) return false;
      point = true;
      continue;
    }
    digits += text[at];
    if (point) --exponent;
  }
  if (at < text.size()) {
    if (text[at] != 'e') return false;
    std::int32_t written = 0;
    const char* end = text.data() + text.size();
    const auto read = std::from_chars(text.data() + at + 1, end, written);
    if (read.ec != std::errc{} || read.ptr != end) return false;
    exponent += written;
  }
  Wide whole = 0;
  for (const char c : digits) {
    if (!multiply(whole, 10)) return false;
    whole += static_cast<unsigned>(c - '0');
  }
  if (whole == 0) return false;
  ratio.twos += exponent;
  ratio.fives += exponent;
  return ratio.times_whole(whole);
}

bool read_function(std::string_view text, SpecialFunction& function) {
  if (text.empty()) return true;
  std::vector<std::string> words(1);
  for (const char c : text) {
    if (c == ' ') {
      words.emplace_back();
    } else {
      words.back() += c;
    }
  }
  static constexpr struct {
    std::string_view word;
    SpecialFunction::Kind kind;
    std::size_t arguments;
  } functions[] = {{"plus", SpecialFunction::plus, 1},
                   {"power", SpecialFunction::power, 2},
                   {"arctan", SpecialFunction::arctan, 1},
                   {"square", SpecialFunction::square, 0}};
  for (const auto& known : functions) {
    if (words[0] != known.word || words.size() != known.arguments + 1) continue;
    function.kind = known.kind;
    if (known.arguments > 0) function.argument = words[1];
    if (known.arguments < 2) return true;
    const auto& fraction = words[2];
    const auto slash = fraction.find('/');
    const char* end = fraction.data() + (slash == std::string::npos ? fraction.size() : slash);
    if (std::from_chars(fraction.data(), end, function.exponent_numerator).ptr != end) return false;
    if (slash == std::string::npos) return true;
    const char* last = fraction.data() + fraction.size();
    return std::from_chars(end + 1, last, function.exponent_denominator).ptr == last &&
           function.exponent_denominator > 0;
  }
  return false;
}

}  // namespace

Result<std::unique_ptr<const AtomTable>> AtomTable::load(const Tables& tables) {
  auto table = std::make_unique<AtomTable>();
  if (auto read = table->read_prefixes(tables); !read) return read.error();
  if (auto read = table->read_atoms(tables); !read) return read.error();
  return std::unique_ptr<const AtomTable>(std::move(table));
}

Outcome AtomTable::read_prefixes(const Tables& tables) {
  one_letter_.fill(-1);
  two_letters_.fill(-1);
  const auto* text = tables.find(prefixes_file);
  if (text == nullptr) return broken(prefixes_file, 0, "the table of prefixes is missing");
  auto csv = syntax::read_csv_table(*text, prefixes_file);
  if (!csv) return csv.error();
  for (const auto& row : csv->rows) {
    Prefix prefix;
    prefix.symbol = csv->cell(row, "symbol");
    prefix.ci = csv->cell(row, "ci");
    prefix.name = csv->cell(row, "name");
    Ratio ratio;
    if (!read_decimal(csv->cell(row, "value"), ratio) || ratio.numerator != 1 || ratio.denominator != 1) {
      return broken(prefixes_file, row.line, "a prefix is a product of twos and fives");
    }
    prefix.twos = ratio.twos;
    prefix.fives = ratio.fives;
    const auto first = prefix.symbol.empty() ? 128u : static_cast<unsigned char>(prefix.symbol[0]);
    if (prefix.symbol.size() > 2 || first >= 128) {
      return broken(prefixes_file, row.line, "a prefix has one or two ASCII letters");
    }
    auto& places = prefix.symbol.size() == 1 ? one_letter_ : two_letters_;
    if (places[first] >= 0)
      return broken(prefixes_file, row.line, "two prefixes of one length begin with the same letter");
    places[first] = static_cast<std::int16_t>(prefixes_.size());
    prefixes_.push_back(std::move(prefix));
  }
  return std::monostate{};
}

Outcome AtomTable::read_atoms(const Tables& tables) {
  const auto* text = tables.find(atoms_file);
  if (text == nullptr) return broken(atoms_file, 0, "the table of unit atoms is missing");
  auto csv = syntax::read_csv_table(*text, atoms_file);
  if (!csv) return csv.error();
  std::vector<std::size_t> columns;
  for (const auto name :
       {"symbol", "ci", "metric", "special", "arbitrary", "value", "unit", "letter", "kind", "name"}) {
    columns.push_back(csv->column(name));
    if (columns.back() == csv->none)
      return broken(atoms_file, 1, std::string("the column ") + name + " is missing");
  }
  if (csv->rows.size() > slot_count / 2) return broken(atoms_file, 0, "more unit atoms than the index holds");
  slots_.resize(slot_count);
  atoms_.reserve(csv->rows.size());
  std::vector<std::size_t> lines;
  for (auto& row : csv->rows) {
    auto cell = [&](std::size_t column) -> std::string& { return row.cells[columns[column]]; };
    Atom atom;
    atom.symbol = std::move(cell(0));
    if (atom.symbol.empty() || atom.symbol.size() > Symbol::longest) {
      return broken(atoms_file, row.line, "a unit symbol has 1 to 16 bytes");
    }
    atom.ci = std::move(cell(1));
    atom.metric = cell(2) == "yes";
    atom.arbitrary = cell(4) == "yes";
    if (!read_function(cell(3), atom.function))
      return broken(atoms_file, row.line, "unknown special function: " + cell(3));
    atom.value = std::move(cell(5));
    atom.unit = std::move(cell(6));
    atom.kind = std::move(cell(8));
    atom.name = std::move(cell(9));
    const auto& letter = cell(7);
    atom.base = !letter.empty();
    if (atom.base) {
      const auto place = Dimension::letters.find(letter);
      if (letter.size() != 1 || place == std::string_view::npos) {
        return broken(atoms_file, row.line, "unknown letter of a dimension: " + letter);
      }
      atom.unit_reduced.dimension.exponents[place] = 1;
    }
    const Symbol symbol(atom.symbol);
    if (find(symbol) != nullptr)
      return broken(atoms_file, row.line, "the symbol " + atom.symbol + " stands twice");
    std::size_t slot = symbol.hash() & slot_mask;
    while (slots_[slot].atom >= 0) slot = (slot + 1) & slot_mask;
    slots_[slot] = {symbol, static_cast<std::int32_t>(atoms_.size())};
    atoms_.push_back(std::move(atom));
    lines.push_back(row.line);
  }
  std::vector<char> state(atoms_.size(), 0);
  for (std::size_t i = 0; i < atoms_.size(); ++i) {
    if (auto resolved = resolve(i, state, lines); !resolved) return resolved.error();
  }
  return std::monostate{};
}

namespace {

// The atoms that a definition names, so that they are resolved before it.
struct Mentions {
  const Atom* first;
  std::vector<std::size_t> atoms;
  void component(const Component& found) {
    if (found.atom != nullptr) atoms.push_back(static_cast<std::size_t>(found.atom - first));
  }
  void open(bool) {}
  void close(std::string_view) {}
};

}  // namespace

// Depth first; state is 0 untouched, 1 on the way (meeting it again is a circle), 2 done.
Outcome AtomTable::resolve(std::size_t index, std::vector<char>& state,
                           const std::vector<std::size_t>& lines) {
  if (state[index] == 2) return std::monostate{};
  Atom& atom = atoms_[index];
  if (state[index] == 1)
    return broken(atoms_file, lines[index], "the definition of " + atom.symbol + " is circular");
  state[index] = 1;
  if (!atom.base) {
    Mentions mentions{atoms_.data(), {}};
    if (const Fault fault = parse(atom.unit, *this, mentions)) {
      return broken(atoms_file, lines[index],
                    "the defining unit of " + atom.symbol + ": " + describe(fault, atom.unit));
    }
    for (const auto mentioned : mentions.atoms) {
      if (auto resolved = resolve(mentioned, state, lines); !resolved) return resolved.error();
    }
    Unit unit;
    if (!reduce(atom.unit, *this, unit).fits || unit.special != nullptr) {
      return broken(atoms_file, lines[index],
                    "the definition of " + atom.symbol + " is special or does not fit 128 bits");
    }
    if (atom.value == "pi") {
      unit.factor.pis += 1;
    } else if (!read_decimal(atom.value, unit.factor)) {
      return broken(atoms_file, lines[index],
                    "the value of " + atom.symbol + " is no decimal that fits 128 bits");
    }
    unit.factor.reduce();
    if (atom.arbitrary && unit.arbitrary.count == 0) unit.arbitrary.add(static_cast<std::int32_t>(index), 1);
    atom.number = atom.kind == "number" && unit.factor.pis == 0;
    atom.unit_reduced = unit;
  }
  state[index] = 2;
  return std::monostate{};
}

void AtomTable::look_up_two_letters(Lookup& found, std::string_view text, Symbol rest) const {
  // The prefixes of two letters that begin alike would need a list; the table refuses such a pair when it is
  // read.
  const auto place = two_letters_[static_cast<unsigned char>(text[0])];
  if (prefixes_[static_cast<std::size_t>(place)].symbol[1] == text[1]) try_prefix(found, place, rest);
}

void AtomTable::look_up_long(Lookup& found, std::string_view text) const {
  for (std::size_t i = 0; i < prefixes_.size(); ++i) {
    const auto& symbol = prefixes_[i].symbol;
    if (!text.starts_with(symbol) || text.size() - symbol.size() > Symbol::longest) continue;
    if (try_prefix(found, static_cast<std::int32_t>(i), Symbol(text.substr(symbol.size())))) return;
  }
}

}  // namespace charpie::units
