#include "syntax/xml_write.hpp"

#include <algorithm>

#include "base/escape.hpp"
#include "base/utf8.hpp"

namespace charpie::syntax {

namespace {

enum class Place { text, attribute };

// What stands for a byte; empty when it stands for itself.
std::string_view replacement(char c, Place place) {
  switch (c) {
    case '&':
      return "&amp;";
    case '<':
      return "&lt;";
    case '>':
      return "&gt;";
    case '\r':
      return "&#xD;";
    default:
      break;
  }
  if (place == Place::text) return {};
  switch (c) {
    case '"':
      return "&quot;";
    case '\t':
      return "&#x9;";
    case '\n':
      return "&#xA;";
    default:
      return {};
  }
}

bool append(std::string_view text, Place place, std::string& out) {
  const std::size_t before = out.size();
  const char* at = text.data();
  const char* const end = at + text.size();
  bool checked = false;
  for (const char* from = at;;) {
    const char* stop = escaping::xml_plain_run(at, end);
    if (stop == end) {
      out.append(from, end);
      return true;
    }
    // Something beyond plain ASCII: whether XML can hold it is asked once for the whole text.
    if (!checked && static_cast<signed char>(*stop) < 0x20) {
      if (!is_xml_character_text(text)) {
        out.resize(before);
        return false;
      }
      checked = true;
    }
    const std::string_view instead = replacement(*stop, place);
    at = stop + 1;
    if (instead.empty()) continue;
    out.append(from, stop);
    out += instead;
    from = at;
  }
}

void append_name(std::string_view prefix, std::string_view name, std::string& out) {
  if (!prefix.empty()) {
    out += prefix;
    if (!name.empty()) out += ':';
  }
  out += name;
}

bool append_attribute(const XmlAttribute& attribute, std::string& out) {
  std::string name;
  if (attribute.space == xml_declarations) {
    append_name("xmlns", attribute.name_text, name);
  } else {
    append_name(attribute.prefix, attribute.name_text, name);
  }
  return write_xml_attribute(name, attribute.value, out);
}

}  // namespace

bool write_xml_text(std::string_view text, std::string& out) {
  return append(text, Place::text, out);
}

bool write_xml_attribute_value(std::string_view value, std::string& out) {
  return append(value, Place::attribute, out);
}

bool write_xml_attribute(std::string_view name, std::string_view value, std::string& out) {
  const std::size_t before = out.size();
  out += ' ';
  out += name;
  out += "=\"";
  if (!append(value, Place::attribute, out)) {
    out.resize(before);
    return false;
  }
  out += '"';
  return true;
}

bool write_xml_value(std::string_view name, std::string_view value, std::string& out) {
  constexpr std::string_view middle = " value=\"";
  constexpr std::string_view end = "\"/>";
  const std::size_t before = out.size();
  const bool plain =
      escaping::xml_plain_run(value.data(), value.data() + value.size()) == value.data() + value.size();
  if (plain) {
    // Nearly all values: one stretch of memory, filled.
    out.resize(before + 1 + name.size() + middle.size() + value.size() + end.size());
    char* to = out.data() + before;
    *to++ = '<';
    to = std::copy(name.begin(), name.end(), to);
    to = std::copy(middle.begin(), middle.end(), to);
    to = std::copy(value.begin(), value.end(), to);
    std::copy(end.begin(), end.end(), to);
    return true;
  }
  out += '<';
  out += name;
  out += middle;
  if (!append(value, Place::attribute, out)) {
    out.resize(before);
    return false;
  }
  out += end;
  return true;
}

bool write_xml(const XmlNode& node, std::string& out) {
  if (!node.is_element()) return write_xml_text(node.text, out);
  out += '<';
  append_name(node.prefix, node.name_text, out);
  for (const XmlAttribute* one = node.attributes; one != nullptr; one = one->next) {
    if (!append_attribute(*one, out)) return false;
  }
  if (node.first == nullptr) {
    out += "/>";
    return true;
  }
  out += '>';
  for (const XmlNode* child = node.first; child != nullptr; child = child->next) {
    if (!write_xml(*child, out)) return false;
  }
  out += "</";
  append_name(node.prefix, node.name_text, out);
  out += '>';
  return true;
}

}  // namespace charpie::syntax
