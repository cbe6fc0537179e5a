#include "flow/piece_reader.hpp"

#include <algorithm>

#include "fhir/xml.hpp"
#include "mapping/document_text.hpp"
#include "syntax/er7.hpp"
#include "syntax/json.hpp"

namespace charpie::flow {

namespace {

std::uint32_t narrow(std::size_t number) {
  return static_cast<std::uint32_t>(number);
}

using record::FindingId;

// The finding of a piece that cannot be read, by the syntax of its form.
FindingId broken_finding(Syntax syntax, std::string_view bytes) {
  // The stream cuts out the two ends of a batch only when messages may be missing between them.
  if (syntax == Syntax::hl7v2) {
    for (const auto segment : {"BHS", "BTS", "FHS", "FTS"})
      if (bytes.starts_with(segment)) return FindingId::hl7_batch_count;
  }
  switch (syntax) {
    case Syntax::json:
      return FindingId::json_syntax;
    case Syntax::xml:
      return FindingId::xml_syntax;
    case Syntax::csv:
      return FindingId::csv_syntax;
    case Syntax::hl7v2:
      break;
  }
  return FindingId::hl7_syntax;
}

// What is told of an oddity. Nothing for segments that have no place in any structure: reading tells them.
std::optional<FindingId> oddity_finding(syntax::Er7Oddity oddity) {
  using enum syntax::Er7Oddity;
  switch (oddity) {
    case unknown_escape:
    case open_escape:
    case bad_hex:
      return FindingId::hl7_escape;
    case undeclared_charset:
      return FindingId::hl7_charset;
    case other_version:
      return FindingId::hl7_version;
    case unfinished:
      return FindingId::hl7_unfinished;
    case truncated:
      return FindingId::hl7_truncated;
    case deletion:
      return FindingId::hl7_deletion;
    case odd_segment_name:
    case stray_continuation:
      break;
  }
  return {};
}

}  // namespace

PieceReader::PieceReader(const Engine& engine, const Form& form, const mapping::Options& options,
                         const rules::CheckOptions& checks)
    : engine_(&engine), form_(&form), checks_(engine.rules(), checks) {
  findings_.set_grades(engine.rules().grades());
  if (!form.is_record()) {
    if (!form.is_site) strict_.emplace(*engine.elements(form));
    instances_ = std::make_unique<mapping::Reader>(engine.mapping(form), options);
  }
}

// The piece as a tree. What is odd in XML and does not show in the tree is told at once.
Result<syntax::Node*> PieceReader::read_tree(const syntax::JsonPiece& piece) {
  if (form_->is_site) {
    auto document = mapping::read_document(piece, engine_->mapping(*form_), arena_);
    if (!document) return document.error();
    text_ = document->text;
    findings_.begin(file_, {}, text_, narrow(piece.line), narrow(piece.column));
    for (const auto& note : document->notes) {
      const auto id = oddity_finding(note.kind);
      if (id)
        findings_.report(*id, words_of(syntax::er7_location(text_, note.begin)), note.begin,
                         {words_of(note.kind)});
    }
    return document->root;
  }
  if (form_->syntax == Syntax::json) {
    const auto& names = form_->is_record() ? engine_->records().names() : engine_->mapping(*form_).names();
    return syntax::read_json(piece.bytes, arena_, names);
  }
  auto document = fhir::read_xml(piece.bytes, *engine_->elements(*form_), arena_);
  if (!document) return document.error();
  text_ = document->text;
  findings_.begin(file_, {}, text_, narrow(piece.line), narrow(piece.column));
  for (const auto& odd : document->oddities) {
    findings_.report(record::FindingId::fhir_xml_odd, odd.path, odd.begin, {fhir::words_of(odd.kind)});
  }
  return document->root;
}

// Of a header, which is told once: with the first piece behind it.
void PieceReader::tell_missing_columns(const syntax::JsonPiece& piece) {
  const auto& mapping = engine_->mapping(*form_);
  for (const auto& column : mapping::missing_columns(piece, mapping, arena_)) {
    findings_.report(FindingId::csv_column_missing, {}, record::Findings::no_place, {column.name});
    for (auto& found : findings_.take()) {
      const auto part = std::find_if(
          piece.parts.begin(), piece.parts.end(),
          [&](const syntax::PiecePart& one) { return one.source == column.table && !one.file.empty(); });
      if (part != piece.parts.end())
        found.file = part->file;
      else if (mapping.layout().is_folder())
        found.file = mapping.layout().tables[column.table].file;
      found.line = 1;
      found.column = 1;
      placed_.push_back(std::move(found));
    }
  }
}

std::span<record::Record> PieceReader::read(const syntax::JsonPiece& piece, std::string_view file) {
  piece_ = &piece;
  text_ = piece.bytes;
  file_ = file;
  arena_.reset();
  records_.clear();
  findings_.clear();
  unread_.clear();
  taken_.clear();
  tree_ = nullptr;
  placed_.clear();
  findings_.begin(file, {}, piece.bytes, narrow(piece.line), narrow(piece.column));
  findings_.set_parts(piece.parts);
  const auto broken = [&](const Error& error, std::size_t line, std::size_t column) {
    // A piece of several files is one line of our own making: there the place is that of the part.
    const bool of_ours = !piece.error && piece.is_of_several_files();
    const auto offset =
        of_ours ? narrow(syntax::offset_of(piece.bytes, {1, error.column})) : record::Findings::no_place;
    findings_.report(broken_finding(form_->syntax, piece.bytes), {}, offset, {error.message});
    for (auto& found : findings_.take()) {
      if (!of_ours) {
        found.line = narrow(line);
        found.column = narrow(column);
      }
      if (!error.file.empty()) found.file = error.file;
      if (!error.mend.empty()) found.mend = error.mend;
      placed_.push_back(std::move(found));
    }
    arena_.reset();  // half a tree, which nobody needs while the rejects are written
  };
  if (piece.begins_table) tell_missing_columns(piece);
  if (piece.error) {
    broken(*piece.error, piece.error->line, piece.error->column);
    return {};
  }
  const bool is_record = form_->is_record();
  auto tree = read_tree(piece);
  if (!tree) {
    const auto& error = tree.error();
    broken(error, piece.line + error.line - 1,
           error.line == 1 ? piece.column + error.column - 1 : error.column);
    return {};
  }
  tree_ = *tree;
  if (is_record) {
    records_.push_back(engine_->records().read(**tree, piece.bytes, arena_, findings_));
  } else {
    if (strict_) strict_->read(**tree, findings_);
    if (content_) content_->read(**tree, findings_);
    instances_->read(**tree, text_, arena_, findings_, records_, piece.is_of_several_files());
  }
  for (auto& one : records_) {
    one.file = piece.is_of_several_files() ? std::string_view(piece.parts.front().file) : file;
    one.line = narrow(piece.line);
    one.bytes = text_;
    begin_findings(one);
    checks_.check(one, findings_);
  }
  return records_;
}

void PieceReader::begin_findings(const record::Record& record) {
  findings_.begin(file_, record.name(), text_, narrow(piece_->line), narrow(piece_->column));
}

std::vector<record::Finding> PieceReader::take_findings() {
  auto found = std::move(placed_);
  placed_.clear();
  for (auto& one : findings_.take()) found.push_back(std::move(one));
  return found;
}

}  // namespace charpie::flow
