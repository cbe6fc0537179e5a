#include "flow/acknowledge.hpp"

#include <algorithm>
#include <optional>
#include <set>
#include <tuple>
#include <vector>

#include "syntax/er7.hpp"
#include "syntax/er7_acknowledge.hpp"
#include "syntax/er7_write.hpp"
#include "syntax/json.hpp"

namespace charpie::flow {

using record::Finding;
using record::Severity;
using syntax::Er7Document;

namespace {

// HL7 table 0357 by what kind of issue it is; anything else is the table's last code.
struct IssueCode {
  std::string_view issue_type, code;
};
constexpr IssueCode issue_codes[] = {
    {"structure", "100"},    {"required", "101"},  {"value", "102"},
    {"code-invalid", "103"}, {"not-found", "204"}, {"duplicate", "205"},
};
constexpr std::string_view other_code = "207";

std::string_view code_of(const Finding& finding) {
  const auto type = record::finding_kind(finding.id).issue_type;
  const auto found = std::find_if(std::begin(issue_codes), std::end(issue_codes),
                                  [&](const IssueCode& one) { return one.issue_type == type; });
  return found == std::end(issue_codes) ? other_code : found->code;
}

syntax::Er7Severity severity_of(const Finding& finding) {
  if (finding.blocks) return syntax::Er7Severity::error;
  switch (finding.severity) {
    case Severity::information:
      return syntax::Er7Severity::information;
    case Severity::warning:
      return syntax::Er7Severity::warning;
    case Severity::error:
    case Severity::fatal:
      break;
  }
  return syntax::Er7Severity::error;
}

std::string in_ascii(std::string_view text) {
  std::string made;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x80) made += byte < ' ' ? ' ' : c;
    if (byte >= 0xC0) made += '?';  // one for each character
  }
  return made;
}

// The place of a finding, which counts lines of the input and characters of a line.
syntax::Er7Location location_of(const Finding& finding, std::string_view text, std::size_t first_line) {
  if (finding.line < first_line || finding.line == 0) return {};
  const auto at = syntax::offset_of(text, {finding.line - first_line + 1, finding.column});
  if (at == std::string_view::npos) return {};
  return syntax::er7_location(text, static_cast<std::uint32_t>(at));
}

}  // namespace

std::string acknowledging_time(const Time& instant) {
  constexpr std::size_t seconds_end = 19;  // of YYYY-MM-DDThh:mm:ss
  std::string made;
  for (const char c : instant.text.substr(0, seconds_end)) {
    if (c >= '0' && c <= '9') made += c;
  }
  const int offset = instant.offset_minutes;
  const int minutes = offset < 0 ? -offset : offset;
  made += offset < 0 ? '-' : '+';
  for (const int number : {minutes / 60, minutes % 60}) {
    made += static_cast<char>('0' + number / 10);
    made += static_cast<char>('0' + number % 10);
  }
  return made;
}

void append_acknowledgement(const syntax::JsonPiece& piece, bool was_read, std::span<const Finding> findings,
                            std::string_view charset, std::string_view time, std::string& out) {
  const std::string_view bytes = piece.bytes;
  if (!bytes.starts_with("MSH")) return;
  Arena arena;
  const syntax::Names names;
  const syntax::Er7Reading how{.limits = {}, .charset = charset};
  std::optional<Er7Document> message;
  // Of a message that is broken further on, the header tells whom to answer.
  for (const auto part : {bytes, bytes.substr(0, bytes.find_first_of("\r\n"))}) {
    if (message) break;
    if (auto read = syntax::read_er7(part, arena, names, how)) message = *read;
  }
  std::vector<syntax::Er7Complaint> complaints;
  std::set<std::tuple<record::FindingId, std::uint32_t, std::uint32_t, std::string_view>> told;
  for (const auto& one : findings) {
    // What stands around several wounds is told for each, and complained of once.
    if (!told.insert({one.id, one.line, one.column, one.message}).second) continue;
    const auto place = message ? location_of(one, message->text, piece.line) : syntax::Er7Location{};
    complaints.push_back({severity_of(one), code_of(one), arena.keep(in_ascii(one.message + "; " + one.mend)),
                          record::finding_kind(one.id).slug, place});
  }
  syntax::Er7Acknowledging answer;
  answer.rejected = !was_read;
  if (!time.empty()) {
    answer.time = time;
  } else if (message) {
    const auto* segments = message->root->member("segments");
    const auto* sent = segments->first->member("7");
    const auto* value = sent == nullptr || sent->first == nullptr ? nullptr : sent->first->member("1");
    if (value != nullptr) answer.time = value->text;
  }
  auto* tree = syntax::acknowledge_er7(message ? message->root : nullptr, complaints, answer, arena, names);
  syntax::Er7Writing writing;
  if (message) writing.delimiters = message->delimiters;
  writing.charset = charset;
  const auto begin = out.size();
  if (syntax::write_er7(*tree, out, writing)) return;
  // Delimiters that cannot escape, or a header that cannot be given back: the answer without its words.
  out.resize(begin);
  tree = syntax::acknowledge_er7(nullptr, {}, {.time = time, .control_id = {}, .rejected = answer.rejected},
                                 arena, names);
  if (!syntax::write_er7(*tree, out)) out.resize(begin);
}

}  // namespace charpie::flow
