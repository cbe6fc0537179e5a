#include "flow/piece_reader.hpp"

#include <array>

#include "syntax/json.hpp"

namespace charpie::flow {

namespace {

constexpr std::array<std::string_view, 2> names = {"record", "fhir-r4"};

std::uint32_t narrow(std::size_t number) { return static_cast<std::uint32_t>(number); }

}  // namespace

std::span<const std::string_view> form_names() { return names; }

bool find_form(std::string_view name, DataForm& form) {
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (names[i] != name) continue;
    form = static_cast<DataForm>(i);
    return true;
  }
  return false;
}

PieceReader::PieceReader(const Engine& engine, DataForm form, const mapping::Options& options,
                         const rules::CheckOptions& checks)
    : engine_(&engine), form_(form), checks_(engine.rules(), checks) {
  findings_.set_grades(engine.rules().grades());
  if (form == DataForm::fhir_r4) fhir_ = std::make_unique<mapping::Reader>(engine.fhir(), options);
}

std::span<record::Record> PieceReader::read(const syntax::JsonPiece& piece, std::string_view file) {
  piece_ = &piece;
  file_ = file;
  arena_.reset();
  records_.clear();
  findings_.clear();
  broken_.clear();
  findings_.begin(file, {}, piece.bytes, narrow(piece.line), narrow(piece.column));
  const auto broken = [&](const Error& error, std::size_t line, std::size_t column) {
    findings_.report(record::FindingId::json_syntax, {}, record::Findings::no_place, {error.message});
    broken_ = findings_.take();
    broken_.back().line = narrow(line);
    broken_.back().column = narrow(column);
    if (!error.mend.empty()) broken_.back().mend = error.mend;
  };
  if (piece.error) {
    broken(*piece.error, piece.error->line, piece.error->column);
    return {};
  }
  const bool is_record = form_ == DataForm::record;
  const auto& names = is_record ? engine_->records().names() : engine_->fhir().names();
  auto tree = syntax::read_json(piece.bytes, arena_, names);
  if (!tree) {
    const auto& error = tree.error();
    broken(error, piece.line + error.line - 1, error.line == 1 ? piece.column + error.column - 1 : error.column);
    return {};
  }
  if (is_record) {
    records_.push_back(engine_->records().read(**tree, piece.bytes, arena_, findings_));
  } else {
    fhir_->read(**tree, piece.bytes, arena_, findings_, records_);
  }
  for (auto& one : records_) {
    one.file = file;
    one.line = narrow(piece.line);
    one.bytes = piece.bytes;
    begin_findings(one);
    checks_.check(one, findings_);
  }
  return records_;
}

void PieceReader::begin_findings(const record::Record& record) {
  findings_.begin(file_, record.text(record::FieldId::id), piece_->bytes, narrow(piece_->line), narrow(piece_->column));
}

std::vector<record::Finding> PieceReader::take_findings() {
  auto found = std::move(broken_);
  broken_.clear();
  for (auto& one : findings_.take()) found.push_back(std::move(one));
  return found;
}

}  // namespace charpie::flow
