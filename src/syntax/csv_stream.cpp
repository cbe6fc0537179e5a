#include "syntax/csv_stream.hpp"

#include <algorithm>
#include <cstring>
#include <set>

#include "base/utf8.hpp"
#include "syntax/json.hpp"

namespace charpie::syntax {

namespace {

constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";

struct NamedDelimiter {
  std::string_view name;
  char delimiter;
};
constexpr NamedDelimiter delimiters[] = {
    {"comma", ','}, {"semicolon", ';'}, {"tab", '\t'}, {"bar", '|'}, {"space", ' '}};

std::size_t find(std::string_view text, char wanted, std::size_t from, std::size_t to) {
  if (from >= to) return to;
  const void* found = std::memchr(text.data() + from, wanted, to - from);
  return found == nullptr ? to : static_cast<std::size_t>(static_cast<const char*>(found) - text.data());
}

// Line ends in a text: CRLF, LF or CR.
std::size_t line_ends(std::string_view text) {
  std::size_t count = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\n' || (text[i] == '\r' && (i + 1 == text.size() || text[i + 1] != '\n'))) ++count;
  }
  return count;
}

Error refuse(std::string message, std::string mend, std::size_t line = 1, std::size_t column = 1) {
  return {Error::invalid, std::move(message), {}, line, column, std::move(mend)};
}

Error refuse_at(std::string_view row, std::size_t offset, std::string message, std::string mend) {
  const auto place = position(row, offset);
  return refuse(std::move(message), std::move(mend), place.line, place.column);
}

}  // namespace

Result<char> csv_delimiter(std::string_view text) {
  for (const auto& one : delimiters) {
    if (one.name == text) return one.delimiter;
  }
  if (text.size() == 1) {
    const char c = text[0];
    const bool letter_or_digit = (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
    if (!letter_or_digit && c != '"' && (c >= ' ' || c == '\t') && c < '\x7F') return c;
  }
  return Error{Error::usage,
               "no such delimiter",
               {},
               0,
               0,
               "give one character, or comma, semicolon, tab, bar or space"};
}

std::size_t CsvHeader::column(std::string_view name) const {
  const auto found = std::find(columns.begin(), columns.end(), name);
  return found == columns.end() ? none : static_cast<std::size_t>(found - columns.begin());
}

Outcome read_csv_cells(std::string_view row, const CsvReading& how, Arena& arena,
                       std::vector<CsvCell>& cells) {
  cells.clear();
  const auto good = utf8_valid_prefix(row);
  const auto too_long = [&](std::size_t at) {
    return refuse_at(row, at, "a cell is longer than allowed",
                     "shorten it, or look for a quote that is not closed");
  };
  std::size_t at = 0;
  while (true) {
    if (cells.size() == how.limits.columns) {
      return refuse_at(row, at, "the row has more cells than allowed", "split the table");
    }
    const std::size_t begin = at;
    if (at < row.size() && row[at] == '"') {
      bool doubled = false;
      std::size_t close = find(row, '"', at + 1, row.size());
      while (close + 1 < row.size() && row[close + 1] == '"') {
        doubled = true;
        close = find(row, '"', close + 2, row.size());
      }
      if (close >= row.size())
        return refuse_at(row, begin, "a quoted cell is not closed", "add the closing quote");
      std::string_view text = row.substr(begin + 1, close - begin - 1);
      if (text.size() > how.limits.cell_bytes) return too_long(begin);
      if (doubled) {
        char* decoded = static_cast<char*>(arena.allocate(text.size(), 1));
        std::size_t size = 0;
        for (std::size_t i = 0; i < text.size(); ++i) {
          decoded[size++] = text[i];
          if (text[i] == '"') ++i;
        }
        text = {decoded, size};
      }
      at = close + 1;
      cells.push_back({text, static_cast<std::uint32_t>(begin), static_cast<std::uint32_t>(at)});
      if (at < row.size() && row[at] != how.delimiter) {
        return refuse_at(row, at, "text follows a closing quote",
                         "put the whole cell inside the quotes, and double each quote in it");
      }
    } else {
      at = find(row, how.delimiter, begin, row.size());
      if (at - begin > how.limits.cell_bytes) return too_long(begin);
      if (const auto quote = find(row, '"', begin, at); quote != at) {
        return refuse_at(row, quote, "a quote stands inside an unquoted cell",
                         "quote the cell and double the quote");
      }
      cells.push_back(
          {row.substr(begin, at - begin), static_cast<std::uint32_t>(begin), static_cast<std::uint32_t>(at)});
    }
    if (at >= row.size()) break;
    ++at;
  }
  // The other cells may be the key by which the row is known.
  if (good == row.size()) return std::monostate{};
  return refuse_at(row, good, "the row has bytes that are not of its character set",
                   "name the character set of the file, or save it as UTF-8");
}

Error csv_cell_count(std::size_t cells, const CsvHeader& header, std::size_t line) {
  return refuse(
      "the row has " + std::to_string(cells) + " cells, the header " + std::to_string(header.columns.size()),
      "quote cells that hold the delimiter; give every column a cell", line);
}

void name_node(Node& node, std::string_view name, Arena& arena, const Names& names) {
  node.name = names.find(name);
  node.name_text = node.name != 0 ? names.text(node.name) : arena.keep(name);
}

Result<Node*> read_csv_row(std::string_view row, const CsvHeader& header, const CsvReading& how, Arena& arena,
                           const Names& names) {
  std::vector<CsvCell> cells;
  cells.reserve(header.columns.size());
  if (auto read = read_csv_cells(row, how, arena, cells); !read) return read.error();
  if (cells.size() != header.columns.size()) return csv_cell_count(cells.size(), header, 1);
  Node* root = arena.make<Node>();
  root->kind = NodeKind::object;
  root->end = static_cast<std::uint32_t>(row.size());
  for (std::size_t i = 0; i < cells.size(); ++i) {
    if (cells[i].text.empty()) continue;
    Node* cell = arena.make<Node>();
    cell->kind = NodeKind::string;
    name_node(*cell, header.columns[i], arena, names);
    cell->begin = cells[i].begin;
    cell->end = cells[i].end;
    cell->text = cells[i].text;
    append(*root, cell);
  }
  return root;
}

CsvRows::CsvRows(ByteSource& source, const CsvReading& how) : source_(source), how_(how) {}

void CsvRows::read_chunk(std::string& into) {
  const std::size_t had = into.size();
  into.resize(had + how_.limits.chunk_bytes);
  auto got = source_.read(into.data() + had, how_.limits.chunk_bytes);
  into.resize(had + (got ? *got : 0));
  source_ended_ = !got || *got == 0;
  if (!got) trouble_ = std::move(got.error());
}

void CsvRows::recode() {
  std::string_view rest = raw_;
  bool good = recoder_->recode(rest, buffer_);
  // A byte that the character set does not have spoils its row alone: one that no UTF-8 has stands in its
  // place.
  while (!good && !rest.empty() && !recoder_->has_wide_units()) {
    buffer_ += '\xFF';
    rest.remove_prefix(1);
    recoder_->restart();
    good = recoder_->recode(rest, buffer_);
  }
  if (!trouble_ && (!good || (source_ended_ && !rest.empty()))) {
    trouble_ = refuse("the file has bytes that are not of its character set",
                      "name the character set of the file, or save it as UTF-8");
    source_ended_ = true;
  }
  raw_.erase(0, raw_.size() - rest.size());
}

// Reads on until there is more in the buffer; false when nothing more comes.
bool CsvRows::fill() {
  if (source_ended_) return false;
  buffer_.erase(0, at_);
  before_buffer_ += at_;
  at_ = 0;
  const std::size_t had = buffer_.size();
  do {
    read_chunk(recoder_ ? raw_ : buffer_);
    if (recoder_) recode();
  } while (buffer_.size() == had && !source_ended_);
  return true;
}

// The first chunk: byte-order marks and the character set. False when the character set has no known name.
bool CsvRows::begin() {
  if (started_) return true;
  started_ = true;
  while (buffer_.size() < byte_order_mark.size() && fill()) {
  }
  std::string_view charset = how_.charset;
  if (charset.empty() && (buffer_.starts_with("\xFF\xFE") || buffer_.starts_with("\xFE\xFF")))
    charset = "UTF-16";
  if (!charset.empty()) {
    auto recoder = Recoder::to_utf8(charset);
    if (!recoder) {
      trouble_ = std::move(recoder.error());
      buffer_.clear();
      source_ended_ = true;
      return false;
    }
    if (!recoder->is_plain()) {
      recoder_.emplace(std::move(*recoder));
      raw_ = std::move(buffer_);
      buffer_.clear();
      recode();
      while (buffer_.size() < byte_order_mark.size() && fill()) {
      }
    }
  }
  if (buffer_.starts_with(byte_order_mark)) at_ = byte_order_mark.size();
  return true;
}

// The end of the row that starts at at_, in the buffer, and its line ends inside of quotes. With `open`,
// `end` is that of the line with the quote that is not closed. False when the row is too long: then its bytes
// may go up to `end`, and from there to the end of that line.
bool CsvRows::scan(std::size_t& end, std::size_t& lines, bool& open) {
  while (true) {
    const std::size_t limit = at_ + how_.limits.row_bytes + 1;
    const std::string_view text = std::string_view(buffer_).substr(0, limit);
    const bool all = text.size() == limit || source_ended_;  // there is no more to wait for
    open = false;
    lines = 0;
    std::size_t opened = at_;
    // Most rows have no quote: they end with their line.
    end = find(text, '\n', at_, text.size());
    const bool quoted = find(text, '"', at_, end) != end;
    if (!quoted) {
      end = find(text, '\r', at_, end);
    } else {
      bool cell_begins = true;
      for (end = at_; end < text.size() && text[end] != '\n' && text[end] != '\r'; ++end) {
        if (text[end] != '"' || !cell_begins) {
          cell_begins = text[end] == how_.delimiter;
          continue;
        }
        opened = end;
        end = find(text, '"', end + 1, text.size());
        while (end + 1 < text.size() && text[end + 1] == '"') end = find(text, '"', end + 2, text.size());
        open = end >= text.size();
        cell_begins = false;
        if (open) break;
      }
      end = std::min(end, text.size());
    }
    if (end == text.size() && !all) {
      fill();
      continue;
    }
    if (open) end = std::min(find(text, '\n', opened, text.size()), find(text, '\r', opened, text.size()));
    const bool too_long = end == limit;
    if (quoted) lines = line_ends(text.substr(at_, end - at_));
    if (end + 1 == buffer_.size() && buffer_[end] == '\r') {  // it may be half a CRLF
      const std::size_t size = end - at_;
      fill();
      end = at_ + size;
    }
    return !too_long;
  }
}

void CsvRows::pass(std::size_t end, std::size_t lines) {
  line_ += lines + 1;
  at_ = end;
  if (at_ < buffer_.size() && buffer_[at_] == '\r') ++at_;
  if (at_ < buffer_.size() && buffer_[at_] == '\n' && (at_ == end || buffer_[at_ - 1] == '\r')) ++at_;
}

// Lets bytes go up to the end of the line that `from` is in.
void CsvRows::drop_line(std::size_t from, std::size_t lines) {
  at_ = from;
  line_ += lines;
  while (true) {
    const std::string_view text = buffer_;
    const std::size_t end = std::min(find(text, '\n', at_, text.size()), find(text, '\r', at_, text.size()));
    if (end + 1 < text.size() || source_ended_) {
      pass(end, 0);
      return;
    }
    at_ = end;  // what is let go holds no line end
    fill();
  }
}

bool CsvRows::give_broken(JsonPiece& piece, std::size_t end, std::string message, std::string mend) {
  piece.bytes.assign(buffer_, at_, end - at_);
  piece.error = refuse(std::move(message), std::move(mend), piece.line, 1);
  return true;
}

bool CsvRows::next(JsonPiece& piece) {
  begin();
  piece.error.reset();
  piece.parts.clear();
  while (true) {
    while (at_ < buffer_.size() && (buffer_[at_] == '\n' || buffer_[at_] == '\r')) {
      if (at_ + 1 == buffer_.size()) fill();  // a CR may be half a CRLF
      pass(at_, 0);
    }
    if (at_ < buffer_.size()) break;
    if (!fill()) break;
  }
  piece.bytes.clear();
  piece.line = line_;
  piece.column = 1;
  piece.offset = before_buffer_ + at_;
  if (at_ >= buffer_.size()) {
    if (!trouble_) return false;
    piece.error = std::move(*trouble_);
    piece.error->line = line_;
    piece.error->column = 1;
    trouble_.reset();
    piece.ordinal = ++ordinal_;
    return true;
  }
  piece.ordinal = ++ordinal_;
  std::size_t end = 0, lines = 0;
  bool open = false;
  const bool whole = scan(end, lines, open);
  piece.offset = before_buffer_ + at_;
  // A quote that is not closed within a row's limit is no matter of what comes behind.
  const bool all_of_it = buffer_.size() <= at_ + how_.limits.row_bytes;
  if (whole && trouble_ && ((open && all_of_it) || end >= buffer_.size())) {
    piece.bytes.assign(buffer_, at_);  // cut off in the middle
    piece.error = std::move(*trouble_);
    piece.error->line = line_;
    piece.error->column = 1;
    trouble_.reset();
    at_ = buffer_.size();
    return true;
  }
  if (!whole) {
    piece.error = refuse("the row is longer than allowed",
                         "shorten it, or look for a quote that is not closed", line_, 1);
    drop_line(end, lines);
    return true;
  }
  if (open) {
    give_broken(piece, end, "a quoted cell is not closed", "add the closing quote, or double the quote");
  } else {
    piece.bytes.assign(buffer_, at_, end - at_);
  }
  pass(end, lines);
  return true;
}

Result<CsvHeader> CsvRows::header() {
  if (!begin()) return *trouble_;
  JsonPiece piece;
  if (!next(piece)) return refuse("the file has no header row", "name the columns in the first row");
  if (piece.error) return *piece.error;
  Arena arena;
  std::vector<CsvCell> cells;
  if (auto read = read_csv_cells(piece.bytes, how_, arena, cells); !read) {
    read.error().line += piece.line - 1;
    return read.error();
  }
  CsvHeader header;
  std::set<std::string_view> seen;
  for (const auto& cell : cells) {
    if (!seen.insert(cell.text).second) {
      const auto place = position(piece.bytes, cell.begin);
      return refuse("two columns have one name", "give every column a name of its own",
                    piece.line + place.line - 1, place.column);
    }
    header.columns.emplace_back(cell.text);
  }
  return header;
}

}  // namespace charpie::syntax
