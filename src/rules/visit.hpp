// One record in the hands of the rules: its values as concepts and as exact amounts, and the place of each
// finding.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "record/finding.hpp"
#include "record/record.hpp"
#include "rules/rules.hpp"

namespace charpie::rules {

/// What is known of a unit code, worked out when it is first met.
struct UnitFacts {
  bool valid = false;
  std::string dimension;                         // UCUM's letters: "L2"
  std::string kind;                              // "area"
  std::optional<units::Converter> to_reference;  // cm, cm2, cm3, h
  bool is_reference = false;
  std::vector<units::Warning> warnings;
};

/// Facts of the units met so far. One for each thread; forgets all when there are too many.
class UnitMemory {
 public:
  explicit UnitMemory(const RuleBook& book) : book_(&book) {}
  const UnitFacts& facts(std::string_view unit);

 private:
  static constexpr std::size_t most = 4096;
  const RuleBook* book_;
  std::unordered_map<std::string, UnitFacts> known_;
  std::string key_;
  // The unit asked for last: most of a chart is in one unit.
  std::string last_;
  const UnitFacts* last_facts_ = nullptr;
};

class Visit {
 public:
  Visit(const RuleBook& book, UnitMemory& memory, const CheckOptions& options)
      : book(book), options(options), memory_(memory) {}

  const RuleBook& book;
  const CheckOptions& options;

  void begin(const record::Record& record, record::Findings& findings);

  const record::Record& record() const { return *record_; }
  const record::Value* at(record::FieldId id) const { return record_->at(id); }
  /// The elements of a list, none when it is no list.
  std::span<record::Value* const> elements(record::FieldId id) const;

  const terms::Concept* meaning(record::FieldId id, const record::Value* value) const {
    return book.meaning(id, value);
  }
  const terms::Concept* meaning(record::FieldId id) const { return book.meaning(id, at(id)); }
  bool is(WordSet set, record::FieldId id) const { return book.in(set, meaning(id)); }
  bool is(WordSet set, record::FieldId id, const record::Value* value) const {
    return book.in(set, meaning(id, value));
  }

  const UnitFacts& unit(std::string_view code) { return memory_.facts(code); }
  /// The amount in cm, cm2, cm3 or h; nothing when there is no such quantity, its unit is not valid or of
  /// another dimension, it lies beyond exact reach, or a comparator says that it is a bound only.
  std::optional<ExactDecimal> amount(record::FieldId id, const record::Value* value);
  std::optional<ExactDecimal> amount(record::FieldId id) { return amount(id, at(id)); }
  /// The number of a count, percent or decimal leaf.
  static std::optional<ExactDecimal> number(const record::Value* value);

  /// The time of a leaf; nothing when there is none. performed.start and .end are read once.
  static std::optional<Time> time(const record::Value* value);
  const std::optional<Time>& start() const { return start_; }
  const std::optional<Time>& end() const { return end_; }
  /// Begin and end of the visit as far as charted: the end if that is all there is.
  const std::optional<Time>& first_time() const { return start_ ? start_ : end_; }
  bool done() const { return done_; }        // not "not-done"
  bool dressed() const { return dressed_; }  // a dressing change that was done

  /// The path of a field; `index` in its list, or in the list it is a member of.
  static std::string path(record::FieldId id, std::size_t index = npos);
  static constexpr std::size_t npos = static_cast<std::size_t>(-1);

  /// Reports one finding, unless something that blocks was already said of that field: what follows from it
  /// would only hide it.
  void report(record::FindingId id, std::string_view path, const record::Value* place,
              std::initializer_list<std::string_view> values);
  void report(record::FindingId id, record::FieldId field, std::initializer_list<std::string_view> values) {
    report(id, path(field), at(field), values);
  }

 private:
  UnitMemory& memory_;
  const record::Record* record_ = nullptr;
  record::Findings* findings_ = nullptr;
  std::optional<Time> start_, end_;
  bool done_ = true, dressed_ = true;
};

/// "3.0 cm" as charted.
std::string shown(const record::Quantity& quantity);
/// The display of a concept, or the charted words or code.
std::string shown(const terms::Concept* meant, const record::Value* value);

// The rules, by what they look at; each reports what it finds.
void check_codes_and_units(Visit& visit);
void check_times(Visit& visit);
void check_size(Visit& visit);
void check_wound(Visit& visit);
void check_closure(Visit& visit);
void check_care(Visit& visit);
void check_plan(Visit& visit);
void derive_measures(Visit& visit);

}  // namespace charpie::rules
