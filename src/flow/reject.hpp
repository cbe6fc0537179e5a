// What could not go on, given back as it came, with the reasons.
#pragma once
#include <span>
#include <string>
#include <string_view>

#include "mapping/read.hpp"
#include "record/finding.hpp"

namespace charpie::flow {

/// Appends one line (NDJSON) of the rejects file:
///   {"record": …, "findings": […]}   JSON as it came, token by token; line ends between tokens become blanks
///   {"text": "…", "findings": […]}   text that is no JSON
///   {"base64": "…", "findings": […]} bytes that are not even UTF-8
/// Findings stand there as --findings-as ndjson tells them. `is_json`: whether `bytes` were read as JSON.
void append_reject(std::string_view bytes, bool is_json, std::span<const record::Finding> findings,
                   std::string& out);

/// Appends {"file":…,"line":…,"record":…,"path":…,"value":…} and a line end: a part of an instance that no
/// template understood. `bytes` is what it was read from; a node of XML is given as the JSON that says the
/// same.
void append_unread(const mapping::Unread& unread, std::string_view file, std::size_t line,
                   std::string_view bytes, bool is_json, std::string& out);

}  // namespace charpie::flow
