// The two notations that FHIR instances are written in: JSON, and XML (R4 and R5, xml.html). What they spell
// otherwise is a row of bytes for each; the writer is one.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>

#include "base/appender.hpp"

namespace charpie::mapping {

enum class Notation : std::uint8_t { json, xml };

/// How a text is put into the output.
enum class Escape : std::uint8_t {
  none,       // as it is: numbers, booleans
  json,       // inside a JSON string
  attribute,  // inside an attribute of XML, which is where FHIR has its values
  xhtml,      // in the narrative, which stands in XML as it is: escaped already
  bare        // in the narrative, not escaped: only what asks for no escape
};

/// Appends the text. False, with nothing appended, when the notation cannot hold one of its characters.
bool append_escaped(Escape escape, std::string_view text, Appender& out);

/// What is spelled by no template: the Bundle around the instances, how they are loaded, references and
/// labels. Each `begin_` opens a text or an element.
struct Frame {
  std::string_view separator;  // behind each member or item; the last one gives way to what closes the rest
  Escape escape;               // of texts
  std::string_view begin_bundle, begin_entries;  // the Bundle's type stands between them
  std::string_view begin_entry, begin_resource, end_resource, end_entry,
      end_bundle;  // fullUrl before resource
  std::string_view begin_request, begin_method, begin_url, begin_if_none_exist, end_request;
  std::string_view begin_reference, begin_type, begin_identifier, end_identifier;
  std::string_view begin_system, begin_code, begin_display, begin_value;
  std::string_view end_text;  // of each of those that are texts
};

const Frame& frame(Notation notation);

}  // namespace charpie::mapping
