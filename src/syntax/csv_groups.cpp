#include "syntax/csv_groups.hpp"

#include <algorithm>
#include <cstring>

#include "base/utf8.hpp"

namespace charpie::syntax {

namespace {

// Bytes that sort as the cells do, one after the other, and that no two rows of cells share.
void append_key(std::string_view cell, std::string& key) {
  for (const char c : cell) {
    key += c;
    if (c == '\0') key += '\xFF';
  }
  key.append(2, '\0');
}

constexpr std::size_t head_bytes = sizeof(std::uint32_t) + sizeof(std::uint64_t);  // source, line
constexpr std::uint32_t is_broken = std::uint32_t{1} << 31;                        // in the source

Error refuse(std::string message, std::string mend, std::size_t line = 0) {
  return {Error::invalid, std::move(message), {}, line, line == 0 ? std::size_t{0} : std::size_t{1},
          std::move(mend)};
}

}  // namespace

CsvGroups::CsvGroups(std::vector<CsvSource> sources, const CsvGrouping& how)
    : sources_(std::move(sources)), how_(how), sort_(how.memory) {}
CsvGroups::~CsvGroups() = default;

Result<std::unique_ptr<CsvGroups>> CsvGroups::open(std::vector<CsvSource> sources, const CsvGrouping& how) {
  const auto usage = [](std::string message, std::string mend) {
    return Error{Error::usage, std::move(message), {}, 0, 0, std::move(mend)};
  };
  if (sources.empty()) return usage("no table is named", "name at least one");
  std::unique_ptr<CsvGroups> groups(new CsvGroups(std::move(sources), how));
  for (const auto& source : groups->sources_) {
    if (source.key.empty() || source.key.size() != groups->sources_.front().key.size()) {
      return usage("the tables have not the same number of key columns",
                   "name as many key columns for each table, at least one");
    }
    auto rows = std::make_unique<CsvRows>(*source.bytes, source.how);
    auto header = rows->header();
    if (!header) {
      header.error().file = source.file;
      return header.error();
    }
    std::vector<std::size_t> key;
    for (const auto& column : source.key) {
      key.push_back(header->column(column));
      if (key.back() != CsvHeader::none) continue;
      auto missing = refuse("the table has no column '" + column + "', which is of its key",
                            "correct the key or the header", 1);
      missing.file = source.file;
      return missing;
    }
    groups->headers_.push_back(std::move(*header));
    groups->keys_.push_back(std::move(key));
    groups->rows_.push_back(std::move(rows));
  }
  groups->heads_.resize(groups->sources_.size());
  groups->last_keys_.resize(groups->sources_.size());
  return groups;
}

// Reads a row's cells; when that fails, those in front of the fault.
Outcome CsvGroups::cells_of(const Row& row) {
  arena_.reset();
  if (auto read = read_csv_cells(row.bytes, sources_[row.source].how, arena_, cells_); !read) {
    read.error().line += row.line - 1;
    return read;
  }
  const auto& header = headers_[row.source];
  if (cells_.size() != header.columns.size()) return csv_cell_count(cells_.size(), header, row.line);
  return std::monostate{};
}

// The next row of a source with its key. A row that is broken behind its key stays with its group, so that
// no visit goes on without it.
CsvGroups::Step CsvGroups::take(std::size_t source, Row& row, JsonPiece& broken) {
  row.there = false;
  row.source = source;
  if (!rows_[source]->next(row_piece_)) return Step::end;
  row.bytes.swap(row_piece_.bytes);
  row.line = row_piece_.line;
  auto read = cells_of(row);
  // What the stream complains of stays with the row only where its cells show the same again.
  if (row_piece_.error && (read || read.error().message != row_piece_.error->message)) {
    failed_ = row_piece_.error->kind == Error::unreadable;
    return fail(row, std::move(*row_piece_.error), broken);
  }
  row.broken = !read;
  const auto& columns = keys_[source];
  if (!read && std::any_of(columns.begin(), columns.end(), [&](std::size_t column) {
        return column >= cells_.size() || !is_utf8(cells_[column].text);
      })) {
    return fail(row, std::move(read.error()), broken);
  }
  row.key.clear();
  bool empty = true;
  for (const std::size_t column : columns) {
    append_key(cells_[column].text, row.key);
    empty = empty && cells_[column].text.empty();
  }
  if (empty) return fail(row, refuse("the row has no key", "fill the key columns", row.line), broken);
  row.there = true;
  return Step::row;
}

CsvGroups::Step CsvGroups::fail(const Row& row, Error error, JsonPiece& broken) {
  broken.bytes = row.bytes;
  broken.parts.assign(1, {static_cast<std::uint32_t>(row.source), 0, row.line, 1, {}});
  broken.line = row.line;
  broken.column = 1;
  broken.offset = 0;
  broken.error = std::move(error);
  broken.error->file = sources_[row.source].file;
  broken.parts.front().file = sources_[row.source].file;
  return Step::broken;
}

// The group goes on being gathered, and is given as a broken piece.
void CsvGroups::spoil(const Row& row, Error error) {
  if (spoiled_) return;
  spoiled_ = std::move(error);
  spoiled_->file = sources_[row.source].file;
}

// Files that are sorted: the smallest of their next rows; of one key, the row of the first file.
CsvGroups::Step CsvGroups::next_sorted(Row& row, JsonPiece& broken) {
  Row* least = nullptr;
  for (std::size_t source = 0; source < heads_.size(); ++source) {
    auto& head = heads_[source];
    if (!head.there) {
      const Step step = take(source, head, broken);
      if (step == Step::broken) return step;
      if (step == Step::end) continue;
      if (head.key < last_keys_[source]) {
        head.there = false;
        return fail(head,
                    refuse("the row is not in its place: the file is not sorted by its key",
                           "sort it byte by byte, or do without sorted files", head.line),
                    broken);
      }
      last_keys_[source] = head.key;
    }
    if (least == nullptr || head.key < least->key) least = &head;
  }
  if (least == nullptr) return Step::end;
  std::swap(row, *least);
  least->there = false;
  return Step::row;
}

CsvGroups::Step CsvGroups::next_from_sort(Row& row, JsonPiece& broken) {
  for (; loaded_ < sources_.size(); ++loaded_) {
    while (true) {
      const Step step = take(loaded_, row, broken);
      if (step == Step::broken) return step;
      if (step == Step::end) break;
      const auto line = static_cast<std::uint64_t>(row.line);
      const auto source = static_cast<std::uint32_t>(row.source) | (row.broken ? is_broken : 0);
      body_.resize(head_bytes);
      std::memcpy(body_.data(), &source, sizeof source);
      std::memcpy(body_.data() + sizeof source, &line, sizeof line);
      body_ += row.bytes;
      if (auto added = sort_.add(row.key, body_); !added) {
        failed_ = true;
        return fail(row, std::move(added.error()), broken);
      }
    }
  }
  row.there = false;
  SortedEntry entry;
  auto more = sort_.next(entry);
  if (!more) {
    failed_ = true;
    return fail(row, std::move(more.error()), broken);
  }
  if (!*more) return Step::end;
  std::uint32_t source = 0;
  std::uint64_t line = 0;
  std::memcpy(&source, entry.body.data(), sizeof source);
  std::memcpy(&line, entry.body.data() + sizeof source, sizeof line);
  row.source = source & ~is_broken;
  row.broken = (source & is_broken) != 0;
  row.line = static_cast<std::size_t>(line);
  row.key = entry.key;
  row.bytes = entry.body.substr(head_bytes);
  row.there = true;
  return Step::row;
}

void CsvGroups::add(const Row& row) {
  if (group_.parts.empty()) {
    key_ = row.key;
    group_.bytes.clear();
    group_.line = row.line;
    too_large_ = false;
    spoiled_.reset();
    if (row.source != 0) {
      spoil(row, refuse("no row of '" + sources_.front().name + "' has the key of these rows",
                        "add it, or correct the key", row.line));
    }
  } else if (sources_[row.source].once && row.source == group_.parts.back().source) {
    spoil(row, refuse("the key stands in line " + std::to_string(group_.parts.back().line) + ", too",
                      "give each visit one row and a key of its own", row.line));
  }
  if (row.broken) {
    if (auto read = cells_of(row); !read) spoil(row, std::move(read.error()));
  }
  if (group_.bytes.size() + row.bytes.size() >= how_.group_bytes) too_large_ = true;
  if (too_large_ && !group_.parts.empty()) return;
  group_.parts.push_back({static_cast<std::uint32_t>(row.source),
                          static_cast<std::uint32_t>(group_.bytes.size()), row.line, 1,
                          sources_[row.source].file});
  if (too_large_) return;
  group_.bytes += row.bytes;
  group_.bytes += '\n';
}

void CsvGroups::give(JsonPiece& piece) {
  std::swap(piece, group_);
  group_.parts.clear();
  piece.column = 1;
  piece.offset = 0;
  piece.error.reset();
  const PiecePart first = piece.parts.front();
  if (too_large_) {
    piece.bytes.clear();
    piece.parts.resize(1);
    piece.error = refuse("the rows of one key are larger than allowed",
                         "look at the key columns: do they tell one visit from another?", first.line);
    piece.error->file = sources_[first.source].file;
  } else if (spoiled_) {
    piece.error = std::move(spoiled_);
  }
}

bool CsvGroups::next(JsonPiece& piece) {
  while (!failed_) {
    if (!ahead_.there && !ended_) {
      const Step step = how_.sorted ? next_sorted(ahead_, piece) : next_from_sort(ahead_, piece);
      if (step == Step::broken) {
        ahead_.there = false;
        piece.ordinal = ++ordinal_;
        return true;
      }
      ended_ = step == Step::end;
    }
    if (ahead_.there && (group_.parts.empty() || ahead_.key == key_)) {
      add(ahead_);
      ahead_.there = false;
      continue;
    }
    if (group_.parts.empty()) return false;
    give(piece);
    piece.ordinal = ++ordinal_;
    return true;
  }
  return false;
}

Result<Node*> read_csv_group(const JsonPiece& piece, const std::vector<CsvSource>& sources,
                             const std::vector<CsvHeader>& headers, Arena& arena, const Names& names) {
  const auto object = [&](NodeKind kind, std::size_t begin, std::size_t end) {
    Node* node = arena.make<Node>();
    node->kind = kind;
    node->begin = static_cast<std::uint32_t>(begin);
    node->end = static_cast<std::uint32_t>(end);
    return node;
  };
  Node* root = object(NodeKind::object, 0, piece.bytes.size());
  Node* list = nullptr;
  for (std::size_t i = 0; i < piece.parts.size(); ++i) {
    const auto& part = piece.parts[i];
    const std::size_t end = i + 1 < piece.parts.size() ? piece.parts[i + 1].begin : piece.bytes.size();
    const auto bytes = std::string_view(piece.bytes).substr(part.begin, end - part.begin - 1);
    const auto& source = sources[part.source];
    auto row = read_csv_row(bytes, headers[part.source], source.how, arena, names);
    if (!row) {
      row.error().line += part.line - 1;
      row.error().file = source.file;
      return row.error();
    }
    if (i == 0 || part.source != piece.parts[i - 1].source) {
      list = source.once ? *row : object(NodeKind::array, part.begin, end - 1);
      name_node(*list, source.name, arena, names);
      append(*root, list);
    }
    for (Node* cell = (*row)->first; cell != nullptr; cell = cell->next) {
      cell->begin += part.begin;
      cell->end += part.begin;
    }
    (*row)->begin += part.begin;
    (*row)->end += part.begin;
    if (source.once) continue;
    list->end = (*row)->end;
    append(*list, *row);
  }
  return root;
}

}  // namespace charpie::syntax
