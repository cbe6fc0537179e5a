#include "syntax/xml_stream.hpp"

#include <algorithm>
#include <utility>

namespace charpie::syntax {

namespace {

constexpr std::string_view white_space = " \t\r\n";
constexpr const char* close_elements = "close every element, innermost first";

std::string_view local_name(std::string_view name) {
  const std::size_t colon = name.find(':');
  return colon == std::string_view::npos ? name : name.substr(colon + 1);
}

}  // namespace

XmlStream::XmlStream(ByteSource& source, XmlRecords records, const XmlStreamLimits& limits)
    : source_(source), records_(std::move(records)), limits_(limits) {
  limits_.chunk_bytes = std::max<std::size_t>(limits_.chunk_bytes, 1);
}

// Lets go what is in front of kept_from_ and reads behind the rest. False at the end or in trouble.
bool XmlStream::fill() {
  if (source_ended_) return false;
  if (in_record_ && at_ - kept_from_ > limits_.record_bytes) dropped_ = true;
  if (!in_record_ || dropped_) kept_from_ = at_;
  if (kept_from_ > 0) {
    count_lines_to(kept_from_);
    buffer_.erase(0, kept_from_);
    before_buffer_ += kept_from_;
    at_ -= kept_from_;
    counted_to_ -= kept_from_;
    kept_from_ = 0;
  }
  const std::size_t before = buffer_.size();
  while (!source_ended_ && buffer_.size() == before) {
    const std::size_t pending = raw_.size();
    raw_.resize(pending + limits_.chunk_bytes);
    auto count = source_.read(raw_.data() + pending, limits_.chunk_bytes);
    raw_.resize(pending + (count ? *count : 0));
    if (!count) trouble_ = std::move(count.error());
    if (!count || *count == 0) source_ended_ = true;
    if (!decode_more()) source_ended_ = true;
  }
  return buffer_.size() != before;
}

// From raw_ to buffer_. False when the bytes are not what they should be.
bool XmlStream::decode_more() {
  std::string_view bytes = raw_;
  if (!encoding_) {
    if (raw_.size() < xml_encoding_start && !source_ended_) return true;  // wait for more
    auto encoding = recognise_xml_encoding(bytes.substr(0, xml_encoding_start));
    if (!encoding) {
      if (!trouble_) trouble_ = encoding.error();
      return false;
    }
    encoding_ = *encoding;
    bytes.remove_prefix(encoding_->mark.size());
  }
  const bool good = decode_xml(*encoding_, bytes, buffer_) && (bytes.empty() || !source_ended_);
  if (!good && !trouble_) {
    trouble_ = not_of_encoding(*encoding_);
    trouble_->line = 0;  // it is where the buffer ends: counted when it is told
  }
  raw_.erase(0, raw_.size() - bytes.size());
  return good;
}

void XmlStream::count_lines_to(std::size_t at) {
  while (counted_to_ < at) {
    const std::size_t found = buffer_.find('\n', counted_to_);
    if (found >= at) break;
    counted_to_ = found + 1;
    ++line_;
    line_start_ = before_buffer_ + counted_to_;
  }
  counted_to_ = std::max(counted_to_, at);
}

// The trouble, which comes where the buffer ends.
Error XmlStream::trouble() {
  count_lines_to(buffer_.size());
  Error error = *trouble_;
  if (error.kind == Error::invalid && error.line == 0) {
    error.line = line_;
    error.column = static_cast<std::size_t>(before_buffer_ + buffer_.size() - line_start_) + 1;
  }
  return error;
}

void XmlStream::begin(XmlPiece& piece, std::size_t at) {
  count_lines_to(at);
  piece.bytes.clear();
  piece.context.clear();
  piece.error.reset();
  piece.ordinal = ++ordinal_;
  piece.line = line_;
  piece.offset = before_buffer_ + at;
  piece.column = static_cast<std::size_t>(piece.offset - line_start_) + 1;
}

bool XmlStream::too_long(const Markup& markup) const {
  return markup.end - markup.begin >
         std::max({limits_.xml.tag_bytes, limits_.xml.comment_bytes, limits_.xml.value_bytes + 12});
}

// The next markup, read on for until it is whole; at_ comes to stand in front of it. Its kind is `cut` only
// at the end of the input, or when it is too long.
Markup XmlStream::find_markup() {
  while (true) {
    const Markup markup = next_markup(text(), at_);
    if (!in_record_ && open_.empty()) {
      const std::size_t other = text().find_first_not_of(white_space, at_);
      stray_text_ = stray_text_ || (other != std::string_view::npos && other < markup.begin);
    }
    at_ = markup.begin;
    if (too_long(markup)) return {Markup::cut, markup.begin, markup.end, 0};
    if (markup.kind != Markup::cut) return markup;
    if (!fill()) return {Markup::cut, at_, buffer_.size(), 0};
  }
}

bool XmlStream::is_record(std::string_view name) const {
  return records_.name.empty() ? open_.size() == 1 : local_name(name) == records_.name;
}

bool XmlStream::next(XmlPiece& piece) {
  while (!ended_) {
    const Markup markup = find_markup();
    if (markup.kind == Markup::cut) return too_long(markup) ? give_long(markup, piece) : give_end(piece);
    if (stray_text_) return give_stray_text(piece);
    const std::string_view name = tag_name(text().substr(markup.begin, markup.end - markup.begin));
    switch (markup.kind) {
      case Markup::declaration:
        return give_error(piece, markup.begin, "there is a document type (DOCTYPE) or another declaration",
                          "take it out, and write characters instead of entities");
      case Markup::end_tag:
        if (open_.empty() || open_.back().name != name) {
          return give_error(piece, markup.begin, "an end tag is not that of the open element",
                            close_elements);
        }
        open_.pop_back();
        break;
      case Markup::start_tag:
      case Markup::empty_tag:
        if (open_.empty() && root_seen_) {
          return give_error(piece, markup.begin, "there is a second root element", "keep one root element");
        }
        root_seen_ = true;
        if (is_record(name)) return give_record(markup, piece);
        ++passed_over_;
        if (open_.size() >= limits_.xml.depth) {
          return give_error(piece, markup.begin, "elements are nested too deep", "flatten the document");
        }
        if (markup.kind == Markup::start_tag) open(markup);
        break;
      default:
        break;
    }
    at_ = markup.end;
  }
  return false;
}

// An element outside of records, with what it declares.
void XmlStream::open(const Markup& tag) {
  const std::string_view written = text().substr(tag.begin, tag.end - tag.begin);
  Open one{std::string(tag_name(written)), {}};
  for (std::size_t at = 1 + one.name.size(); at < written.size();) {
    at = written.find_first_not_of(white_space, at);
    const std::size_t quote = std::min(written.find_first_of("\"'", at), written.size());
    const std::size_t end = quote < written.size() ? written.find(written[quote], quote + 1) : quote;
    if (quote == written.size() || end == std::string_view::npos) break;
    const std::string_view name = written.substr(at, written.find_first_of("= \t\r\n", at) - at);
    if (name == "xmlns" || name.starts_with("xmlns:")) {
      one.declarations.push_back({std::string(name), std::string(written.substr(quote, end + 1 - quote))});
    }
    at = end + 1;
  }
  open_.push_back(std::move(one));
}

// Of one prefix, the innermost declaration.
std::string XmlStream::context() const {
  std::string out;
  std::vector<std::string_view> seen;
  for (auto outer = open_.rbegin(); outer != open_.rend(); ++outer) {
    for (const Declaration& one : outer->declarations) {
      if (std::find(seen.begin(), seen.end(), one.name) != seen.end()) continue;
      seen.push_back(one.name);
      out += " " + one.name + "=" + one.written;
    }
  }
  return out;
}

// The record whose first tag was found; at_ is still in front of it.
bool XmlStream::give_record(const Markup& first, XmlPiece& piece) {
  begin(piece, first.begin);
  piece.context = context();
  kept_from_ = first.begin;
  at_ = first.end;
  std::vector<std::string> names;
  if (first.kind == Markup::start_tag) {
    names.emplace_back(tag_name(text().substr(first.begin, first.end - first.begin)));
  }
  in_record_ = true;
  dropped_ = false;
  while (!names.empty()) {
    const Markup markup = find_markup();
    if (markup.kind == Markup::declaration) {
      // What follows cannot be told apart: the piece goes to its judge as it is, and the stream ends.
      ended_ = true;
      at_ = markup.end;
      break;
    }
    if (markup.kind == Markup::cut) {
      ended_ = true;
      in_record_ = false;
      if (too_long(markup)) {
        piece.error = Error{Error::invalid,
                            "a tag, comment or section of the record is too long",
                            {},
                            piece.line,
                            piece.column,
                            "shorten it"};
        return true;
      }
      at_ = buffer_.size();
      dropped_ = dropped_ || at_ - kept_from_ > limits_.record_bytes;
      if (!dropped_) piece.bytes.assign(text().substr(kept_from_));
      piece.error = trouble_ ? trouble() : Error{Error::invalid,
                                                 "the record's element is not closed where the input ends",
                                                 {},
                                                 piece.line,
                                                 piece.column,
                                                 close_elements};
      return true;
    }
    const std::string_view name = tag_name(text().substr(markup.begin, markup.end - markup.begin));
    if (markup.kind == Markup::start_tag) {
      if (names.size() > XmlLimits::deepest) {
        ended_ = true;
        at_ = markup.end;
        break;
      }
      names.emplace_back(name);
    } else if (markup.kind == Markup::end_tag) {
      if (names.back() == name) {
        names.pop_back();
      } else if (names.front() == name) {
        names.clear();  // a tag is missing inside; the judge will say so
      } else if (!open_.empty() && open_.back().name == name) {
        at_ = markup.begin;  // the record's own end tag is missing
        break;
      }
    }
    at_ = markup.end;
  }
  in_record_ = false;
  if (dropped_ || at_ - kept_from_ > limits_.record_bytes) {
    piece.error = Error{Error::invalid,
                        "the record is longer than " + std::to_string(limits_.record_bytes) + " bytes",
                        {},
                        piece.line,
                        piece.column,
                        "split it"};
    return true;
  }
  piece.bytes.assign(text().substr(kept_from_, at_ - kept_from_));
  return true;
}

bool XmlStream::give_error(XmlPiece& piece, std::size_t at, std::string message, std::string mend) {
  begin(piece, at);
  piece.error = Error{Error::invalid, std::move(message), {}, piece.line, piece.column, std::move(mend)};
  ended_ = true;
  return true;
}

bool XmlStream::give_stray_text(XmlPiece& piece) {
  return give_error(piece, at_, "there is text beside the root element", "keep one root element");
}

bool XmlStream::give_long(const Markup& markup, XmlPiece& piece) {
  return give_error(piece, markup.begin, "a tag, comment or section is too long", "shorten it");
}

// The input is over, outside of a record.
bool XmlStream::give_end(XmlPiece& piece) {
  ended_ = true;
  const std::size_t end = buffer_.size();
  if (trouble_) {
    begin(piece, end);
    piece.error = trouble();
    return true;
  }
  if (stray_text_) return give_stray_text(piece);
  if (at_ < end) return give_error(piece, at_, "the document ends inside a tag or comment", close_elements);
  if (!root_seen_) {
    return give_error(piece, end, "there is no XML element", "give a document with one root element");
  }
  if (!open_.empty()) return give_error(piece, end, "an element is not closed", close_elements);
  return false;
}

bool XmlElementStream::next(JsonPiece& piece) {
  piece_.bytes.swap(piece.bytes);
  if (!stream_.next(piece_)) return false;
  piece.bytes.swap(piece_.bytes);
  piece.ordinal = piece_.ordinal;
  piece.line = piece_.line;
  piece.column = piece_.column;
  piece.offset = piece_.offset;
  piece.context = piece_.context;
  piece.error = piece_.error;
  return true;
}

}  // namespace charpie::syntax
