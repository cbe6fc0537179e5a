// Trees of the shape of syntax/er7.hpp written out as HL7 version 2 messages.
#pragma once
#include <string>
#include <string_view>

#include "base/result.hpp"
#include "syntax/er7.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

struct Er7Writing {
  Er7Delimiters delimiters{};  // go to MSH-1 and MSH-2, whatever the tree says there
  std::string_view charset{};  // where MSH-18 names none; empty: UTF-8
  std::string_view segment_end = "\r";
  bool framed = false;  // in the bytes of MLLP: 0x0B … 0x1C 0x0D
};

/// Appends the message. Members may stand in any order; numbers that are missing are empty fields. Values are
/// strings, numbers and booleans by their text, or null (`""`). With the message's own delimiters and
/// Er7Reading::keep_empty_ends, write_er7(read_er7(m)) is m, for messages that escape no more than they must.
///
/// Error::invalid, and nothing appended: a tree of another shape, no MSH, a character that MSH-18 has not, a
/// value that needs a delimiter or an escape which `delimiters` has not. `Error::message` names the place.
Outcome write_er7(const Node& message, std::string& out, const Er7Writing& how = {});

}  // namespace charpie::syntax
