// Samples that are no tables, JSON and XML, as a draft looks at them (flow/draft.hpp): what stands at each
// place, over all documents of the sample.
#pragma once
#include <string>
#include <vector>

#include "base/result.hpp"
#include "flow/sample.hpp"
#include "syntax/xml_members.hpp"

namespace charpie::flow {

/// One place. Named as a template names it: an attribute with "@" in front, the text beside attributes
/// "#text".
struct SampleMember {
  std::string name;
  bool is_list = false;
  Cells cells;                        // what stands there, where that is no object
  std::vector<SampleMember> members;  // of the object, or of the list's objects, in the order they come
  bool is_object() const { return !members.empty(); }
};

struct SampleTree {
  bool is_xml = false;
  std::string root,
      element;  // of XML: around the documents, empty when a file is one; and the document's own
  syntax::XmlSpaces spaces;
  SampleMember top;
};

/// JSON objects one after another, or XML: one document, or a root around several that have one name.
/// Error::invalid with line and column, and the file.
Result<SampleTree> read_sample_tree(const SampleFile& file);

}  // namespace charpie::flow
