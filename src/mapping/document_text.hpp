// Documents of a site's layout as bytes in its syntax: JSON, XML, CSV, HL7 version 2; read and written.
#pragma once
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "mapping/mapping.hpp"
#include "syntax/er7.hpp"
#include "syntax/json_stream.hpp"
#include "syntax/tree.hpp"

namespace charpie::mapping {

struct DocumentText {
  syntax::Node* root = nullptr;              // as the template has it: cells opened (mapping/document.hpp)
  std::string_view text{};                   // UTF-8; begin and end of nodes count in it
  std::span<const syntax::Er7Note> notes{};  // what is odd in a message of HL7 version 2
};

/// How many files hold the documents of this layout: several where "tables" names them (mapping/layout.hpp).
std::size_t file_count(const Layout& layout);

/// Reads one document as the input was cut: the context of a piece are the namespace declarations around an
/// element, or the headers of the CSV files. Tree and text live in the arena, or are views into the piece.
/// Error::invalid with line and column.
Result<DocumentText> read_document(const syntax::JsonPiece& piece, const Mapping& mapping, Arena& arena);

/// The columns that the layout names and the headers in the piece's context lack, each with the number of its
/// table. None where the headers cannot be read: read_document() says so.
struct MissingColumn {
  std::size_t table;
  std::string_view name;  // of the layout
};
std::vector<MissingColumn> missing_columns(const syntax::JsonPiece& piece, const Mapping& mapping,
                                           Arena& arena);

/// Why Writer::write_bundle() did not write a document.
Error reads_as_another();

/// Appends one document, given as the JSON that Writer makes of a record, alone; of CSV without the header,
/// of several files the rows of one behind those of the other.
/// Error::invalid, and `out` ends anywhere, when the syntax cannot hold it.
Outcome write_document(std::string_view json, const Mapping& mapping, std::string& out);

/// The same as a piece that read_document() takes.
Outcome write_piece(std::string_view json, const Mapping& mapping, syntax::JsonPiece& piece);

/// A file of documents, or several: joins the records of one document, and writes what stands around all of
/// them.
class DocumentOutput {
 public:
  /// `mapping` must outlive it.
  explicit DocumentOutput(const Mapping& mapping) : mapping_(&mapping) {}
  /// From here on cells of CSV that a spreadsheet may take for a formula get an apostrophe in front
  /// (syntax::CsvWriting).
  void mark_formulas() { marks_ = true; }
  /// How many did.
  std::size_t marked() const { return marked_; }
  /// How many texts add() and finish() append to.
  std::size_t file_count() const { return mapping::file_count(mapping_->layout()); }
  /// Takes documents as JSON, one a line, and appends what is ready to the file_count() texts. Memory: the
  /// document that may still grow.
  Outcome add(std::string_view lines, std::span<std::string> files);
  /// Appends what is left.
  Outcome finish(std::span<std::string> files);

 private:
  Outcome add_one(std::string_view json, std::span<std::string> files);
  Outcome flush(std::span<std::string> files);
  Outcome begin(std::span<std::string> files);
  const Mapping* mapping_;
  bool begun_ = false;
  bool marks_ = false;
  std::size_t marked_ = 0;
  std::unique_ptr<Arena> arena_;  // of the pending document
  syntax::Node* pending_ = nullptr;
};

}  // namespace charpie::mapping
