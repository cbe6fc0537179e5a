// One wound visit record in memory: a tree of values shaped by the dictionary. Plain data in an arena; the
// texts are views into that arena or into the bytes the record was read from, which must outlive it.
#pragma once
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>

#include "base/arena.hpp"
#include "base/decimal.hpp"
#include "record/dictionary.hpp"

namespace charpie::record {

/// A code of some system: {system, code, display}. Empty view = not given.
struct Coding {
  std::string_view system, code, display;
};

/// A coded value in one of its four forms: a local word (with text and further codings, perhaps); a code of
/// another system; words only. `word` and `system`/`code` never stand together.
struct Code {
  std::string_view word;  // a word of mappings/codes/<domain>.csv
  Coding foreign;         // a code of another system, as it came
  std::string_view text;  // as charted
  const Coding* also = nullptr;
  std::uint32_t also_count = 0;
  bool has_foreign() const {
    return !foreign.code.empty() || !foreign.system.empty() || !foreign.display.empty();
  }
};

/// A quantity as charted. `value` and `unit` keep their text; either may be empty (a finding, then).
struct Quantity {
  std::string_view value;
  std::string_view unit;        // UCUM, case sensitive
  std::string_view comparator;  // < <= >= > or empty
  std::string_view estimated;   // "true", "false" or empty
  Decimal decimal() const { return Decimal(value); }
};

/// What stands in a field: a value, the answer "none", or why there is no value. A field that was not
/// mentioned has no Value at all: these are four different things everywhere.
enum class Form : std::uint8_t { leaf, group, list, none, absent };

struct Value {
  Form form = Form::leaf;
  Kind kind = Kind::text;              // of a leaf; for a field of kind `any` the kind it turned out to be
  std::uint32_t count = 0;             // group: slots; list: elements
  std::uint32_t offset = 0;            // where it began in the bytes it was read from, for messages
  std::string_view text{};             // leaf: the text, token or "true"/"false"; absent: the reason
  const Code* code = nullptr;          // kinds code, word (word only) and coding (foreign only)
  const Quantity* quantity = nullptr;  // kind quantity
  Value** children = nullptr;  // group: one pointer a slot, nullptr where not mentioned; list: the elements

  bool is_leaf() const { return form == Form::leaf; }
};

/// A whole record. `root` is a group shaped by FieldId::visit.
struct Record {
  Value* root = nullptr;
  std::string_view file{};   // where it came from, for messages
  std::uint32_t line = 0;    // line of its first byte
  std::string_view bytes{};  // the bytes it was read from: rejects are given back as they came
  std::string_view stand_in{};  // what findings call it when it has no id and is not alone

  /// The value at a field that is not inside a list, or nullptr: record.at(FieldId::size_length).
  const Value* at(FieldId id) const;
  /// The leaf text at a field that is not inside a list; empty when there is none. Codes give their word.
  std::string_view text(FieldId id) const;
  /// What findings call it: its id.
  std::string_view name() const;
};

/// The member of a group (nullptr group gives nullptr).
inline const Value* member(const Value* group, FieldId id) {
  return group == nullptr || group->form != Form::group ? nullptr : group->children[field(id).slot];
}

/// An empty group shaped by its field.
Value* make_group(Arena& arena, const Field& shape);
/// A leaf of that kind; the text is kept as a view.
Value* make_leaf(Arena& arena, Kind kind, std::string_view text);

/// Calls `use(path, field, value)` for every value below the record that is no group and no list, in the
/// order of the dictionary; path has list indexes: spaces[1].extent.
void visit_values(
    const Record& record,
    const std::function<void(const std::string& path, const Field& field, const Value& value)>& use);

/// Whether two records say the same, by token: same fields, same texts, same numbers digit by digit, same
/// order of lists. Calls `differ(path, a, b)` for each field that differs (either may be nullptr); path has
/// list indexes. Returns the number of differences.
class DifferenceSink {
 public:
  virtual ~DifferenceSink() = default;
  virtual void differ(std::string_view path, const Value* a, const Value* b) = 0;
};
std::size_t compare(const Record& a, const Record& b, DifferenceSink* sink);

}  // namespace charpie::record
