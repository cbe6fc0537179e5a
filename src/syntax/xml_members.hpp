// XML as a tree of members, for layouts that are not FHIR: an element is a member of its name, an attribute
// one with
// "@" in front, the text of an element that has attributes or elements is "#text". Both ways.
#pragma once
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "syntax/tree.hpp"
#include "syntax/xml.hpp"

namespace charpie::syntax {

/// What XML leaves open and somebody who knows the document says: whether an element may be repeated (then it
/// is a list even when it stands alone), and whether it is an object though it holds nothing but text.
struct Shape {
  bool is_list = false;
  bool is_object = false;
  std::map<std::string, Shape, std::less<>> members;  // of the object, or of the list's items
  const Shape* member(std::string_view name) const {
    const auto known = members.find(name);
    return known == members.end() ? nullptr : &known->second;
  }
};

/// Prefixes that member names use, and the namespaces they stand for; the empty prefix is the default
/// namespace of elements.
struct XmlSpace {
  std::string prefix, name;
};
using XmlSpaces = std::vector<XmlSpace>;

/// The content of an element as a Node tree in the arena. Places count in XmlDocument::text. Elements of the
/// same name become one list where the shape says so, or where they are several. Elements of a namespace that
/// is not declared keep their name as written. Namespace declarations are left out.
Node* members_of(const XmlNode& element, const Shape& shape, const XmlSpaces& spaces, Arena& arena,
                 const Names& names);

/// Appends the tree as an element of that name. Attributes come first, whatever the order; items of a list
/// become repeated elements. `declares`: the element declares the namespaces. Error::invalid for a character
/// that XML cannot hold or a name that is none; `out` then ends anywhere.
Outcome write_members(std::string_view name, const Node& node, const XmlSpaces& spaces, bool declares,
                      std::string& out);

/// ` xmlns:w="urn:…"` for each namespace.
Outcome write_spaces(const XmlSpaces& spaces, std::string& out);

}  // namespace charpie::syntax
