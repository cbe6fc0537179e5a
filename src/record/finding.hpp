// A finding: something in the data that a person should know, with its place. Bad data is reported and the
// work goes on; only what stops the work is an Error (base/result.hpp). The list of findings is findings.def.
#pragma once
#include <cstdint>
#include <initializer_list>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "record/record.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::record {

enum class FindingId : std::uint16_t {
#define FINDING(token, slug, severity, blocks, issue_type, message, mend) token,
#include "record/findings.def"
#undef FINDING
  count
};

enum class Severity : std::uint8_t { information, warning, error, fatal };

/// One row of the list.
struct FindingKind {
  std::string_view slug;
  Severity severity;
  bool blocks;
  std::string_view issue_type;  // FHIR issue-type
  std::string_view message;     // with {} for the values seen
  std::string_view mend;
};

const FindingKind& finding_kind(FindingId id);
std::span<const FindingKind> finding_kinds();
/// The id of a slug, or FindingId::count.
FindingId find_finding(std::string_view slug);

/// A path without the places in lists: "spaces[1].extent" -> "spaces.extent". What is alike, whatever element
/// it is in.
std::string without_indexes(std::string_view path);

/// One finding in one place. Owns its texts; holds no patient identifier: `record_key` is the record's own
/// key.
struct Finding {
  FindingId id;
  Severity severity;
  bool blocks;
  std::string file;
  std::uint32_t line = 0;  // 1-based; 0 when unknown
  std::uint32_t column = 0;
  std::string record_key;
  std::string path;     // dotted field path with list indexes: spaces[1].extent, or FHIRPath in an instance
  std::string message;  // the values seen already in place
  std::string mend;
};

/// How a site judges a finding, in place of its row in the list.
struct Grade {
  Severity severity = Severity::error;
  bool blocks = false;
  bool reported = true;
};

/// Where findings go. Knows the record being worked on, so that whoever reports names only the path and the
/// values.
class Findings {
 public:
  /// From here on findings belong to this record. `bytes` are those that offsets count in; `first_line` is
  /// the line of their first byte, `first_column` its column. All texts must outlive the work on the record.
  void begin(std::string_view file, std::string_view record_key, std::string_view bytes,
             std::uint32_t first_line, std::uint32_t first_column = 1);
  /// From here on offsets are of bytes that were put together from these parts, which must outlive the work
  /// on them: a finding says the part's line and file. Empty: they stood together.
  void set_parts(std::span<const syntax::PiecePart> parts) { parts_ = parts; }
  void set_record_key(std::string_view key) { record_key_ = key; }
  /// Gives the key to the findings since `mark` (an earlier all().size()): of a record whose key was read
  /// later.
  void name_since(std::size_t mark, std::string_view key) {
    for (auto i = mark; i < found_.size(); ++i) found_[i].record_key = key;
  }
  /// Findings from here on are judged by these, one a finding kind; they must outlive this. Empty: by the
  /// list.
  void set_grades(std::span<const Grade> grades) { grades_ = grades; }
  /// The offset of a finding whose place is not known: line and column stay 0.
  static constexpr std::uint32_t no_place = 0xFFFFFFFF;
  /// Where a byte offset is: the lines and columns of a finding there.
  struct Position {
    std::string_view file;
    std::uint32_t line = 0, column = 0;
  };
  Position position(std::uint32_t offset);
  /// Reports one finding at a byte offset (lines and columns count from 1, columns in characters). `values`
  /// fill the {} of the message, then of the mend, in order.
  void report(FindingId id, std::string_view path, std::uint32_t offset,
              std::initializer_list<std::string_view> values);

  const std::vector<Finding>& all() const { return found_; }
  std::vector<Finding> take() { return std::exchange(found_, {}); }
  void clear() { found_.clear(); }
  /// Whether anything that blocks conversion was found since `mark` (an earlier all().size()).
  bool blocked_since(std::size_t mark) const;

 private:
  std::vector<Finding> found_;
  std::span<const Grade> grades_{};
  std::span<const syntax::PiecePart> parts_{};
  std::string_view file_, record_key_, bytes_;
  std::uint32_t first_line_ = 1, first_column_ = 1;
  // The last place worked out: a later one is counted from there, so that many findings cost one walk.
  std::uint32_t last_offset_ = 0, last_line_ = 1, last_column_ = 1;
};

}  // namespace charpie::record
