#include "record/dictionary.hpp"

namespace charpie::record {

namespace {

constexpr std::size_t field_count = static_cast<std::size_t>(FieldId::count);
constexpr std::size_t index(FieldId id) {
  return static_cast<std::size_t>(id);
}

// The path of a field is its token with points: size_length is size.length. Kept apart because a view needs
// bytes.
struct PathText {
  std::array<char, 40> bytes{};
  std::size_t length = 0;
  constexpr PathText() = default;
  constexpr explicit PathText(std::string_view token) : length(token.size()) {
    for (std::size_t i = 0; i < token.size(); ++i) bytes[i] = token[i] == '_' ? '.' : token[i];
  }
  constexpr std::string_view view() const { return {bytes.data(), length}; }
};

constexpr std::array<PathText, field_count> path_texts = {
    PathText{},
#define FIELD(token, parent, name, kind, argument, occurs, empties, meaning) PathText{#token},
#include "record/dictionary.def"
#undef FIELD
};

constexpr std::array<Field, field_count> build() {
  std::array<Field, field_count> rows = {
      Field{FieldId::visit, FieldId::visit, "", "", Kind::group, "", Occurs::required, Empties::never,
            "one wound at one visit", 0, 0, FieldId::visit, FieldId::visit},
#define FIELD(token, parent, name, kind, argument, occurs, empties, meaning)                        \
  Field{FieldId::token,   FieldId::parent, name, "", Kind::kind,     argument,      Occurs::occurs, \
        Empties::empties, meaning,         0,    0,  FieldId::visit, FieldId::visit},
#include "record/dictionary.def"
#undef FIELD
  };
  std::array<FieldId, field_count> last_member{};
  for (std::size_t i = 1; i < rows.size(); ++i) {
    Field& row = rows[i];
    row.path = path_texts[i].view();
    Field& parent = rows[index(row.parent)];
    row.slot = parent.members++;
    if (row.slot == 0) {
      parent.first_member = row.id;
    } else {
      rows[index(last_member[index(row.parent)])].next_sibling = row.id;
    }
    last_member[index(row.parent)] = row.id;
  }
  return rows;
}

}  // namespace

constexpr std::array<Field, field_count> field_rows = build();

namespace {

constexpr bool parents_precede_members() {
  for (std::size_t i = 1; i < field_rows.size(); ++i) {
    if (index(field_rows[i].parent) >= i || !field_rows[index(field_rows[i].parent)].is_group()) return false;
  }
  return true;
}
static_assert(parents_precede_members(), "a group stands before its members");

constexpr bool tokens_spell_paths() {
  for (std::size_t i = 1; i < field_rows.size(); ++i) {
    const std::string_view path = field_rows[i].path, above = field_rows[index(field_rows[i].parent)].path;
    const std::size_t skip = above.empty() ? 0 : above.size() + 1;
    if (!path.starts_with(above) || path.size() != skip + field_rows[i].name.size() ||
        path.substr(skip) != field_rows[i].name) {
      return false;
    }
  }
  return true;
}
static_assert(tokens_spell_paths(), "a token is the parent's token, an underscore and the name");

constexpr bool names_differ_within_a_group() {
  for (std::size_t i = 1; i < field_rows.size(); ++i) {
    for (auto other = field_rows[i].next_sibling; other != FieldId::visit;
         other = field_rows[index(other)].next_sibling) {
      if (field_rows[index(other)].name == field_rows[i].name) return false;
    }
  }
  return true;
}
static_assert(names_differ_within_a_group(), "two members of a group have one name");

// The reader keeps one bit a member; {"absent": …} is told from a group by its only member.
constexpr bool groups_are_readable() {
  for (const Field& row : field_rows) {
    if (row.members > 64 || row.is_group() != (row.members > 0) || row.name == "absent") return false;
  }
  return true;
}
static_assert(groups_are_readable(), "a group has 1 to 64 members, none of them called absent");

constexpr bool arguments_fit_kinds() {
  for (const Field& row : field_rows) {
    const bool wants = row.kind == Kind::code || row.kind == Kind::word || row.kind == Kind::quantity;
    if (wants == row.argument.empty()) return false;
    if (row.may_be_none() && !row.is_list()) return false;
  }
  return true;
}
static_assert(arguments_fit_kinds(), "codes have a domain, quantities a dimension; only lists answer none");

}  // namespace

const Field* find_field(std::string_view path) {
  const Field* group = &field_rows[0];
  while (!path.empty()) {
    const std::size_t point = path.find('.');
    const Field* found = find_member(*group, path.substr(0, point));
    if (found == nullptr || point == path.npos) return found;
    group = found;
    path.remove_prefix(point + 1);
  }
  return nullptr;
}

const Field* find_member(const Field& group, std::string_view name) {
  for (auto id = group.first_member; id != FieldId::visit; id = field_rows[index(id)].next_sibling) {
    if (field_rows[index(id)].name == name) return &field_rows[index(id)];
  }
  return nullptr;
}

std::string_view kind_name(Kind kind) {
  switch (kind) {
    case Kind::key:
      return "key";
    case Kind::text:
      return "text";
    case Kind::time:
      return "time";
    case Kind::clocktime:
      return "clocktime";
    case Kind::code:
      return "code";
    case Kind::word:
      return "word";
    case Kind::quantity:
      return "quantity";
    case Kind::count:
      return "count";
    case Kind::percent:
      return "percent";
    case Kind::decimal:
      return "decimal";
    case Kind::flag:
      return "flag";
    case Kind::clock:
      return "clock";
    case Kind::coding:
      return "coding";
    case Kind::any:
      return "any";
    case Kind::group:
      return "group";
  }
  return "";
}

}  // namespace charpie::record
