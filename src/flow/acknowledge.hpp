// The answers to HL7 version 2 messages: one ACK a message, from what was found in it.
#pragma once
#include <span>
#include <string>
#include <string_view>

#include "base/arena.hpp"
#include "base/time.hpp"
#include "record/finding.hpp"
#include "syntax/json_stream.hpp"
#include "syntax/tree.hpp"

namespace charpie::flow {

/// The time of an answer, MSH-7: YYYYMMDDHHMMSS+ZZZZ of an instant, which is known to the second.
std::string acknowledging_time(const Time& instant);

/// Appends the answer to one piece of the input, ending with CR: MSH and MSA, and an ERR for each finding
/// (HL7 2.5.1, 2.14 and 2.15: from memory). MSA-1 is AR when the piece could not be read, AE when a finding
/// is an error or blocks, else AA. What belongs to no message (the end of a batch, stray lines) has no
/// answer. `charset`: where MSH-18 names none. `time` is MSH-7; empty: the message's own, as there is no
/// clock here. Texts are those of the findings, in ASCII, which every character set of MSH-18 has; ERR-7 is
/// the finding's slug.
void append_acknowledgement(const syntax::JsonPiece& piece, bool was_read,
                            std::span<const record::Finding> findings, std::string_view charset,
                            std::string_view time, std::string& out);

}  // namespace charpie::flow
