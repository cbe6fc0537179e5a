// The dictionary of the wound visit record as data: which fields there are and what each may hold
// (dictionary.def).
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

namespace charpie::record {

/// One number a field, in dictionary order; `visit` is the record itself.
enum class FieldId : std::uint16_t {
  visit,
#define FIELD(token, parent, name, kind, argument, occurs, empties, meaning) token,
#include "record/dictionary.def"
#undef FIELD
  count
};

enum class Kind : std::uint8_t {
  key,
  text,
  time,
  clocktime,
  code,
  word,
  quantity,
  count,
  percent,
  decimal,
  flag,
  clock,
  coding,
  any,
  group
};
enum class Occurs : std::uint8_t { one, required, list };
enum class Empties : std::uint8_t { never, absent, none_or_absent };

/// One row of the dictionary.
struct Field {
  FieldId id;
  FieldId parent;
  std::string_view name;  // the member name in JSON
  std::string_view path;  // dotted, from the root: "size.length"; empty for the visit itself
  Kind kind;
  std::string_view argument;  // domain of a code, dimension of a quantity ("L|L2"), else empty
  Occurs occurs;
  Empties empties;
  std::string_view meaning;
  std::uint16_t slot;     // place among its parent's members
  std::uint16_t members;  // how many members a group has
  FieldId first_member;   // the first of them; `visit` when there is none
  FieldId next_sibling;   // `visit` when it is the last

  constexpr bool is_list() const { return occurs == Occurs::list; }
  constexpr bool is_group() const { return kind == Kind::group; }
  constexpr bool may_be_absent() const { return empties != Empties::never; }
  constexpr bool may_be_none() const { return empties == Empties::none_or_absent; }
};

/// All rows, indexed by FieldId.
extern const std::array<Field, static_cast<std::size_t>(FieldId::count)> field_rows;
inline std::span<const Field> dictionary() {
  return field_rows;
}
inline const Field& field(FieldId id) {
  return field_rows[static_cast<std::size_t>(id)];
}
/// The field of that dotted path ("size.length"), or nullptr.
const Field* find_field(std::string_view path);
/// The member of a group by its name, or nullptr.
const Field* find_member(const Field& group, std::string_view name);
std::string_view kind_name(Kind kind);

}  // namespace charpie::record
