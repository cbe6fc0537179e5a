// FHIR resources as XML (R4 and R5, xml.html): a tree as the JSON reader gives is written as XML, and XML is
// read into such a tree. Order, arrays and the kind of each value come from the element tables, so there is
// no code for any resource.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "fhir/elements.hpp"
#include "syntax/tree.hpp"
#include "syntax/xml.hpp"

namespace charpie::fhir {

inline constexpr std::string_view xml_namespace = "http://hl7.org/fhir";
inline constexpr std::string_view xhtml_namespace = "http://www.w3.org/1999/xhtml";

/// Appends the resource as one XML document with its declaration, without insignificant white space.
///
/// Numbers keep their digits, the narrative's div its text; only a carriage return in it becomes what XML
/// makes of it (XML 1.0 section 2.11). The tree must have been read by `elements.names()`. `bytes`, when
/// given, is the text that the tree was read from: errors then have line and column.
///
/// Error::invalid, with nothing appended, for what XML cannot carry or the tables do not know where to put:
/// a member or resource type that is not in the tables, a value of another kind than its type's (XML would
/// not keep that), an empty object, array or value, a character that XML cannot hold, a narrative that is not
/// well-formed XHTML. Messages name the element, never the data.
Outcome to_xml(const syntax::Node& resource, const Elements& elements, std::string& out,
               std::string_view bytes = {});

/// Appends one element of an object's member: its value, what stands beside that (`companion`, of a
/// primitive), or both; of a list, one item. False for what to_xml() refuses; `out` then ends anywhere.
bool append_element(const syntax::Node* value, const syntax::Node* companion, const Member& member,
                    const Elements& elements, std::string& out);

/// Whether a narrative is well-formed for certain, as is seen at a glance: elements without attributes,
/// balanced, characters and references that every XML parser knows. (One that this program wrote is of that
/// kind, and the parser would take more time for it than the whole rest.)
bool is_plainly_xhtml(std::string_view div);

/// What was odd in an XML text and cannot be seen in the tree. (All else is in the tree, as odd as it was:
/// an unknown element as a member of its name, a value that is no number as a string, an element without
/// value as null or {}; strict reading of the tree tells.)
struct XmlOddity {
  enum Kind : std::uint8_t {
    out_of_order,       // the element stands after one that comes later in its type
    repeated,           // the element stands twice where it may once; the tree has an array
    unknown_attribute,  // left out of the tree
    stray_text,         // text between elements; left out of the tree
    foreign_namespace   // the element is not of FHIR's namespace; in the tree by its local name
  };
  Kind kind;
  std::uint32_t begin;  // offset in XmlResource::text
  std::string path;     // of the element concerned, by the tables: "Observation.code"
};

/// In words for a person, a row for each kind.
std::string_view words_of(XmlOddity::Kind kind);

struct XmlResource {
  syntax::Node* root = nullptr;  // as read_json gives: resourceType first, then in the order of the tables
  std::string_view text{};       // UTF-8; begin and end of nodes count in it
  std::vector<XmlOddity> oddities{};
};

/// Reads one FHIR XML document into the tree that the same instance in JSON would give: arrays by
/// cardinality, numbers and booleans by type, `_x` for id and extensions of a primitive, the div as the text
/// that stands there (with the declarations that it needs). Comments, instructions and schemaLocation are
/// left out.
///
/// The tree lives in `arena`; `bytes` must outlive it. Errors: those of syntax::read_xml; a root, a
/// contained resource or an entry that is not of a resource type in the tables, or not in FHIR's namespace.
Result<XmlResource> read_xml(std::string_view bytes, const Elements& elements, Arena& arena,
                             const syntax::XmlReading& how = {});

}  // namespace charpie::fhir
