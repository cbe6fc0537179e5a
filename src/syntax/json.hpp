// JSON (RFC 8259), read strictly into a tree. Numbers stay text. Bytes are tokenised by RapidJSON.
#pragma once
#include <cstddef>
#include <string_view>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

/// What a document may not exceed. A FHIR string holds 1 MiB at most (R4, datatype string); base64 may need
/// more.
struct JsonLimits {
  static constexpr std::size_t deepest = 1000;  // no larger depth is granted: the parser calls itself
  std::size_t depth = 64;                       // nested objects and arrays
  std::size_t string_bytes = 1024 * 1024;       // one decoded string or name
  std::size_t document_bytes = 64u << 20;       // the whole text; never more than 4 GiB, offsets are 32 bits
  // Values of one text; the tree takes 80 bytes for each. A longer text may hold one for every 32 bytes, as
  // FHIR's do (a Bundle of ours has one for 45), so that a short hostile one stays small and a long honest
  // one is read.
  std::size_t values = 250'000;
  std::size_t bytes_a_value = 32;
};

/// Line and column, 1-based; the column counts characters, not bytes.
struct TextPosition {
  std::size_t line = 1;
  std::size_t column = 1;
};

/// The place of a byte offset in a text. Costs a walk over the text: for messages.
TextPosition position(std::string_view text, std::size_t offset);
/// The way back: the byte offset of a place; npos when the text has no such line. A column beyond its line is
/// its end.
std::size_t offset_of(std::string_view text, const TextPosition& place);

/// Reads one JSON value and nothing after it but white space. A byte-order mark in front is accepted.
///
/// The tree lives in `arena`. Strings and names without escapes are views into `bytes`, as are all numbers:
/// `bytes` must outlive the tree. Node::begin is the offset of the value's first byte (the quote of a string,
/// the brace of an object), Node::end one past its last; both count from bytes.data(), byte-order mark
/// included.
///
/// Error::invalid with line and column for whatever RFC 8259 refuses, and for: a member name twice in one
/// object, invalid UTF-8, half of a surrogate pair, a limit passed, a number beyond the largest double
/// (RapidJSON's bound, about 1.8e308; smaller ones are kept as text whatever their digits).
/// Messages never repeat the data.
Result<Node*> read_json(std::string_view bytes, Arena& arena, const Names& names,
                        const JsonLimits& limits = {});

}  // namespace charpie::syntax
