// The answer to an HL7 version 2 message: ACK with MSA and ERR (HL7 2.5.1, 2.14 and 2.15: from memory).
#pragma once
#include <span>
#include <string_view>

#include "base/arena.hpp"
#include "syntax/er7.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

enum class Er7Severity : char { error = 'E', warning = 'W', information = 'I' };  // HL7 table 0516

/// One thing to say about the message.
struct Er7Complaint {
  Er7Severity severity = Er7Severity::error;
  std::string_view code = "207";  // of HL7 table 0357: er7_error_text
  std::string_view text{};        // for the person at the other end (ERR-8)
  std::string_view details{};     // for whoever looks after the interface (ERR-7)
  Er7Location place{};            // ERR-2; er7_location gives it
};

/// What HL7 table 0357 calls a code ("101": "Required field missing"), or empty.
std::string_view er7_error_text(std::string_view code);

struct Er7Acknowledging {
  std::string_view time{};        // MSH-7, as HL7 writes times: there is no clock here
  std::string_view control_id{};  // MSH-10; empty: that of the message
  bool rejected = false;          // AR: the message was not looked at, or may be sent again as it is
};

/// The answer as a tree for write_er7, in the arena: from receiver to sender, in the message's version and
/// character set. MSA-1 is AR when rejected, AE when a complaint is an error, else AA. Before version 2.5,
/// which knows no severities, all errors stand in ERR-1, and the text of the first in MSA-3. `message` is the
/// flat tree of the message, or nullptr when it could not be read. Texts of complaints must live as long as
/// the tree.
Node* acknowledge_er7(const Node* message, std::span<const Er7Complaint> complaints,
                      const Er7Acknowledging& how, Arena& arena, const Names& names);

}  // namespace charpie::syntax
