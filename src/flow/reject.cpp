#include "flow/reject.hpp"

#include <nettle/base64.h>

#include <array>

#include "base/escape.hpp"
#include "base/utf8.hpp"

namespace charpie::flow {

namespace {

void append_base64(std::string_view bytes, std::string& out) {
  const auto at = out.size();
  out.resize(at + BASE64_ENCODE_RAW_LENGTH(bytes.size()));
  base64_encode_raw(out.data() + at, bytes.size(), reinterpret_cast<const std::uint8_t*>(bytes.data()));
}

}  // namespace

std::string_view severity_name(record::Severity severity) {
  static constexpr std::array<std::string_view, 4> names = {"information", "warning", "error", "fatal"};
  return names[static_cast<std::size_t>(severity)];
}

void append_finding(const record::Finding& finding, std::string& out) {
  const auto text = [&](std::string_view name, std::string_view value) {
    if (value.empty()) return;
    out += ",\"";
    out += name;
    out += "\":";
    append_json_string(value, out);
  };
  const auto number = [&](std::string_view name, std::uint32_t value) {
    if (value == 0) return;
    out += ",\"";
    out += name;
    out += "\":";
    out += std::to_string(value);
  };
  out += R"({"severity":")";
  out += severity_name(finding.severity);
  out += '"';
  text("slug", record::finding_kind(finding.id).slug);
  out += finding.blocks ? R"(,"blocks":true)" : R"(,"blocks":false)";
  text("file", finding.file);
  number("line", finding.line);
  number("column", finding.column);
  text("record", finding.record_key);
  text("path", finding.path);
  text("message", finding.message);
  text("mend", finding.mend);
  out += '}';
}

void append_reject(std::string_view bytes, bool is_json, std::span<const record::Finding> findings, std::string& out) {
  if (is_json) {
    out += R"({"record":)";
    // A line end stands outside strings in JSON (RFC 8259, 7), where a blank means the same.
    for (const char c : bytes) out += c == '\n' || c == '\r' ? ' ' : c;
  } else if (is_utf8(bytes)) {
    out += R"({"text":)";
    append_json_string(bytes, out);
  } else {
    out += R"({"base64":")";
    append_base64(bytes, out);
    out += '"';
  }
  out += R"(,"findings":[)";
  for (std::size_t i = 0; i < findings.size(); ++i) {
    if (i != 0) out += ',';
    append_finding(findings[i], out);
  }
  out += "]}\n";
}

}  // namespace charpie::flow
