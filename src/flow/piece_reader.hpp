// From one piece of the input to records, whatever form it came in.
#pragma once
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "fhir/content.hpp"
#include "fhir/strict.hpp"
#include "flow/engine.hpp"
#include "mapping/read.hpp"
#include "record/finding.hpp"
#include "record/record.hpp"
#include "rules/rules.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

/// Reads pieces and checks the records in them by the rules. One for each thread.
class PieceReader {
 public:
  /// `engine`, loaded for `form`, and what `checks` views, must outlive this.
  PieceReader(const Engine& engine, const Form& form, const mapping::Options& options,
              const rules::CheckOptions& checks = {});

  /// The records of one piece: one of a record, one a visit of a Bundle, none of broken text. They live until
  /// the next call and are views into the piece's bytes. What is wrong is in findings() until then.
  std::span<record::Record> read(const syntax::JsonPiece& piece, std::string_view file);
  record::Findings& findings() { return findings_; }
  /// From here on the content of instances is checked, too (fhir/content.hpp).
  void review() {
    if (!form_->is_record()) content_.emplace(engine_->terms(), engine_->units());
  }
  /// From here on parts that no template understood are collected; what was collected by the last read().
  void keep_unread() {
    if (instances_ != nullptr) instances_->keep_unread(&unread_);
  }
  std::span<const mapping::Unread> unread() const { return unread_; }
  /// From here on it is collected where values are taken from.
  void trace() {
    if (instances_ != nullptr) instances_->trace(&taken_);
  }
  std::span<const mapping::Taken> taken() const { return taken_; }
  /// What the last read() read the records from; nullptr when it was broken. Its places count in text().
  const syntax::Node* tree() const { return tree_; }
  std::string_view text() const { return text_; }
  /// From here on findings belong to this record.
  void begin_findings(const record::Record& record);
  /// The findings since read(), those of broken text among them, in the order of their discovery.
  std::vector<record::Finding> take_findings();

 private:
  const Engine* engine_;
  const Form* form_;
  rules::RecordChecks checks_;
  Result<syntax::Node*> read_tree(const syntax::JsonPiece& piece);
  void tell_missing_columns(const syntax::JsonPiece& piece);
  std::string_view text_;  // of the piece, in UTF-8: what places count in
  std::optional<fhir::StrictReader> strict_;
  std::optional<fhir::ContentChecks> content_;
  std::unique_ptr<mapping::Reader> instances_;  // when the form is not our record
  Arena arena_;
  record::Findings findings_;
  std::vector<mapping::Unread> unread_;
  std::vector<mapping::Taken> taken_;
  const syntax::Node* tree_ = nullptr;
  std::vector<record::Finding> placed_;  // with a place that is no offset: broken text, headers
  std::vector<record::Record> records_;
  const syntax::JsonPiece* piece_ = nullptr;
  std::string_view file_;
};

}  // namespace charpie::flow
