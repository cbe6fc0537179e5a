#include "syntax/xml_documents.hpp"

#include <algorithm>

#include "syntax/xml_encoding.hpp"
#include "syntax/xml_markup.hpp"

namespace charpie::syntax {

XmlDocumentStream::XmlDocumentStream(ByteSource& source, const JsonStreamLimits& limits)
    : source_(source), limits_(limits) {}

bool XmlDocumentStream::fill() {
  if (source_ended_) return false;
  if (at_ > 0) {
    buffer_.erase(0, at_);
    before_buffer_ += at_;
    at_ = 0;
  }
  const auto old = buffer_.size();
  buffer_.resize(old + limits_.chunk_bytes);
  auto count = source_.read(buffer_.data() + old, limits_.chunk_bytes);
  buffer_.resize(old + (count ? *count : 0));
  if (!count) source_error_ = std::move(count.error());
  if (!count || *count == 0) source_ended_ = true;
  return !source_ended_;
}

// Counts lines up to there; what lies before is done with.
void XmlDocumentStream::pass(std::size_t end) {
  for (; at_ < end; ++at_) {
    if (buffer_[at_] == '\n') {
      ++line_;
      column_ = 1;
    } else {
      ++column_;
    }
  }
}

bool XmlDocumentStream::give(JsonPiece& piece, std::size_t begin, std::size_t end) {
  pass(begin);
  piece.bytes.assign(buffer_, begin, end - begin);
  piece.ordinal = ++ordinal_;
  piece.line = line_;
  piece.column = column_;
  piece.offset = before_buffer_ + begin;
  piece.error.reset();
  pass(end);
  return true;
}

bool XmlDocumentStream::give_error(JsonPiece& piece, std::size_t end, std::string message, std::string mend) {
  const Error error{Error::invalid, std::move(message), {}, line_, column_, std::move(mend)};
  give(piece, at_, end);
  piece.error = error;
  return true;
}

// Where the document behind one that never ends begins, at the start of a line: as that one does, or with an
// XML declaration, which stands nowhere else (XML 1.0 section 2.8). Without one, the end.
std::size_t XmlDocumentStream::next_beginning(std::size_t first, std::size_t from) const {
  const std::string_view text = buffer_;
  auto markup = next_markup(text, first);
  while (markup.kind == Markup::other) markup = next_markup(text, markup.end);
  const bool is_tag = markup.kind == Markup::start_tag || markup.kind == Markup::cut;
  const auto name =
      is_tag && markup.begin < text.size() ? tag_name(text.substr(markup.begin)) : std::string_view();
  const auto begins = [&](std::string_view line) {
    constexpr std::string_view behind_a_name = " \t\r\n/>";
    if (line.starts_with("<?xml ")) return true;
    if (name.empty() || line.size() < name.size() + 2 || line.front() != '<') return false;
    return line.substr(1).starts_with(name) &&
           behind_a_name.find(line[name.size() + 1]) != std::string_view::npos;
  };
  for (auto end = text.find('\n', std::max(markup.begin, from)); end != std::string_view::npos;
       end = text.find('\n', end + 1)) {
    if (begins(text.substr(end + 1))) return end + 1;
  }
  return text.size();
}

bool XmlDocumentStream::next(JsonPiece& piece) {
  if (!started_) {
    started_ = true;
    while (buffer_.size() < xml_encoding_start && fill()) {
    }
    const auto encoding = recognise_xml_encoding(std::string_view(buffer_).substr(0, xml_encoding_start));
    whole_ = !encoding || !encoding->is_utf8();
  }
  constexpr std::string_view white_space = " \t\r\n";
  while (true) {
    if (whole_) {
      while (buffer_.size() - at_ <= limits_.record_bytes && fill()) {
      }
    }
    auto begin = buffer_.find_first_not_of(white_space, at_);
    if (begin == std::string::npos) {
      pass(buffer_.size());
      if (fill()) continue;
      if (!source_error_) return false;
      piece = {};
      piece.error = std::move(*source_error_);
      source_error_.reset();
      return true;
    }
    pass(begin);
    if (whole_) return give(piece, at_, buffer_.size());
    constexpr std::string_view mark = "\xEF\xBB\xBF";
    const bool marked = std::string_view(buffer_).substr(at_).starts_with(mark);
    auto first = at_ + (marked ? mark.size() : 0);
    if (first < buffer_.size() && buffer_[first] != '<') {
      const auto next_tag = buffer_.find('<', first);
      if (next_tag == std::string::npos && fill()) continue;
      return give_error(piece, std::min(next_tag, buffer_.size()), "text that belongs to no XML document",
                        "take it out; a document begins with '<'");
    }
    // Behind one that never ends each is looked at for itself alone: or each of many would be read to the
    // end.
    std::size_t stop = std::string::npos, seen = first;
    while (broken_) {
      stop = next_beginning(first, seen);
      if (stop < buffer_.size() && stop - at_ <= limits_.record_bytes) break;
      stop = std::string::npos;
      if (buffer_.size() - at_ > limits_.record_bytes) break;
      const auto marks = first - at_;
      seen = buffer_.size() - at_ - 1;  // a line may end there
      const bool more = fill();
      first = at_ + marks;
      seen += at_;
      if (!more) break;
    }
    std::size_t scan = first, depth = 0;
    bool long_one = false;
    while (true) {
      const auto markup = next_markup(std::string_view(buffer_).substr(0, stop), scan);
      if (markup.kind == Markup::cut && stop != std::string::npos) return give(piece, at_, stop);
      if (markup.kind == Markup::cut) {
        if (buffer_.size() - at_ > limits_.record_bytes) {
          broken_ = true;
          const auto end = next_beginning(first, first);
          if (end < buffer_.size() && end - at_ <= limits_.record_bytes) return give(piece, at_, end);
          long_one = true;
          scan = buffer_.size();
          break;
        }
        const auto ahead = scan - at_, marks = first - at_;
        const bool more = fill();
        scan = at_ + ahead;
        first = at_ + marks;
        if (more) continue;
        broken_ = true;
        return give(piece, at_, next_beginning(first, first));  // never ends: the reader of XML says where
      }
      scan = markup.end;
      if (markup.kind == Markup::start_tag) {
        ++depth;
      } else if (markup.kind == Markup::end_tag) {
        if (depth > 0) --depth;
        if (depth == 0) break;
      } else if (markup.kind == Markup::empty_tag && depth == 0) {
        break;
      }
    }
    if (!long_one && scan - at_ <= limits_.record_bytes) return give(piece, at_, scan);
    // Its bytes go, up to the end of the source: where it ends is not known.
    const Error error{Error::invalid,
                      "the document is longer than " + std::to_string(limits_.record_bytes) + " bytes",
                      {},
                      line_,
                      column_,
                      "send fewer entries in one Bundle"};
    do {
      pass(buffer_.size());
    } while (fill());
    piece = {};
    piece.ordinal = ++ordinal_;
    piece.line = error.line;
    piece.column = error.column;
    piece.error = error;
    return true;
  }
}

}  // namespace charpie::syntax
