// Cuts a stream of XML documents, one behind the other, into single documents, one at a time and in flat
// memory, without parsing them.
#pragma once
#include <cstddef>
#include <optional>
#include <string>

#include "syntax/json_stream.hpp"

namespace charpie::syntax {

/// Splits documents where the tags of one balance. What is not UTF-8 is one document to the end, for its
/// bytes are not looked into. A document that never ends takes what is behind it up to a line that begins as
/// it does, or with an XML declaration. Memory: one document at most and a chunk.
class XmlDocumentStream final : public PieceStream {
 public:
  /// The source must outlive the stream.
  explicit XmlDocumentStream(ByteSource& source, const JsonStreamLimits& limits = {});
  /// The next document, from '<' to '>' (with its byte-order mark, when it has one); false at the end. A
  /// document that is too long is one error, and its bytes are let go; text beside documents is one error.
  bool next(JsonPiece& piece) override;

 private:
  bool fill();
  bool give(JsonPiece& piece, std::size_t begin, std::size_t end);
  bool give_error(JsonPiece& piece, std::size_t end, std::string message, std::string mend);
  void pass(std::size_t end);
  std::size_t next_beginning(std::size_t first, std::size_t from) const;

  ByteSource& source_;
  JsonStreamLimits limits_;
  std::string buffer_;
  std::size_t at_ = 0;  // what comes before was given
  std::size_t line_ = 1, column_ = 1;
  std::uint64_t ordinal_ = 0, before_buffer_ = 0;
  bool started_ = false, whole_ = false, source_ended_ = false;
  bool broken_ = false;  // a document never ended: lines cut from here on, not tags alone
  std::optional<Error> source_error_;
};

}  // namespace charpie::syntax
