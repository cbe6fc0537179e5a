#include "mapping/notation.hpp"

#include "base/escape.hpp"
#include "base/utf8.hpp"
#include "syntax/xml_write.hpp"

namespace charpie::mapping {

namespace {

constexpr Frame frames[] = {
    {
        .separator = ",",
        .escape = Escape::json,
        .begin_bundle = R"({"resourceType":"Bundle","type":")",
        .begin_entries = R"(","entry":[)",
        .begin_entry = R"({"fullUrl":"urn:uuid:)",
        .begin_resource = R"(","resource":)",
        .end_resource = "",
        .end_entry = "},",
        .end_bundle = "]}",
        .begin_request = R"(,"request":{)",
        .begin_method = R"("method":")",
        .begin_url = R"("url":")",
        .begin_if_none_exist = R"("ifNoneExist":")",
        .end_request = "}",
        .begin_reference = R"("reference":")",
        .begin_type = R"("type":")",
        .begin_identifier = R"("identifier":{)",
        .end_identifier = "},",
        .begin_system = R"("system":")",
        .begin_code = R"("code":")",
        .begin_display = R"("display":")",
        .begin_value = R"("value":")",
        .end_text = "\",",
    },
    {
        .separator = "",
        .escape = Escape::attribute,
        .begin_bundle = R"(<Bundle xmlns="http://hl7.org/fhir"><type value=")",
        .begin_entries = R"("/>)",
        .begin_entry = R"(<entry><fullUrl value="urn:uuid:)",
        .begin_resource = R"("/><resource>)",
        .end_resource = "</resource>",
        .end_entry = "</entry>",
        .end_bundle = "</Bundle>",
        .begin_request = "<request>",
        .begin_method = R"(<method value=")",
        .begin_url = R"(<url value=")",
        .begin_if_none_exist = R"(<ifNoneExist value=")",
        .end_request = "</request>",
        .begin_reference = R"(<reference value=")",
        .begin_type = R"(<type value=")",
        .begin_identifier = "<identifier>",
        .end_identifier = "</identifier>",
        .begin_system = R"(<system value=")",
        .begin_code = R"(<code value=")",
        .begin_display = R"(<display value=")",
        .begin_value = R"(<value value=")",
        .end_text = R"("/>)",
    },
};

bool is_plain(std::string_view text) {
  const char* const end = text.data() + text.size();
  return escaping::xml_plain_run(text.data(), end) == end;
}

}  // namespace

const Frame& frame(Notation notation) {
  return frames[static_cast<std::size_t>(notation)];
}

bool append_escaped(Escape escape, std::string_view text, Appender& out) {
  switch (escape) {
    case Escape::json:
      append_json_escaped(text, out);
      return true;
    case Escape::attribute:
      if (!is_plain(text)) {
        std::string escaped;
        if (!syntax::write_xml_attribute_value(text, escaped)) return false;
        out += escaped;
        return true;
      }
      break;
    case Escape::xhtml:
      if (!is_plain(text) && !is_xml_character_text(text)) return false;
      break;
    case Escape::bare:
      if (!is_plain(text)) return false;
      break;
    case Escape::none:
      break;
  }
  out += text;
  return true;
}

}  // namespace charpie::mapping
