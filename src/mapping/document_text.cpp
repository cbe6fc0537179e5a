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

syntax::CsvHeader csv_header(const Layout& layout) {
  return {layout.columns};
}

// The context of a piece of CSV is its file's header, as a row.
Result<Node*> read_csv_document(const syntax::JsonPiece& piece, const Mapping& mapping, Arena& arena) {
  const Layout& layout = mapping.layout();
  const auto how = csv_reading(layout);
  std::vector<syntax::CsvCell> cells;
  if (auto read = syntax::read_csv_cells(piece.context, how, arena, cells); !read) return read.error();
  std::vector<syntax::CsvHeader> headers(1);
  for (const auto& cell : cells) headers.front().columns.emplace_back(cell.text);
  if (layout.key.empty())
    return syntax::read_csv_row(piece.bytes, headers.front(), how, arena, mapping.names());
  std::vector<syntax::CsvSource> sources(1);
  sources.front().name = layout.rows;
  sources.front().how = how;
  auto group = syntax::read_csv_group(piece, sources, headers, arena, mapping.names());
  if (!group) return group;
  // The name belongs to a list that goes away.
  for (Node* list = (*group)->first; list != nullptr; list = list->next) list->name_text = layout.rows;
  return group;
}

// `marked`: counts cells that were marked as formulas; nullptr marks none.
Outcome write_csv_document(const Node& root, const Layout& layout, std::string& out, std::size_t* marked) {
  const syntax::CsvWriting how{layout.delimiter, layout.line_end, marked != nullptr};
  const auto header = csv_header(layout);
  const Node* rows = layout.key.empty() ? &root : root.member(layout.rows);
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

// The tree in its syntax; `alone`: with all that a document of its own needs.
Outcome write_tree(Node& root, const Layout& layout, bool alone, Arena& arena, const syntax::Names& names,
                   std::string& out, std::size_t* marked = nullptr) {
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
      return write_csv_document(root, layout, out, marked);
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

Outcome write_document(std::string_view json, const Mapping& mapping, std::string& out) {
  Arena arena;
  auto tree = syntax::read_json(json, arena, mapping.names());
  if (!tree) return tree.error();
  if (auto closed = close_cells(**tree, mapping.layout(), arena, mapping.names()); !closed) return closed;
  if (auto written = write_tree(**tree, mapping.layout(), true, arena, mapping.names(), out); !written)
    return written;
  std::string trial = mapping.layout().encoding.empty() ? std::string{} : out;
  return encode(mapping.layout(), trial);
}

Outcome write_piece(std::string_view json, const Mapping& mapping, syntax::JsonPiece& piece) {
  piece.bytes.clear();
  piece.context.clear();
  piece.parts.clear();
  piece.line = piece.column = 1;
  const Layout& layout = mapping.layout();
  if (auto written = write_document(json, mapping, piece.bytes); !written) return written;
  if (layout.syntax != LayoutSyntax::csv) return std::monostate{};
  syntax::append_csv_header(csv_header(layout), {layout.delimiter, ""}, piece.context);
  // As the file is cut: a row without its end, or the rows of a group, each with a line feed behind it.
  const std::string rows = std::exchange(piece.bytes, {});
  syntax::TextSource source(rows);
  syntax::CsvRows stream(source, csv_reading(layout));
  syntax::JsonPiece row;
  while (stream.next(row)) {
    if (layout.key.empty()) {
      piece.bytes = row.bytes;
      continue;
    }
    piece.parts.push_back({0, static_cast<std::uint32_t>(piece.bytes.size()), row.line});
    piece.bytes += row.bytes;
    piece.bytes += '\n';
  }
  return std::monostate{};
}

Outcome DocumentOutput::begin(std::string& out) {
  if (std::exchange(begun_, true)) return std::monostate{};
  const Layout& layout = mapping_->layout();
  if (layout.syntax == LayoutSyntax::csv) {
    std::string header;
    syntax::append_csv_header(csv_header(layout), {layout.delimiter, layout.line_end}, header);
    if (auto encoded = encode(layout, header); !encoded) return encoded;
    out += header;
  }
  if (layout.syntax != LayoutSyntax::xml || layout.root.empty()) return std::monostate{};
  out += syntax::xml_declaration;
  out += '<';
  out += layout.root;
  if (auto written = syntax::write_spaces(layout.spaces, out); !written) return written;
  out += ">\n";
  return std::monostate{};
}

Outcome DocumentOutput::add(std::string_view lines, std::string& out) {
  while (!lines.empty()) {
    const auto end = lines.find('\n');
    if (auto added = add_one(lines.substr(0, end), out); !added) return added;
    lines.remove_prefix(end == std::string_view::npos ? lines.size() : end + 1);
  }
  return std::monostate{};
}

Outcome DocumentOutput::add_one(std::string_view json, std::string& out) {
  if (pending_ != nullptr) {
    // Into the arena of the document that may take it.
    auto tree = syntax::read_json(arena_->keep(json), *arena_, mapping_->names());
    if (!tree) return tree.error();
    if (join_records(*pending_, **tree, mapping_->layout())) return std::monostate{};
    if (auto flushed = flush(out); !flushed) return flushed;
  }
  arena_ = std::make_unique<Arena>();
  auto tree = syntax::read_json(arena_->keep(json), *arena_, mapping_->names());
  if (!tree) return tree.error();
  pending_ = *tree;
  return mapping_->layout().records.empty() ? flush(out) : Outcome(std::monostate{});
}

Outcome DocumentOutput::flush(std::string& out) {
  if (auto begun = begin(out); !begun) return begun;
  Node* document = std::exchange(pending_, nullptr);
  if (document == nullptr) return std::monostate{};
  if (auto closed = close_cells(*document, mapping_->layout(), *arena_, mapping_->names()); !closed)
    return closed;
  std::string text;
  if (auto written = write_tree(*document, mapping_->layout(), false, *arena_, mapping_->names(), text,
                                marks_ ? &marked_ : nullptr);
      !written)
    return written;
  if (auto encoded = encode(mapping_->layout(), text); !encoded) return encoded;
  out += text;
  const auto syntax = mapping_->layout().syntax;
  if (syntax == LayoutSyntax::json || syntax == LayoutSyntax::xml) out += '\n';
  return std::monostate{};
}

Outcome DocumentOutput::finish(std::string& out) {
  if (auto flushed = flush(out); !flushed) return flushed;
  const Layout& layout = mapping_->layout();
  if (layout.syntax == LayoutSyntax::xml && !layout.root.empty()) out += "</" + layout.root + ">\n";
  return std::monostate{};
}

}  // namespace charpie::mapping
