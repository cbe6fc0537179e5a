#include "record/write.hpp"

#include <string_view>

#include "base/escape.hpp"

namespace charpie::record {

namespace {

// Writes the members that are there, with commas between.
class Members {
 public:
  explicit Members(std::string& out) : out_(out) { out_ += '{'; }
  void end() { out_ += '}'; }
  std::string& name(std::string_view name) {
    if (more_) out_ += ',';
    more_ = true;
    out_ += '"';
    out_ += name;
    out_ += "\":";
    return out_;
  }
  void text(std::string_view name, std::string_view text) {
    if (!text.empty()) append_json_string(text, this->name(name));
  }
  void token(std::string_view name, std::string_view token) {
    if (!token.empty()) this->name(name) += token;
  }

 private:
  std::string& out_;
  bool more_ = false;
};

void coding(Members& members, const Coding& coding) {
  members.text("system", coding.system);
  members.text("code", coding.code);
  members.text("display", coding.display);
}

void code(const Field& shape, const Code& code, std::string& out) {
  // In a field of any kind a bare string is a text, so the word keeps its object there.
  const bool bare =
      !code.word.empty() && code.text.empty() && code.also_count == 0 && shape.kind != Kind::any;
  if (bare) return append_json_string(code.word, out);
  Members members(out);
  members.text("code", code.word);
  coding(members, code.foreign);
  members.text("text", code.text);
  if (code.also_count > 0) {
    members.name("also") += '[';
    for (std::uint32_t i = 0; i < code.also_count; ++i) {
      if (i > 0) out += ',';
      Members also(out);
      coding(also, code.also[i]);
      also.end();
    }
    out += ']';
  }
  members.end();
}

void leaf(const Field& shape, const Value& value, std::string& out) {
  if (value.quantity != nullptr) {
    Members members(out);
    members.token("value", value.quantity->value);
    members.text("unit", value.quantity->unit);
    members.text("comparator", value.quantity->comparator);
    members.token("estimated", value.quantity->estimated);
    return members.end();
  }
  if (value.code != nullptr) return code(shape, *value.code, out);
  switch (value.kind) {
    case Kind::count:
    case Kind::percent:
    case Kind::decimal:
    case Kind::flag:
    case Kind::clock:
      out += value.text;
      return;
    default:
      append_json_string(value.text, out);
  }
}

// What stands before a field's value: a comma, its name in quotes and a colon.
constexpr std::string_view openings[] = {
    "",
#define FIELD(token, parent, name, kind, argument, occurs, empties, meaning) ",\"" name "\":",
#include "record/dictionary.def"
#undef FIELD
};

void group(const Field& shape, const Value& value, std::string& out) {
  out += '{';
  std::size_t skip = 1;  // the first has no comma
  for (FieldId id = shape.first_member; id != FieldId::visit; id = field(id).next_sibling) {
    const Field& inner = field(id);
    const Value* there = value.children[inner.slot];
    if (there == nullptr) continue;
    out += openings[static_cast<std::size_t>(id)].substr(skip);
    skip = 0;
    write_value(inner, *there, out);
  }
  out += '}';
}

}  // namespace

void write_value(const Field& shape, const Value& value, std::string& out) {
  switch (value.form) {
    case Form::group:
      return group(shape, value, out);
    case Form::list:
      out += '[';
      for (std::uint32_t i = 0; i < value.count; ++i) {
        if (i > 0) out += ',';
        write_value(shape, *value.children[i], out);
      }
      out += ']';
      return;
    case Form::none:
      out += "\"none\"";
      return;
    case Form::absent:
      out += "{\"absent\":";
      append_json_string(value.text, out);
      out += '}';
      return;
    case Form::leaf:
      return leaf(shape, value, out);
  }
}

void write_record(const Record& record, std::string& out) {
  if (record.root != nullptr) write_value(field(FieldId::visit), *record.root, out);
}

}  // namespace charpie::record
