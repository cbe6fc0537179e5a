// From one piece of the input to records, whatever form it came in.
#pragma once
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "flow/engine.hpp"
#include "mapping/read.hpp"
#include "record/finding.hpp"
#include "record/record.hpp"
#include "rules/rules.hpp"
#include "syntax/json_stream.hpp"

namespace charpie::flow {

/// The forms that data comes in and goes out in.
enum class DataForm : std::uint8_t { record, fhir_r4 };
/// The form of that name on the command line ("record", "fhir-r4"); false when there is none.
bool find_form(std::string_view name, DataForm& form);
std::span<const std::string_view> form_names();

/// Reads pieces and checks the records in them by the rules. One for each thread.
class PieceReader {
 public:
  /// `engine`, and what `checks` views, must outlive this.
  PieceReader(const Engine& engine, DataForm form, const mapping::Options& options, const rules::CheckOptions& checks = {});

  /// The records of one piece: one of a record, one a visit of a Bundle, none of broken text. They live until the
  /// next call and are views into the piece's bytes. What is wrong is in findings() until then.
  std::span<record::Record> read(const syntax::JsonPiece& piece, std::string_view file);
  record::Findings& findings() { return findings_; }
  /// From here on findings belong to this record.
  void begin_findings(const record::Record& record);
  /// The findings since read(), those of broken text among them, in the order of their discovery.
  std::vector<record::Finding> take_findings();

 private:
  const Engine* engine_;
  DataForm form_;
  rules::RecordChecks checks_;
  std::unique_ptr<mapping::Reader> fhir_;
  Arena arena_;
  record::Findings findings_;
  std::vector<record::Finding> broken_;  // text that is no JSON: its place comes from the parser
  std::vector<record::Record> records_;
  const syntax::JsonPiece* piece_ = nullptr;
  std::string_view file_;
};

}  // namespace charpie::flow
