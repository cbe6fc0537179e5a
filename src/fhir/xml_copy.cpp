#include "fhir/xml_copy.hpp"

#include <algorithm>
#include <array>

#include "base/escape.hpp"
#include "fhir/forms.hpp"
#include "fhir/xml.hpp"
#include "syntax/xml_write.hpp"

namespace charpie::fhir {

namespace {

// Elements inside of each other: far more than a visit has.
constexpr unsigned deepest = 64;

// Elements that are kept, and the longest of them in bytes.
constexpr std::size_t places = 1024, longest_kept = 1024;

}  // namespace

XmlCopier::XmlCopier(const Elements& elements)
    : elements_(elements),
      element_(elements.shape("Element")),
      guesses_(elements.element_count() + elements.shapes().size()),
      kept_(places) {}

bool XmlCopier::copy(std::string_view json, std::string& out) {
  to_ = written_.data();
  limit_ = to_ + written_.size();
  at_ = json.data();
  end_ = at_ + json.size();
  depth_ = 0;
  if (!resource(true) || at_ != end_) return false;
  out.append(written_.data(), to_);
  return true;
}

void XmlCopier::make_room(std::size_t size) {
  const auto had = written();
  written_.resize(2 * written_.size() + size);
  to_ = written_.data() + had;
  limit_ = written_.data() + written_.size();
}

bool XmlCopier::take(std::string_view text) {
  if (!std::string_view(at_, static_cast<std::size_t>(end_ - at_)).starts_with(text)) return false;
  at_ += text.size();
  return true;
}

bool XmlCopier::resource(bool root) {
  Text name;
  if (!take("{\"resourceType\":") || !string(name) || !take(',')) return false;
  const Shape* shape = elements_.type(name.text);
  if (shape == nullptr || shape->kind != Kind::resource || shape->abstract) return false;
  put("<");
  put(shape->path);
  if (root) put(std::string(" xmlns=\"").append(xml_namespace) + '"');
  return members(*shape, std::string("</").append(shape->path) + '>', true);
}

// Up to the brace that closes the object; then the end tag of the element, whose start tag is begun.
bool XmlCopier::members(const Shape& shape, std::string_view close, bool attributes) {
  std::array<Child, most_elements> children;
  std::size_t count = 0;
  bool in_order = true;
  std::uint64_t seen = 0;
  std::uint32_t from = elements_.element_count() + shape.number;
  if (++depth_ > deepest) return false;
  do {
    const Known* known = member(shape, from);
    if (known == nullptr) return false;
    const Element& element = *known->element;
    const std::uint64_t bit = std::uint64_t{1} << element.order;
    if ((seen & bit) != 0) return false;
    from = element.number;
    if (element.attribute) {
      // Attributes are all before the children, and in their order.
      if (count != 0 || !attributes || seen > bit || !attribute(*known)) return false;
    } else {
      if (count == 0) put(">");
      in_order = in_order && (count == 0 || children[count - 1].order < element.order);
      children[count++] = {written(), 0, element.order};
      if (!value(*known)) return false;
    }
    seen |= bit;
  } while (take(','));
  if (!take('}')) return false;
  --depth_;
  if (!in_order) sort({children.data(), count});
  if (count == 0)
    put("/>");
  else
    put(close);
  return true;
}

// Puts the children, which end the output, into the order of the tables.
void XmlCopier::sort(std::span<Child> children) {
  const auto begin = children.front().begin;
  for (std::size_t i = 0; i < children.size(); ++i)
    children[i].end = i + 1 < children.size() ? children[i + 1].begin : written();
  std::sort(children.begin(), children.end(),
            [](const Child& a, const Child& b) { return a.order < b.order; });
  sorted_.clear();
  for (const auto& child : children) sorted_.append(written_, child.begin, child.end - child.begin);
  std::memcpy(written_.data() + begin, sorted_.data(), sorted_.size());
}

// The member whose name comes next, with its colon. What follows an element is nearly always the same.
const XmlCopier::Known* XmlCopier::member(const Shape& shape, std::uint32_t from) {
  const Known*& guess = guesses_[from];
  if (guess != nullptr && guess->shape == &shape && take(guess->key)) return guess;
  Text text;
  if (!string(text) || !take(':')) return nullptr;
  const Member* member = shape.member(elements_.names().find(text.text));
  if (member == nullptr) return nullptr;
  Known& known = known_[member];
  if (known.element == nullptr) {
    auto name = text.text;
    known.key.append("\"").append(name).append("\":");
    if (member->companion) name.remove_prefix(1);
    known.shape = &shape;
    known.element = member->element;
    known.type = member->type->shape;
    known.kind = json_kind(known.type->primitive);
    known.companion = member->companion;
    known.is_resource = holds_resource(*member->type);
    known.name_size = name.size();
    known.tags.append("</").append(name).append("><").append(name).append(" value=\"");
  }
  guess = &known;
  return guess;
}

bool XmlCopier::attribute(const Known& known) {
  Text text;
  return string(text) && !text.text.empty() && put_attribute(known.name(), text.text);
}

bool XmlCopier::put_attribute(std::string_view name, std::string_view value) {
  odd_.clear();
  if (!syntax::write_xml_attribute(name, value, odd_)) return false;
  put(odd_);
  return true;
}

bool XmlCopier::value(const Known& known) {
  if (!known.element->repeats()) return one(known);
  if (known.companion || !take('[')) return false;
  do {
    if (!one(known)) return false;
  } while (take(','));
  return take(']');
}

bool XmlCopier::one(const Known& known) {
  if (known.companion) {
    put(known.open());
    return take('{') && members(*element_, known.close(), true);
  }
  const Primitive type = known.type->primitive;
  if (type == Primitive::xhtml) return narrative();
  if (type != Primitive::none) return primitive(known);
  if (!known.is_resource) return object(known);
  put(known.open());
  put(">");
  if (!resource(false)) return false;
  put(known.close());
  return true;
}

// Where an object that begins like this one would be kept, by its first bytes; nullptr: it is too short.
XmlCopier::Kept* XmlCopier::place_of(const Known& known) {
  constexpr std::size_t looked_at = 64;
  if (static_cast<std::size_t>(end_ - at_) < looked_at) return nullptr;
  std::uint64_t hash = known.element->number;
  for (std::size_t i = 0; i < looked_at; i += sizeof(std::uint64_t)) {
    std::uint64_t word;
    std::memcpy(&word, at_ + i, sizeof word);
    hash = (hash ^ word) * 0x9E3779B97F4A7C15u;  // 2^64 divided by the golden ratio
    hash ^= hash >> 32;
  }
  Kept& kept = kept_[hash % kept_.size()];
  if (kept.met == hash) return &kept;
  kept.met = hash;
  // Not the second time in a row: worth a look, not worth being kept.
  return kept.known == &known ? &kept : nullptr;
}

bool XmlCopier::object(const Known& known) {
  const std::string_view rest(at_, static_cast<std::size_t>(end_ - at_));
  Kept* const kept = place_of(known);
  if (kept != nullptr && kept->known == &known && rest.starts_with(kept->json)) {
    put(kept->xml);
    at_ += kept->json.size();
    return true;
  }
  const auto begin = written();
  put(known.open());
  if (!take('{') || !members(*known.type, known.close(), true)) return false;
  const auto size = static_cast<std::size_t>(at_ - rest.data());
  if (kept == nullptr || size > longest_kept) return true;
  kept->known = &known;
  kept->json.assign(rest.data(), size);
  kept->xml.assign(written_, begin, written() - begin);
  return true;
}

bool XmlCopier::primitive(const Known& known) {
  Text text;
  if (!scalar(known.kind, text) || text.text.empty()) return false;
  if (is_followed_by_companion(known)) {
    put(known.open());
    if (!put_attribute("value", text.text)) return false;
    at_ += std::string_view(",\"_\":").size() + known.name_size;
    // Its id would have to stand before the value.
    return take('{') && members(*element_, known.close(), false);
  }
  if (text.plain) {
    put(known.open_value());
    put(text.text);
    put("\"/>");
    return true;
  }
  odd_.clear();
  if (!syntax::write_xml_value(known.name(), text.text, odd_)) return false;
  put(odd_);
  return true;
}

// ,"_name":
bool XmlCopier::is_followed_by_companion(const Known& known) const {
  std::string_view rest(at_, static_cast<std::size_t>(end_ - at_));
  if (!rest.starts_with(",\"_")) return false;
  rest.remove_prefix(3);
  return rest.starts_with(known.name()) && rest.substr(known.name_size).starts_with("\":");
}

bool XmlCopier::narrative() {
  Text text;
  if (!string(text) || !is_plainly_xhtml(text.text)) return false;
  put(text.text);
  return true;
}

bool XmlCopier::scalar(syntax::NodeKind kind, Text& text) {
  if (kind == syntax::NodeKind::string) return string(text);
  const char* const from = at_;
  while (at_ != end_ && *at_ != ',' && *at_ != '}' && *at_ != ']') ++at_;
  const std::string_view token(from, static_cast<std::size_t>(at_ - from));
  text = {token, true};
  if (kind == syntax::NodeKind::boolean) return token == "true" || token == "false";
  return !token.empty() && std::all_of(token.begin(), token.end(), [](char c) {
    return (c >= '0' && c <= '9') || c == '-' || c == '+' || c == '.' || c == 'e' || c == 'E';
  });
}

bool XmlCopier::string(Text& text) {
  if (!take('"')) return false;
  const char* from = at_;
  at_ = escaping::xml_plain_run(from, end_);
  if (at_ == end_) return false;
  if (*at_ == '"') {
    text = {{from, static_cast<std::size_t>(at_ - from)}, true};
    ++at_;
    return true;
  }
  scratch_.clear();
  while (true) {
    at_ = escaping::json_plain_run(at_, end_);
    scratch_.append(from, at_);
    if (at_ == end_) return false;
    if (*at_ == '"') break;
    if (*at_++ != '\\' || at_ == end_) return false;
    // \u stands in our text for control characters only, which XML has no place for.
    constexpr std::string_view escapes = "\"\"\\\\//n\nr\rt\t";
    const auto found = escapes.find(*at_);
    if (found == std::string_view::npos || found % 2 != 0) return false;
    scratch_ += escapes[found + 1];
    from = ++at_;
  }
  ++at_;
  text = {scratch_, false};
  return true;
}

}  // namespace charpie::fhir
