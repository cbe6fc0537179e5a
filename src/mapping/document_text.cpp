#include "mapping/document_text.hpp"

#include "mapping/document.hpp"
#include "mapping/gather.hpp"
#include "syntax/csv_groups.hpp"
#include "syntax/csv_write.hpp"
#include "syntax/er7_write.hpp"
#include "syntax/json.hpp"
#include "syntax/json_write.hpp"
#include "syntax/xml_write.hpp"

namespace charpie::mapping {

using syntax::Node;

namespace {

Error nothing_left() {
  return {Error::invalid, "the document says nothing", {}, 1, 1, "leave it out"};
}

Result<Node*> read_xml_document(std::string_view bytes, std::string_view context, const Mapping& mapping,
                                Arena& arena, std::string_view& text) {
  const Layout& layout = mapping.layout();
  syntax::XmlReading how;
  how.context = context;
  auto document = syntax::read_xml(bytes, arena, mapping.names(), how);
  if (!document) return document.error();
  text = document->text;
  const auto local = std::string_view(layout.element).substr(layout.element.find(':') + 1);
  if (document->root->name_text != local) {
    return Error{Error::invalid,
                 "the document's element is another than '" + layout.element + "'",
                 {},
                 1,
                 1,
                 "give a document of this layout"};
  }
  if (layout.gathered) gather(*document->root, layout, arena);
  return syntax::members_of(*document->root, layout.shape, layout.spaces, arena, mapping.names());
}

syntax::CsvReading csv_reading(const Layout& layout) {
  syntax::CsvReading how;
  how.delimiter = layout.delimiter;
  return how;
}

// The first row of these, without its end, as append_csv_header() wrote them: a quote is always doubled or
// one around a cell.
std::string_view take_row(std::string_view& rows) {
  bool quoted = false;
  std::size_t at = 0;
  for (; at < rows.size() && (quoted || rows[at] != '\n'); ++at) quoted ^= rows[at] == '"';
  const auto row = rows.substr(0, at);
  rows.remove_prefix(std::min(at + 1, rows.size()));
  return row;
}

// The context of a piece of CSV are the headers of its files, one a line, in the order of the tables.
Result<std::vector<syntax::CsvHeader>> read_headers(const syntax::JsonPiece& piece, const Layout& layout,
                                                    Arena& arena) {
  std::vector<syntax::CsvCell> cells;
  std::vector<syntax::CsvHeader> headers;
  std::string_view rest = piece.context;
  for (std::size_t i = 0; i < layout.tables.size(); ++i) {
    if (auto read = syntax::read_csv_cells(take_row(rest), csv_reading(layout), arena, cells); !read)
      return read.error();
    for (auto& columns = headers.emplace_back().columns; const auto& cell : cells)
      columns.emplace_back(cell.text);
  }
  return headers;
}

Result<Node*> read_csv_document(const syntax::JsonPiece& piece, const Mapping& mapping, Arena& arena) {
  const Layout& layout = mapping.layout();
  const auto how = csv_reading(layout);
  auto read = read_headers(piece, layout, arena);
  if (!read) return read.error();
  const auto& headers = *read;
  if (layout.is_row()) return syntax::read_csv_row(piece.bytes, headers.front(), how, arena, mapping.names());
  std::vector<syntax::CsvSource> sources;
  for (const auto& table : layout.tables) {
    sources.push_back({.name = table.name, .how = how, .once = table.once});
  }
  return syntax::read_csv_group(piece, sources, headers, arena, mapping.names());
}

// `marked`: counts cells that were marked as formulas; nullptr marks none.
Outcome write_rows(const Node& root, const Layout& layout, const Layout::Table& table, std::string& out,
                   std::size_t* marked) {
  const syntax::CsvWriting how{layout.delimiter, layout.line_end, marked != nullptr};
  const syntax::CsvHeader header{table.columns};
  const Node* rows = table.name.empty() ? &root : root.member(table.name);
  if (rows == nullptr) return std::monostate{};
  for (const Node* row = rows->is_array() ? rows->first : rows; row != nullptr;
       row = rows->is_array() ? row->next : nullptr) {
    const auto written = syntax::append_csv_row(*row, header, how, out);
    if (!written) return written.error();
    if (marked != nullptr) *marked += *written;
  }
  return std::monostate{};
}

// In the character set of the site's files. HL7 version 2 does that by itself (MSH-18).
Outcome encode(const Layout& layout, std::string& text) {
  if (layout.syntax != LayoutSyntax::csv || layout.encoding.empty()) return std::monostate{};
  auto recoder = syntax::Recoder::from_utf8(layout.encoding);
  if (!recoder) return recoder.error();
  std::string encoded;
  std::string_view rest = text;
  if (!recoder->recode(rest, encoded) || !rest.empty()) {
    return Error{Error::invalid,
                 "a character that " + layout.encoding + " does not have",
                 {},
                 0,
                 0,
                 "correct the value, or the layout's encoding"};
  }
  recoder->finish(encoded);
  text = std::move(encoded);
  return std::monostate{};
}

Result<Node*> read_er7_document(std::string_view bytes, const Mapping& mapping, Arena& arena,
                                DocumentText& made) {
  syntax::Er7Reading how;
  how.charset = mapping.layout().encoding;
  auto document = syntax::read_er7(bytes, arena, mapping.names(), how);
  if (!document) return document.error();
  made.text = document->text;
  made.notes = document->notes;
  if (!mapping.layout().structures->group(*document->root, arena, mapping.names())) {
    return Error{Error::invalid,
                 "the message has a structure that er7-groups.csv does not have",
                 {},
                 1,
                 1,
                 "add its rows, or leave the message out"};
  }
  // MSH-1 and MSH-2 are the message's own delimiters.
  if (Node* header = document->root->member("MSH")) {
    Node** link = &header->first;
    header->last = nullptr;
    while (Node* at = *link) {
      if (at->name_text == "1" || at->name_text == "2") {
        *link = at->next;
        --header->count;
      } else {
        header->last = at;
        link = &at->next;
      }
    }
  }
  return document->root;
}

// The tree in its syntax, each file's part behind what it has; `alone`: with all that a document of its own
// needs.
Outcome write_tree(Node& root, const Layout& layout, bool alone, Arena& arena, const syntax::Names& names,
                   std::span<std::string> files, std::size_t* marked = nullptr) {
  std::string& out = files.front();
  switch (layout.syntax) {
    case LayoutSyntax::json:
      syntax::append_json(root, out);
      return std::monostate{};
    case LayoutSyntax::xml: {
      const bool declares = alone || layout.root.empty();
      if (declares && !alone) out += syntax::xml_declaration.substr(0, syntax::xml_declaration.size() - 1);
      return syntax::write_members(layout.element, root, layout.spaces, declares, out);
    }
    case LayoutSyntax::csv:
      for (std::size_t i = 0; i < files.size(); ++i) {
        if (auto written = write_rows(root, layout, layout.tables[i], files[i], marked); !written)
          return written;
      }
      return std::monostate{};
    case LayoutSyntax::hl7v2: {
      if (auto flat = syntax::flatten_er7(root, arena, names); !flat) return flat;
      syntax::Er7Writing how;
      how.charset = layout.encoding;
      return syntax::write_er7(root, out, how);
    }
  }
  return std::monostate{};
}

}  // namespace

std::vector<MissingColumn> missing_columns(const syntax::JsonPiece& piece, const Mapping& mapping,
                                           Arena& arena) {
  std::vector<MissingColumn> missing;
  const auto& tables = mapping.layout().tables;
  const auto headers = read_headers(piece, mapping.layout(), arena);
  if (!headers) return missing;
  for (std::size_t i = 0; i < tables.size(); ++i) {
    for (const auto& name : tables[i].columns)
      if ((*headers)[i].column(name) == syntax::CsvHeader::none) missing.push_back({i, name});
  }
  return missing;
}

Error reads_as_another() {
  return {Error::invalid,
          "a text has in it what the layout puts behind it, and would be read as another",
          {},
          0,
          0,
          "give the texts places of their own in the layout"};
}

Result<DocumentText> read_document(const syntax::JsonPiece& piece, const Mapping& mapping, Arena& arena) {
  const Layout& layout = mapping.layout();
  const std::string_view bytes = piece.bytes;
  DocumentText made{nullptr, bytes};
  auto root = [&]() -> Result<Node*> {
    switch (layout.syntax) {
      case LayoutSyntax::json:
        return syntax::read_json(bytes, arena, mapping.names());
      case LayoutSyntax::xml:
        return read_xml_document(bytes, piece.context, mapping, arena, made.text);
      case LayoutSyntax::csv:
        return read_csv_document(piece, mapping, arena);
      case LayoutSyntax::hl7v2:
        break;
    }
    return read_er7_document(bytes, mapping, arena, made);
  }();
  if (!root) return root.error();
  made.root = *root;
  if (!made.root->is_object())
    return Error{Error::invalid, "a document must be an object", {}, 1, 1, "give a document of this layout"};
  if (!open_cells(*made.root, layout, arena, mapping.names())) return nothing_left();
  return made;
}

namespace {

// One document, alone, each file's part behind what it has.
Outcome write_files(std::string_view json, const Mapping& mapping, std::span<std::string> files) {
  if (json.empty()) return nothing_left();
  Arena arena;
  const Layout& layout = mapping.layout();
  auto tree = syntax::read_json(json, arena, mapping.names());
  if (!tree) return tree.error();
  std::vector<const Node*> barren;
  if (split_records(**tree, layout, arena, barren).empty()) {
    return Error{
        Error::invalid,
        "the layout's records are the elements of '" + layout.records_way() + "', and this one has none",
        {},
        0,
        0,
        "let the layout say elsewhere that the record is there"};
  }
  if (auto closed = close_cells(**tree, layout, arena, mapping.names()); !closed) return closed;
  if (auto written = write_tree(**tree, layout, true, arena, mapping.names(), files); !written)
    return written;
  if (layout.encoding.empty()) return std::monostate{};
  for (std::string trial : files) {
    if (auto encoded = encode(layout, trial); !encoded) return encoded;
  }
  return std::monostate{};
}

}  // namespace

std::size_t file_count(const Layout& layout) {
  return std::max<std::size_t>(layout.tables.size(), 1);
}

Outcome write_document(std::string_view json, const Mapping& mapping, std::string& out) {
  std::vector<std::string> files(file_count(mapping.layout()));
  files.front().swap(out);
  auto written = write_files(json, mapping, files);
  out.swap(files.front());
  for (const auto& rows : std::span(files).subspan(1)) out += rows;
  return written;
}

Outcome write_piece(std::string_view json, const Mapping& mapping, syntax::JsonPiece& piece) {
  piece.bytes.clear();
  piece.context.clear();
  piece.parts.clear();
  piece.line = piece.column = 1;
  const Layout& layout = mapping.layout();
  std::vector<std::string> files(file_count(layout));
  if (auto written = write_files(json, mapping, files); !written) return written;
  if (layout.syntax != LayoutSyntax::csv) {
    piece.bytes.swap(files.front());
    return std::monostate{};
  }
  // As the files are cut: a row without its end, or the rows of a group, each with a line feed behind it.
  for (std::uint32_t i = 0; i < files.size(); ++i) {
    if (i != 0) piece.context += '\n';
    syntax::append_csv_header({layout.tables[i].columns}, {layout.delimiter, ""}, piece.context);
    syntax::TextSource source(files[i]);
    syntax::CsvRows stream(source, csv_reading(layout));
    syntax::JsonPiece row;
    while (stream.next(row)) {
      if (layout.is_row()) {
        piece.bytes = row.bytes;
        continue;
      }
      piece.parts.push_back(
          {i, static_cast<std::uint32_t>(piece.bytes.size()), row.line, 1, layout.tables[i].file});
      piece.bytes += row.bytes;
      piece.bytes += '\n';
    }
  }
  return std::monostate{};
}

Outcome DocumentOutput::begin(std::span<std::string> files) {
  if (std::exchange(begun_, true)) return std::monostate{};
  const Layout& layout = mapping_->layout();
  for (std::size_t i = 0; i < layout.tables.size(); ++i) {
    std::string header;
    syntax::append_csv_header({layout.tables[i].columns}, {layout.delimiter, layout.line_end}, header);
    if (auto encoded = encode(layout, header); !encoded) return encoded;
    files[i] += header;
  }
  std::string& out = files.front();
  if (layout.syntax != LayoutSyntax::xml || layout.root.empty()) return std::monostate{};
  out += syntax::xml_declaration;
  out += '<';
  out += layout.root;
  if (auto written = syntax::write_spaces(layout.spaces, out); !written) return written;
  out += ">\n";
  return std::monostate{};
}

Outcome DocumentOutput::add(std::string_view lines, std::span<std::string> files) {
  while (!lines.empty()) {
    const auto end = lines.find('\n');
    if (auto added = add_one(lines.substr(0, end), files); !added) return added;
    lines.remove_prefix(end == std::string_view::npos ? lines.size() : end + 1);
  }
  return std::monostate{};
}

Outcome DocumentOutput::add_one(std::string_view json, std::span<std::string> files) {
  if (pending_ != nullptr) {
    // Into the arena of the document that may take it.
    auto tree = syntax::read_json(arena_->keep(json), *arena_, mapping_->names());
    if (!tree) return tree.error();
    if (join_records(*pending_, **tree, mapping_->layout())) return std::monostate{};
    if (auto flushed = flush(files); !flushed) return flushed;
  }
  arena_ = std::make_unique<Arena>();
  auto tree = syntax::read_json(arena_->keep(json), *arena_, mapping_->names());
  if (!tree) return tree.error();
  pending_ = *tree;
  return mapping_->layout().records.empty() ? flush(files) : Outcome(std::monostate{});
}

Outcome DocumentOutput::flush(std::span<std::string> files) {
  if (auto begun = begin(files); !begun) return begun;
  Node* document = std::exchange(pending_, nullptr);
  if (document == nullptr) return std::monostate{};
  if (auto closed = close_cells(*document, mapping_->layout(), *arena_, mapping_->names()); !closed)
    return closed;
  std::vector<std::string> texts(files.size());
  if (auto written = write_tree(*document, mapping_->layout(), false, *arena_, mapping_->names(), texts,
                                marks_ ? &marked_ : nullptr);
      !written)
    return written;
  for (std::size_t i = 0; i < texts.size(); ++i) {
    if (auto encoded = encode(mapping_->layout(), texts[i]); !encoded) return encoded;
    files[i] += texts[i];
  }
  const auto syntax = mapping_->layout().syntax;
  if (syntax == LayoutSyntax::json || syntax == LayoutSyntax::xml) files.front() += '\n';
  return std::monostate{};
}

Outcome DocumentOutput::finish(std::span<std::string> files) {
  if (auto flushed = flush(files); !flushed) return flushed;
  const Layout& layout = mapping_->layout();
  if (layout.syntax == LayoutSyntax::xml && !layout.root.empty()) files.front() += "</" + layout.root + ">\n";
  return std::monostate{};
}

}  // namespace charpie::mapping
