// HL7 version 2 messages in their encoding rules (ER7; HL7 2.5.1, chapter 2), read into a tree. Values are
// decoded, delimiters are the message's own.
//
// The shape is the same for every value, so that a template never has to choose:
//
//   {"segments": [
//     {"segment": "OBX",
//      "3": [{"1": "39125-0", "2": "Width", "3": "LN"}],
//      "5": [{"1": "4.0"}]}, …]}
//
//   segments      in the order of the message; MSH-1 and MSH-2 are fields like others
//   a field       "N": the list of its repetitions
//   a repetition  an object of its components, "N"; sub-components after the first are "N.M" beside it:
//                 `Smith&van^Ann` is {"1": "Smith", "1.2": "van", "2": "Ann"}
//   a value       a string; `""`, which asks the receiver to delete, is null; what is empty is not there
//
// A component without sub-components and the first sub-component are the same thing (HL7 2.5.1, 2.5.3.4: from
// memory).
#pragma once
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

/// MSH-1 and the characters of MSH-2; '\0' for one that the message does not have.
struct Er7Delimiters {
  char field = '|';
  char component = '^';
  char repetition = '~';
  char escape = '\\';
  char subcomponent = '&';
  char truncation = '\0';  // since version 2.7, '#'
  bool operator==(const Er7Delimiters&) const = default;
};

/// Fields of a segment, components of a field, sub-components of a component: numbers end here.
inline constexpr unsigned er7_most_parts = 9999;

/// What a message may not exceed.
struct Er7Limits {
  std::size_t message_bytes = 64u << 20;
  std::size_t value_bytes = 16u << 20;  // one value, escapes decoded; embedded documents need much
  std::size_t nodes = 2'000'000;        // of the tree
};

struct Er7Reading {
  Er7Limits limits{};
  /// The character set where MSH-18 names none: a name of HL7 table 0211 ("8859/1") or of iconv. Empty: ASCII
  /// and UTF-8 are taken.
  std::string_view charset{};
  /// Keeps delimiters at an end that say nothing, `PID|1||` or `A^^`, as an empty list or string under the
  /// last number, so that writing gives them back.
  bool keep_empty_ends = false;
};

/// What is odd in a message that could be read all the same.
enum class Er7Oddity : unsigned char {
  unknown_escape,      // kept as it stands there
  open_escape,         // an escape character that no other follows; kept
  bad_hex,             // \X…\ that is no text of the character set; kept
  undeclared_charset,  // not ASCII, and MSH-18 is empty: read as UTF-8
  other_version,       // MSH-12 is none of 2.3 to 2.8.2
  odd_segment_name,    // not a letter and two letters or digits; kept
  stray_continuation,  // ADD that continues nothing; kept
  unfinished,          // DSC says that the message goes on, and what continues it does not follow
  truncated,           // a value ends with the truncation character of MSH-2; kept
  deletion,            // "": the value is to be deleted (HL7 2.5.1, 2.5.3: from memory)
};

/// In words for a person: "an escape sequence is unknown and was kept as it stands".
std::string_view words_of(Er7Oddity oddity);

struct Er7Note {
  Er7Oddity kind;
  std::uint32_t begin;  // in Er7Document::text
};

/// A message and its tree; all of it lives in the arena.
struct Er7Document {
  Node* root = nullptr;
  /// The message in UTF-8, each segment end a '\n'. Node::begin and end count in it, delimiters of the value
  /// left out. Its lines are those of the bytes, so that position() in syntax/json.hpp gives a place.
  std::string_view text{};
  Er7Delimiters delimiters{};
  std::string_view version{};  // MSH-12.1
  std::string_view charset{};  // iconv's name of what the bytes were in
  std::span<const Er7Note> notes{};
};

/// Reads one message, from "MSH" to its last segment, as Er7Stream cuts it. Segments end with CR, LF or CRLF;
/// the last one need not end. Bytes of MLLP framing are passed over.
///
/// Escapes: \F\ \S\ \R\ \T\ \E\ \P\ and \Xdd…\ are decoded. Formatting (\.br\, \.sp3\, \H\, \N\), changes of
/// the character set (\Cxxyy\, \Mxxyyzz\) and local ones (\Zdd\) stay in the value as text, always between
/// backslashes. A backslash of the value that would make such a text by chance stays \E\, so that writing
/// knows them apart.
///
/// ADD within a message continues the segment before it. A message that ends with DSC is continued by the
/// next, when that stands behind it in `bytes` and its MSH-14 is DSC-1: its segments join; DSC, ADD and the
/// second MSH are not in the tree. (HL7 2.5.1, 2.10.2: from memory.)
///
/// Error::invalid with line and column: no MSH, delimiters that clash or cannot be such, an unknown character
/// set, bytes that are not of it, a continuation that does not fit, a limit passed. Messages never repeat the
/// data.
Result<Er7Document> read_er7(std::string_view bytes, Arena& arena, const Names& names,
                             const Er7Reading& how = {});

/// iconv's name for a character set of HL7 table 0211 (MSH-18), or empty for one that is not taken.
std::string_view er7_charset(std::string_view hl7_name);

/// The field of that number of a segment as written, or empty. MSH counts its delimiter as the first.
std::string_view er7_raw_field(std::string_view segment, unsigned number, char delimiter);

/// Length of the escape sequence at the front of a value of the tree that stands for itself there (formatting
/// and the like, "\\.br\\"), or 0.
std::size_t er7_kept_escape(std::string_view value);

/// Where in a message a place is, as ERR-2 says it; numbers are 0 where there is none. Occurrences and
/// repetitions count from 1.
struct Er7Location {
  std::string_view segment{};
  unsigned occurrence = 0, field = 0, repetition = 0, component = 0, subcomponent = 0;
};

/// The place of an offset in Er7Document::text. For findings: it walks the text. What ADD continues is a
/// place of the segment that it continues.
Er7Location er7_location(std::string_view text, std::uint32_t offset);

/// "OBX[2]-5[1].2"; what is not known is left out.
std::string words_of(const Er7Location& location);

}  // namespace charpie::syntax
