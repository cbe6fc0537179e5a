// Text, attributes and trees written as XML 1.0, always UTF-8. Characters that XML cannot hold are refused.
#pragma once
#include <string>
#include <string_view>

#include "syntax/xml.hpp"

namespace charpie::syntax {

inline constexpr std::string_view xml_declaration = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";

/// Appends character data: '&', '<', '>' and carriage returns as references (XML 1.0 sections 2.4, 2.11), so
/// that reading gives the text again. False, with nothing appended, when the text is not UTF-8 or has a
/// character that XML 1.0 cannot hold (production 2), not even as a reference.
bool write_xml_text(std::string_view text, std::string& out);

/// Appends what stands between the quotes of an attribute. As write_xml_attribute.
bool write_xml_attribute_value(std::string_view value, std::string& out);

/// Appends ` name="value"`; also quotes, tabs and line ends are references (section 3.3.3). `name` must be a
/// qualified name. False, with nothing appended, as for write_xml_text.
bool write_xml_attribute(std::string_view name, std::string_view value, std::string& out);

/// Appends `<name value="…"/>`, an element that has one attribute and nothing in it. As write_xml_attribute.
bool write_xml_value(std::string_view name, std::string_view value, std::string& out);

/// Appends the element with everything in it, prefixes and namespace declarations as they are in the tree: no
/// declaration is invented. False when a value cannot be written; `out` then ends anywhere.
bool write_xml(const XmlNode& node, std::string& out);

}  // namespace charpie::syntax
