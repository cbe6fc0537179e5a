// Checks records from text for tests, with the rules as they stand in mappings/.
#pragma once
#include <fstream>
#include <set>
#include <sstream>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "base/tables.hpp"
#include "record/reading.hpp"
#include "rules/rules.hpp"
#include "syntax/json_stream.hpp"
#include "terms/terms.hpp"
#include "units/units.hpp"

namespace charpie::tests {

inline const Tables& tables() {
  static const Tables made(embedded_tables());
  return made;
}
inline const terms::Terms& terms() {
  static const terms::Terms made = terms::Terms::load(tables()).value();
  return made;
}
inline const units::Units& units() {
  static const units::Units made = units::Units::load(tables()).value();
  return made;
}
inline const rules::RuleBook& book() {
  static const rules::RuleBook made = rules::RuleBook::load(tables(), terms(), units()).value();
  return made;
}

inline std::string source_file(std::string_view path) {
  std::ifstream in(std::string(CHARPIE_SOURCE_DIR) + "/" + std::string(path), std::ios::binary);
  if (!in) throw std::runtime_error("cannot read " + std::string(path));
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

/// All records of a text (object, array, one a line), as their own bytes with the line they begin on.
inline std::vector<syntax::JsonPiece> pieces(std::string_view text) {
  syntax::TextSource source(text);
  syntax::JsonStream stream(source);
  std::vector<syntax::JsonPiece> found;
  for (syntax::JsonPiece piece; stream.next(piece);) found.push_back(piece);
  return found;
}

/// A record read and checked.
inline Reading checked(std::string_view text, const rules::RuleBook& with = book(),
                       const rules::CheckOptions& options = {}) {
  Reading reading{std::make_unique<const std::string>(text)};
  auto node = syntax::read_json(*reading.bytes, *reading.arena, reader().names());
  if (!node) {
    reading.broken = node.error().message;
    return reading;
  }
  reading.findings.set_grades(with.grades());
  reading.findings.begin("visit.json", {}, *reading.bytes, 1);
  reading.record = reader().read(**node, *reading.bytes, *reading.arena, reading.findings);
  rules::RecordChecks(with, options).check(reading.record, reading.findings);
  return reading;
}

}  // namespace charpie::tests
