// Records on their way to another form: read, checked, written, or held back with the reason.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "flow/batch.hpp"
#include "flow/claim.hpp"
#include "flow/old_versions.hpp"
#include "flow/piece_reader.hpp"
#include "mapping/write.hpp"
#include "rules/history.hpp"
#include "rules/report.hpp"

namespace charpie::flow {

/// What the user chose for one run.
struct Conversion {
  const Form* from = &record_form();
  const Form* to = &fhir_r4_form();
  mapping::Options options{};
  bool pretty = false;        // spread over lines, for people
  bool write = true;          // false: only find out what would be found
  bool check_target = true;   // report what the target cannot hold
  bool keep_rejects = false;  // collect rejected records
  bool keep_unread = false;   // collect parts of instances that no template understood
  bool take_notes = false;    // take notes of all visits that could be read, for their wounds' history
  bool answer = false;        // collect an answer to each message of HL7 version 2
  std::string answer_time{};  // its MSH-7; empty: that of the message (flow/acknowledge.hpp)
  std::optional<rules::Selection> let{};  // these do not block
  rules::CheckOptions checks{};           // what it views outlives the run
  const OldVersions* replaces = nullptr;  // outlives the run
};

/// Whether any of the findings blocks that record. Findings without a record's key concern all of a piece.
bool blocks(std::span<const record::Finding> findings, std::string_view record_name);
/// Takes from the selected findings that they block.
void let_pass(std::span<record::Finding> findings, const std::optional<rules::Selection>& let);

/// Converts batches. Of a site's layout Batch::out holds a document a line, as JSON. `engine` and
/// `conversion` must outlive it.
class Converter final : public Worker {
 public:
  Converter(const Engine& engine, const Conversion& conversion);
  void work(Batch& batch) override;

 private:
  void work_on(const syntax::JsonPiece& piece, Batch& batch);
  /// Appends the record in its form; nothing, and the reason, when the form cannot hold it.
  Outcome write(const record::Record& record, Batch& batch);
  bool write_xml(const record::Record& record, Batch& batch);
  Outcome copy_to_xml(Batch& batch);
  bool passes(const record::Record& record, std::uint64_t place, const Batch& batch,
              std::vector<record::Finding>& found);
  bool find_old(const record::Record& record);
  void withdraw(Batch& batch);
  void place(std::size_t from, const mapping::WrittenInstance& written, Batch& batch) const;

  const Conversion* conversion_;
  PieceReader reader_;
  std::optional<mapping::Writer> writer_;  // unless records go out
  std::optional<Claimer> claimer_;         // when profiles are claimed
  std::string claimed_;
  std::optional<rules::VisitNotes> notes_;
  std::string_view answer_charset_;  // of messages whose MSH-18 names none, when they are answered
  std::string scratch_;
  const fhir::Elements* elements_ = nullptr;  // of the form that goes out
  std::optional<mapping::Writer> xml_writer_;
  const mapping::Mapping* site_ = nullptr;  // when a site's documents go out
  Arena arena_;
  std::vector<mapping::WrittenInstance> written_;

  // The old version of the record in hand, when there is one.
  syntax::JsonPiece old_piece_;
  PieceReader old_reader_;
  std::optional<mapping::Writer> old_writer_;
  record::Record* old_ = nullptr;
};

}  // namespace charpie::flow
