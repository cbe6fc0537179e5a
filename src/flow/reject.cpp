#include "flow/reject.hpp"

#include <nettle/base64.h>

#include "base/escape.hpp"
#include "base/utf8.hpp"
#include "rules/report.hpp"
#include "syntax/json_write.hpp"

namespace charpie::flow {

namespace {

void append_base64(std::string_view bytes, std::string& out) {
  const auto at = out.size();
  out.resize(at + BASE64_ENCODE_RAW_LENGTH(bytes.size()));
  base64_encode_raw(out.data() + at, bytes.size(), reinterpret_cast<const std::uint8_t*>(bytes.data()));
}

// A line end stands outside strings in JSON (RFC 8259, 7), where a blank means the same.
void append_on_one_line(std::string_view json, std::string& out) {
  for (const char c : json) out += c == '\n' || c == '\r' ? ' ' : c;
}

}  // namespace

void append_reject(std::string_view bytes, bool is_json, std::span<const record::Finding> findings,
                   std::string& out) {
  if (is_json) {
    out += R"({"record":)";
    append_on_one_line(bytes, out);
  } else if (is_utf8(bytes)) {
    out += R"({"text":)";
    append_json_string(bytes, out);
  } else {
    out += R"({"base64":")";
    append_base64(bytes, out);
    out += '"';
  }
  out += R"(,"findings":[)";
  rules::Report report({rules::ReportForm::ndjson});
  for (std::size_t i = 0; i < findings.size(); ++i) {
    report.add(findings[i], out);
    out.back() = ',';  // was the end of a line
  }
  if (!findings.empty()) out.pop_back();
  out += "]}\n";
}

void append_unread(const mapping::Unread& unread, std::string_view file, std::size_t line,
                   std::string_view bytes, bool is_json, std::string& out) {
  out += R"({"file":)";
  append_json_string(file, out);
  out.append(R"(,"line":)").append(std::to_string(line));
  if (!unread.record_key.empty()) {
    out += R"(,"record":)";
    append_json_string(unread.record_key, out);
  }
  out += R"(,"path":)";
  append_json_string(unread.path, out);
  out += R"(,"value":)";
  if (is_json)
    append_on_one_line(bytes.substr(unread.node->begin, unread.node->end - unread.node->begin), out);
  else
    syntax::append_json(*unread.node, out);
  out += "}\n";
}

}  // namespace charpie::flow
