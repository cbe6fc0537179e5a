// Cuts a stream of XML into record elements, one at a time and in flat memory, without parsing them; read_xml
// then judges each, in any thread.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "syntax/json_stream.hpp"
#include "syntax/xml.hpp"
#include "syntax/xml_encoding.hpp"
#include "syntax/xml_markup.hpp"

namespace charpie::syntax {

/// One record element, or a place where there is none.
struct XmlPiece {
  std::string bytes;           // from '<' to '>', always UTF-8; owned, so that a worker may keep them
  std::string context;         // for XmlReading::context: the namespace declarations that hold there
  std::uint64_t ordinal = 0;   // 1, 2, 3, … over records and broken places alike
  std::size_t line = 0;        // line of the input on which `bytes` start, 1-based
  std::size_t column = 0;      // byte column there, 1-based
  std::uint64_t offset = 0;    // of `bytes` in the input, once that is UTF-8
  std::optional<Error> error;  // set when the piece is no record; says line and what to do
};

struct XmlStreamLimits {
  std::size_t record_bytes = 64u << 20;  // a longer record is one error, and its bytes are let go
  std::size_t chunk_bytes = 256u << 10;  // asked from the source at a time
  XmlLimits xml{};                       // depth, tags and comments, outside of records too
};

/// Which elements are records: every child of the root, or every element of a local name, wherever it stands
/// (those inside another record excepted).
struct XmlRecords {
  std::string name{};  // empty: children of the root
};

/// Splits one XML document. A record ends where its tags balance; whether it is good XML is for read_xml. A
/// record with a tag too few or too many ends at its own end tag, or before the end tag of what it stands in,
/// and does not take its neighbours with it. A broken place outside of records ends the stream with one
/// error. Memory: one record at most and a chunk.
class XmlStream {
 public:
  /// The source must outlive the stream.
  XmlStream(ByteSource& source, XmlRecords records, const XmlStreamLimits& limits = {});

  /// Puts the next piece in `piece` (reusing its memory); false at the end. When the source cannot be read,
  /// one piece with Error::unreadable comes last.
  bool next(XmlPiece& piece);

  /// Elements met outside of records so far, the root and what holds the records included: nothing is read
  /// from them.
  std::uint64_t passed_over() const { return passed_over_; }

  /// Bytes of the input in memory now.
  std::size_t held_bytes() const { return buffer_.capacity() + raw_.capacity(); }

 private:
  struct Declaration {
    std::string name;     // xmlns or xmlns:a
    std::string written;  // its value in quotes, as it stands there
  };
  struct Open {
    std::string name;
    std::vector<Declaration> declarations;
  };

  bool fill();
  bool decode_more();
  Error trouble();
  void count_lines_to(std::size_t at);
  void begin(XmlPiece& piece, std::size_t at);
  Markup find_markup();
  bool too_long(const Markup& markup) const;
  bool is_record(std::string_view name) const;
  void open(const Markup& tag);
  bool give_record(const Markup& first, XmlPiece& piece);
  bool give_error(XmlPiece& piece, std::size_t at, std::string message, std::string mend);
  bool give_end(XmlPiece& piece);
  bool give_stray_text(XmlPiece& piece);
  bool give_long(const Markup& markup, XmlPiece& piece);
  std::string context() const;
  std::string_view text() const { return buffer_; }

  ByteSource& source_;
  XmlRecords records_;
  XmlStreamLimits limits_;
  std::string buffer_;  // UTF-8
  std::string raw_;     // bytes still to be decoded
  std::optional<XmlEncoding> encoding_;
  std::size_t at_ = 0;          // next byte
  std::size_t kept_from_ = 0;   // what is in front may go
  std::size_t counted_to_ = 0;  // lines are counted up to here
  std::uint64_t before_buffer_ = 0;
  std::uint64_t line_start_ = 0;  // offset in the input
  std::size_t line_ = 1;
  std::uint64_t ordinal_ = 0;
  std::uint64_t passed_over_ = 0;
  std::vector<Open> open_;  // outside of records
  bool root_seen_ = false;
  bool in_record_ = false;
  bool dropped_ = false;     // the current record is too long, its bytes are let go
  bool stray_text_ = false;  // beside the root element
  bool source_ended_ = false;
  bool ended_ = false;
  std::optional<Error> trouble_;  // with the source or its encoding: told when what came before is told
};

/// The same, as pieces for whoever reads any syntax. UTF-8, whatever the document was written in.
class XmlElementStream final : public PieceStream {
 public:
  /// The source must outlive the stream.
  XmlElementStream(ByteSource& source, XmlRecords records, const XmlStreamLimits& limits = {})
      : stream_(source, std::move(records), limits) {}
  bool next(JsonPiece& piece) override;

 private:
  XmlStream stream_;
  XmlPiece piece_;
};

}  // namespace charpie::syntax
