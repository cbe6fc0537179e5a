#include "record/read.hpp"

#include <algorithm>
#include <string>

#include "base/time.hpp"
#include "base/utf8.hpp"
#include "record/nearest.hpp"

namespace charpie::record {

using syntax::Node;
using syntax::NodeKind;

namespace {

constexpr FindingId nothing = FindingId::count;

std::string_view found(const Node& node) {
  switch (node.kind) {
    case NodeKind::object:
      return "an object";
    case NodeKind::array:
      return "a list";
    case NodeKind::string:
      return "a string";
    case NodeKind::number:
      return "a number";
    case NodeKind::boolean:
      return node.text;
    case NodeKind::null:
      return "null";
  }
  return "";
}

std::string_view expected(Kind kind) {
  switch (kind) {
    case Kind::key:
    case Kind::text:
      return "a text in quotes";
    case Kind::time:
      return "a time in quotes";
    case Kind::clocktime:
      return "a 24-hour time in quotes";
    case Kind::code:
      return "a word in quotes, or an object with code or text";
    case Kind::word:
      return "a word in quotes";
    case Kind::quantity:
      return "an object with value and unit";
    case Kind::count:
      return "a whole number";
    case Kind::percent:
    case Kind::decimal:
      return "a number";
    case Kind::flag:
      return "true or false";
    case Kind::clock:
      return "a whole number from 1 to 12";
    case Kind::coding:
      return "an object with system and code";
    case Kind::any:
      return "a quantity with its unit, a code, a whole number, true, false or a text";
    case Kind::group:
      return "an object";
  }
  return "";
}

// Letters, digits and signs of ASCII without a blank: good as a code, a system and a text.
bool is_plain_token(std::string_view text) {
  bool plain = !text.empty();
  for (const char c : text) plain &= c > 0x20 && c < 0x7F;
  return plain;
}

// FHIR's code: no blank at either end, single blanks inside (R4 datatypes, code). An address of a system has
// none.
bool is_code_token(std::string_view text) {
  bool after_blank = true;
  for (const char c : text) {
    const bool is_blank = c == ' ' || c == '\t' || c == '\r' || c == '\n';
    if (is_blank && (after_blank || c != ' ')) return false;
    after_blank = is_blank;
  }
  return !after_blank;
}

bool is_system(std::string_view text) {
  return !text.empty() && text.find_first_of(" \t\r\n") == text.npos;
}

// The first character that XML cannot carry, as U+0001.
std::string first_unfit_character(std::string_view text) {
  constexpr std::string_view digits = "0123456789ABCDEF";
  for (std::size_t at = 0; at < text.size();) {
    const char32_t c = next_code_point(text, at);
    if (is_xml_character(c)) continue;
    std::string name = "U+";
    for (int shift = 12; shift >= 0; shift -= 4) name += digits[c >> shift & 15];
    return name;
  }
  return {};
}

}  // namespace

RecordReader::RecordReader() {
  for (const Field& row : dictionary().subspan(1)) names_.add(row.name);
  name_ = {names_.add("absent"),     names_.add("code"),      names_.add("text"),  names_.add("also"),
           names_.add("system"),     names_.add("display"),   names_.add("value"), names_.add("unit"),
           names_.add("comparator"), names_.add("estimated"), names_.add("id")};
  std::uint32_t last = 0;
  for (const Field& row : dictionary().subspan(1)) last = std::max(last, names_.find(row.name));
  row_length_ = last + 1;
  for (const Field& group : dictionary()) {
    if (!group.is_group()) continue;
    row_of_[static_cast<std::size_t>(group.id)] = members_.size();
    members_.resize(members_.size() + row_length_);
    for (FieldId id = group.first_member; id != FieldId::visit; id = field(id).next_sibling) {
      members_[row_of_[static_cast<std::size_t>(group.id)] + names_.find(field(id).name)] =
          static_cast<std::uint16_t>(id);
      if (field(id).occurs == Occurs::required) {
        required_[static_cast<std::size_t>(group.id)] |= std::uint64_t{1} << field(id).slot;
      }
    }
  }
}

// Where the walk is: a chain on the stack, turned into a path only when something is to be reported.
struct Place {
  const Place* above = nullptr;
  std::string_view name{};  // a member of that name, or
  std::uint32_t index = 0;  // the element of that index when the name is empty

  std::string path() const {
    if (above == nullptr) return std::string(name);
    std::string text = above->path();
    if (name.empty()) return text + '[' + std::to_string(index) + ']';
    if (!text.empty()) text += '.';
    return text += identifier(name);
  }
  // A name as FHIRPath writes it (2.0.0, Identifiers): in backticks when it is no plain word.
  static std::string identifier(std::string_view name) {
    const auto is_plain = [](char c) {
      return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
    };
    bool plain = !(name.front() >= '0' && name.front() <= '9');
    std::string quoted = "`";
    for (const char c : name) {
      plain = plain && is_plain(c);
      if (c == '`' || c == '\\') quoted += '\\';
      quoted += c;
    }
    return plain ? std::string(name) : quoted + '`';
  }
  // The outermost name: which part of the record this is.
  std::string_view part() const {
    const Place* at = this;
    while (at->above != nullptr && at->above->above != nullptr) at = at->above;
    return at->name;
  }
};

// One walk over one record's tree.
class RecordWalk {
 public:
  RecordWalk(const RecordReader& reader, Arena& arena, Findings& findings)
      : reader_(reader), name_(reader.name_), arena_(arena), findings_(findings) {}

  Value* group(const Place& place, const Field& shape, const Node& node) {
    Value* value = make_group(arena_, shape);
    value->offset = node.begin;
    std::uint64_t seen = 0;
    bool any = false;
    for (const Node* child = node.first; child != nullptr; child = child->next) {
      const Place inside{&place, child->name_text};
      const Field* inner = reader_.member_of(shape, child->name);
      if (inner == nullptr) {
        const std::string hint = nearest_field(shape, child->name_text);
        report(FindingId::field_unknown, inside, *child, {child->name_text, hint});
        continue;
      }
      seen |= std::uint64_t{1} << inner->slot;
      Value* member = inner->is_list() ? list(inside, *inner, *child) : one(inside, *inner, *child, false);
      value->children[inner->slot] = member;
      any = any || member != nullptr;
    }
    if (node.first == nullptr) report(FindingId::field_empty, place, node, {"an empty object"});
    std::uint64_t missing = reader_.required_[static_cast<std::size_t>(shape.id)] & ~seen;
    if (shape.id == FieldId::performed) missing |= start_missing(*value, seen);
    if (missing != 0) {
      for (FieldId id = shape.first_member; id != FieldId::visit; id = field(id).next_sibling) {
        if ((missing >> field(id).slot & 1) != 0) {
          report(FindingId::field_missing, Place{&place, field(id).name}, node, {});
        }
      }
    }
    // A group of which nothing is left would be an empty object.
    return any || place.above == nullptr ? value : nullptr;
  }

 private:
  // When it began is needed unless nothing was done; an outcome that could not be read has its own finding.
  static std::uint64_t start_missing(const Value& performed, std::uint64_t seen) {
    const std::uint64_t bit = std::uint64_t{1} << field(FieldId::performed_start).slot;
    const Value* outcome = member(&performed, FieldId::performed_outcome);
    return outcome == nullptr || outcome->code->word == "not-done" || (seen & bit) != 0 ? 0 : bit;
  }

  Value* list(const Place& place, const Field& shape, const Node& node) {
    if (node.is_string() && node.text == "none") {
      if (!shape.may_be_none()) return fail(FindingId::none_not_allowed, place, node, {});
      return leafless(Form::none, node);
    }
    if (node.is_object() && node.member(name_.absent) != nullptr) return absent(place, shape, node, false);
    if (node.kind == NodeKind::null) return fail(FindingId::field_empty, place, node, {"null"});
    if (!node.is_array()) return fail(FindingId::field_kind, place, node, {"a list", found(node)});
    if (node.first == nullptr) return fail(FindingId::field_empty, place, node, {"an empty list"});
    Value* value = leafless(Form::list, node);
    value->children = arena_.make_row<Value*>(node.count);
    std::uint32_t index = 0;
    for (const Node* child = node.first; child != nullptr; child = child->next, ++index) {
      Value* element = one(Place{&place, {}, index}, shape, *child, true);
      if (element != nullptr) value->children[value->count++] = element;
    }
    return value->count > 0 ? value : nullptr;
  }

  // A value that is not a list: a member of a group, or an element.
  Value* one(const Place& place, const Field& shape, const Node& node, bool element) {
    switch (node.kind) {
      case NodeKind::null:
        return fail(FindingId::field_empty, place, node, {"null"});
      case NodeKind::array:
        return fail(FindingId::field_kind, place, node, {expected(shape.kind), found(node)});
      case NodeKind::object:
        if (node.member(name_.absent) != nullptr) return absent(place, shape, node, element);
        if (shape.kind != Kind::group && node.first == nullptr) {
          return fail(FindingId::field_empty, place, node, {"an empty object"});
        }
        break;
      default:
        break;
    }
    switch (shape.kind) {
      case Kind::group:
        return node.is_object() ? group(place, shape, node) : wrong_kind(place, shape, node);
      case Kind::key:
      case Kind::text:
      case Kind::time:
      case Kind::clocktime:
        return node.is_string() ? text(place, shape.kind, node) : wrong_kind(place, shape, node);
      case Kind::count:
      case Kind::percent:
      case Kind::decimal:
      case Kind::clock:
        return node.kind == NodeKind::number ? number(place, shape.kind, node)
                                             : wrong_kind(place, shape, node);
      case Kind::flag:
        return node.kind == NodeKind::boolean ? leaf(Kind::flag, node, node.text)
                                              : wrong_kind(place, shape, node);
      case Kind::word:
      case Kind::code: {
        if (!node.is_string() && (shape.kind == Kind::word || !node.is_object()))
          return wrong_kind(place, shape, node);
        Value* value = node.is_string() ? word(place, shape.kind, node) : code(place, node);
        // "none" answers for the whole list; among its elements it would contradict the others.
        if (value != nullptr && element && shape.may_be_none() && value->code->word == "none") {
          return fail(FindingId::none_not_allowed, place, node, {});
        }
        return value;
      }
      case Kind::quantity:
        return node.is_object() ? quantity(place, node) : wrong_kind(place, shape, node);
      case Kind::coding:
        return node.is_object() ? coding(place, node) : wrong_kind(place, shape, node);
      case Kind::any:
        return any(place, shape, node);
    }
    return nullptr;
  }

  Value* wrong_kind(const Place& place, const Field& shape, const Node& node) {
    // "none" is an answer, wrongly placed, where the field has no words of its own.
    if (node.is_string() && node.text == "none") return fail(FindingId::none_not_allowed, place, node, {});
    return fail(FindingId::field_kind, place, node, {expected(shape.kind), found(node)});
  }

  Value* absent(const Place& place, const Field& shape, const Node& node, bool element) {
    const Node& reason = *node.member(name_.absent);
    const Place inside{&place, reason.name_text};
    if (!shape.may_be_absent() || element) return fail(FindingId::absent_not_allowed, place, node, {});
    if (node.count > 1) return fail(FindingId::absent_form, place, node, {});
    if (!reason.is_string())
      return fail(FindingId::field_kind, inside, reason, {"a reason in quotes", found(reason)});
    const auto known = std::find(absent_reasons().begin(), absent_reasons().end(), reason.text);
    if (known == absent_reasons().end()) {
      std::string all;
      for (const auto each : absent_reasons()) all.append(all.empty() ? "" : " ").append(each);
      return fail(FindingId::absent_reason, inside, reason, {shown(inside, reason.text), all});
    }
    Value* value = leafless(Form::absent, node);
    value->kind = shape.kind;
    value->text = *known;
    return value;
  }

  Value* text(const Place& place, Kind kind, const Node& node) {
    return report_text(place, kind, node) ? leaf(kind, node, node.text) : nullptr;
  }

  // Reports what is wrong with a string of that kind; true when nothing is.
  bool report_text(const Place& place, Kind kind, const Node& node) {
    switch (leaf_fault(kind, node.text)) {
      case nothing:
        if (place.above->above == nullptr && place.name == "format" && node.text != "wound-visit/1") {
          report(FindingId::format_unknown, place, node, {shown(place, node.text)});
          return false;
        }
        return true;
      case FindingId::field_empty:
        report(FindingId::field_empty, place, node,
               {node.text.empty() ? "an empty string" : "a blank string"});
        return false;
      case FindingId::text_character:
        report(FindingId::text_character, place, node, {first_unfit_character(node.text)});
        return false;
      case FindingId::time_form:
        report(FindingId::time_form, place, node, {shown(place, node.text), parse_time(node.text).reason});
        return false;
      default:
        report(FindingId::clocktime_form, place, node, {shown(place, node.text)});
        return false;
    }
  }

  Value* number(const Place& place, Kind kind, const Node& node) {
    const FindingId fault = leaf_fault(kind, node.text);
    if (fault != nothing) return fail(fault, place, node, {shown(place, node.text)});
    return leaf(kind, node, node.text);
  }

  // --- codes
  // ---------------------------------------------------------------------------------------------------

  Value* word(const Place& place, Kind kind, const Node& node) {
    if (!token(place, node, is_code_token)) return nullptr;
    Code* code = arena_.make<Code>();
    code->word = node.text;
    return coded(kind, node, code);
  }

  Value* code(const Place& place, const Node& node) {
    Code* code = arena_.make<Code>();
    bool good = true;
    const Node* also = nullptr;
    Parts parts;
    for (const Node* child = node.first; child != nullptr; child = child->next) {
      if (child->name == name_.also) {
        also = child;
      } else if (child->name == name_.text) {
        good = string(Place{&place, child->name_text}, *child, code->text) && good;
      } else {
        good = part(place, *child, parts) && good;
      }
    }
    const bool foreign = parts.system != nullptr || parts.display != nullptr;
    if (foreign) {
      good = finish(place, node, parts, code->foreign) && good;
    } else if (parts.code != nullptr) {
      good = token(Place{&place, parts.code->name_text}, *parts.code, is_code_token) && good;
      code->word = parts.code->text;
    } else if (also != nullptr) {
      report(FindingId::field_missing, Place{&place, "code"}, node, {});
      good = false;
    }
    if (also != nullptr) good = others(Place{&place, also->name_text}, *also, *code) && good;
    return good ? coded(Kind::code, node, code) : nullptr;
  }

  Value* coding(const Place& place, const Node& node) {
    Code* code = arena_.make<Code>();
    return one_coding(place, node, code->foreign) ? coded(Kind::coding, node, code) : nullptr;
  }

  // Further codings that travelled beside the first.
  bool others(const Place& place, const Node& node, Code& code) {
    if (!node.is_array()) return fail(FindingId::field_kind, place, node, {"a list", found(node)});
    if (node.first == nullptr) return fail(FindingId::field_empty, place, node, {"an empty list"});
    Coding* row = arena_.make_row<Coding>(node.count);
    bool good = true;
    std::uint32_t index = 0;
    for (const Node* child = node.first; child != nullptr; child = child->next, ++index) {
      const Place inside{&place, {}, index};
      if (!child->is_object()) {
        report(FindingId::field_kind, inside, *child, {expected(Kind::coding), found(*child)});
        good = false;
      } else {
        good = one_coding(inside, *child, row[index]) && good;
      }
    }
    code.also = row;
    code.also_count = node.count;
    return good;
  }

  struct Parts {
    const Node* system = nullptr;
    const Node* code = nullptr;
    const Node* display = nullptr;
  };

  bool one_coding(const Place& place, const Node& node, Coding& coding) {
    Parts parts;
    bool good = true;
    for (const Node* child = node.first; child != nullptr; child = child->next)
      good = part(place, *child, parts) && good;
    return finish(place, node, parts, coding) && good;
  }

  bool part(const Place& place, const Node& child, Parts& parts) {
    const Node** known = child.name == name_.system    ? &parts.system
                         : child.name == name_.code    ? &parts.code
                         : child.name == name_.display ? &parts.display
                                                       : nullptr;
    if (known == nullptr) return unknown_part(place, child);
    *known = &child;
    return true;
  }

  bool finish(const Place& place, const Node& node, const Parts& parts, Coding& coding) {
    bool good = true;
    if (parts.system == nullptr) good = fail(FindingId::field_missing, Place{&place, "system"}, node, {});
    if (parts.code == nullptr) good = fail(FindingId::field_missing, Place{&place, "code"}, node, {});
    if (parts.system != nullptr) {
      good = token(Place{&place, parts.system->name_text}, *parts.system, is_system) && good;
      coding.system = parts.system->text;
    }
    if (parts.code != nullptr) {
      good = token(Place{&place, parts.code->name_text}, *parts.code, is_code_token) && good;
      coding.code = parts.code->text;
    }
    if (parts.display != nullptr) {
      good = string(Place{&place, parts.display->name_text}, *parts.display, coding.display) && good;
    }
    return good;
  }

  // --- quantities
  // ----------------------------------------------------------------------------------------------

  Value* quantity(const Place& place, const Node& node) {
    Quantity* quantity = arena_.make<Quantity>();
    bool good = true;
    const Node* unit = nullptr;
    const Node* number = nullptr;
    for (const Node* child = node.first; child != nullptr; child = child->next) {
      const Place inside{&place, child->name_text};
      if (child->name == name_.value) {
        number = child;
        good = expect(child->kind == NodeKind::number, inside, *child, "a number without quotes") && good;
        quantity->value = child->text;
      } else if (child->name == name_.unit) {
        unit = child;
        // An empty one is a missing one.
        if (!child->is_string() || !child->text.empty())
          good = string(inside, *child, quantity->unit) && good;
      } else if (child->name == name_.comparator) {
        good = comparator(inside, *child) && good;
        quantity->comparator = child->text;
      } else if (child->name == name_.estimated) {
        good = expect(child->kind == NodeKind::boolean, inside, *child, expected(Kind::flag)) && good;
        quantity->estimated = child->text;
      } else {
        good = unknown_part(place, *child);
      }
    }
    if (number == nullptr) good = fail(FindingId::field_missing, Place{&place, "value"}, node, {});
    if (unit == nullptr || (unit->is_string() && unit->text.empty())) {
      good = fail(FindingId::unit_missing, place, node, {shown(place, quantity->value)});
    }
    if (!good) return nullptr;
    Value* value = leaf(Kind::quantity, node, {});
    value->quantity = quantity;
    return value;
  }

  bool comparator(const Place& place, const Node& node) {
    // FHIR R4, QuantityComparator.
    for (const std::string_view known : {"<", "<=", ">=", ">"}) {
      if (node.is_string() && node.text == known) return true;
    }
    if (!node.is_string())
      return fail(FindingId::field_kind, place, node, {"a comparator in quotes", found(node)});
    return fail(FindingId::comparator_unknown, place, node, {shown(place, node.text)});
  }

  // --- a site's own finding
  // ------------------------------------------------------------------------------------

  Value* any(const Place& place, const Field& shape, const Node& node) {
    switch (node.kind) {
      case NodeKind::string:
        return text(place, Kind::text, node);
      case NodeKind::boolean:
        return leaf(Kind::flag, node, node.text);
      case NodeKind::number:
        if (node.text.find_first_not_of("0123456789") == node.text.npos)
          return number(place, Kind::count, node);
        return wrong_kind(place, shape, node);  // a measured number needs its unit
      default:
        break;
    }
    for (const auto name : {name_.value, name_.unit, name_.comparator, name_.estimated}) {
      if (node.member(name) != nullptr) return quantity(place, node);
    }
    return code(place, node);
  }

  // --- small things
  // --------------------------------------------------------------------------------------------

  // A string that is not empty and holds only characters that XML can carry.
  bool string(const Place& place, const Node& node, std::string_view& text) {
    if (node.kind == NodeKind::null) return fail(FindingId::field_empty, place, node, {"null"});
    if (!node.is_string())
      return fail(FindingId::field_kind, place, node, {expected(Kind::text), found(node)});
    text = node.text;
    return report_text(place, Kind::text, node);
  }

  bool token(const Place& place, const Node& node, bool (*is_good)(std::string_view)) {
    if (node.is_string() && is_plain_token(node.text)) return true;
    std::string_view text;
    if (!string(place, node, text)) return false;
    return is_good(text) || fail(FindingId::code_form, place, node, {shown(place, text)});
  }

  bool expect(bool is_so, const Place& place, const Node& node, std::string_view what) {
    return is_so || fail(FindingId::field_kind, place, node, {what, found(node)});
  }

  bool unknown_part(const Place& place, const Node& child) {
    const Place inside{&place, child.name_text};
    return fail(FindingId::field_unknown, inside, child, {child.name_text, ""});
  }

  Value* leaf(Kind kind, const Node& node, std::string_view text) {
    Value* value = make_leaf(arena_, kind, text);
    value->offset = node.begin;
    return value;
  }

  Value* coded(Kind kind, const Node& node, const Code* code) {
    Value* value = leaf(kind, node, {});
    value->code = code;
    return value;
  }

  Value* leafless(Form form, const Node& node) {
    Value* value = arena_.make<Value>();
    value->form = form;
    value->offset = node.begin;
    return value;
  }

  // What a message shows of a value: nothing of the patient, not too much of the others.
  static std::string_view shown(const Place& place, std::string_view text) {
    if (place.part() == "patient") return "…";
    constexpr std::size_t most = 60;
    if (text.size() <= most) return text;
    std::size_t end = most;
    while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
    return text.substr(0, end);
  }

  void report(FindingId id, const Place& place, const Node& node,
              std::initializer_list<std::string_view> values) {
    findings_.report(id, place.path(), node.begin, values);
  }

  // Reports and gives "no value", as a pointer or as false.
  struct Failed {
    operator Value*() const { return nullptr; }
    operator bool() const { return false; }
  };
  Failed fail(FindingId id, const Place& place, const Node& node,
              std::initializer_list<std::string_view> values) {
    report(id, place, node, values);
    return {};
  }

  const RecordReader& reader_;
  const decltype(RecordReader::name_)& name_;
  Arena& arena_;
  Findings& findings_;
};

Record RecordReader::read(const Node& node, std::string_view bytes, Arena& arena, Findings& findings) const {
  Record record;
  record.bytes = bytes;
  findings.set_record_key({});
  const Place root;
  if (!node.is_object()) {
    findings.report(FindingId::record_not_object, {}, node.begin, {found(node)});
    record.root = make_group(arena, field(FieldId::visit));
    return record;
  }
  if (const Node* id = node.member(name_.id); id != nullptr && id->is_string())
    findings.set_record_key(id->text);
  record.root = RecordWalk(*this, arena, findings).group(root, field(FieldId::visit), node);
  return record;
}

}  // namespace charpie::record
