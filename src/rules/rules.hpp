// The rules: what a careful reviewer would notice on one record, as the site grades it. Which words, limits
// and times the rules mean stands in mappings/rules/; a site replaces rows.
#pragma once
#include <array>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/decimal.hpp"
#include "base/result.hpp"
#include "base/tables.hpp"
#include "base/time.hpp"
#include "record/finding.hpp"
#include "record/record.hpp"
#include "terms/terms.hpp"
#include "units/units.hpp"

namespace charpie::rules {

enum class Limit : std::uint16_t {
#define LIMIT(token, slug, setting, unit) token,
#include "rules/limits.def"
#undef LIMIT
  count
};

enum class WordSet : std::uint16_t {
#define WORD_SET(token, name, domain) token,
#include "rules/sets.def"
#undef WORD_SET
  count
};

/// On which days the slots of an order fall (mappings/rules/slots.csv) and at which times of those days.
struct Slot {
  bool by_weekday = false;
  std::vector<int> weekdays{};  // 1 = Monday … 7 = Sunday
  int step = 1;                 // days, or months
  bool step_in_months = false;
  std::vector<std::string> times{};  // "08:00", ascending; empty = the day is all that is ordered
};

/// Something that sizes are compared with in words, and its official diameter where there is one.
struct ComparedObject {
  std::string words, thing, diameter_mm, source;
};

/// The rules as a site has them. Made once, then safe to use from any thread. Keeps references to `terms` and
/// `units`, which must outlive it.
class RuleBook {
 public:
  /// Reads mappings/rules/*.csv and then, in their place, the rows of `site_rules` (text of a CSV file with
  /// the columns of rules.csv; `site_file` names it in messages). Error::mapping_broken with file, line and
  /// mend when a row is not understood; Error::usage for the site's own rows.
  static Result<RuleBook> load(const Tables& tables, const terms::Terms& terms, const units::Units& units,
                               std::string_view site_rules = {}, std::string_view site_file = "rules");

  /// One grade a finding kind, for Findings::set_grades.
  std::span<const record::Grade> grades() const { return grades_; }
  /// Grades findings that were made without set_grades, and drops those that are not to be reported.
  void grade(std::vector<record::Finding>& findings) const;

  /// A limit in the unit of limits.def, and as it stands in the table ("50 cm").
  const ExactDecimal& limit(Limit which) const { return limits_[static_cast<std::size_t>(which)].value; }
  std::string_view limit_value(Limit which) const { return limits_[static_cast<std::size_t>(which)].text; }
  std::string_view limit_unit(Limit which) const { return limits_[static_cast<std::size_t>(which)].unit; }
  /// A limit that is a whole number, e.g. of minutes.
  long long whole(Limit which) const { return limits_[static_cast<std::size_t>(which)].whole; }

  /// The domain that a coded field answers from; nullptr when the field is none.
  const terms::Domain* domain(record::FieldId id) const { return domains_[static_cast<std::size_t>(id)]; }
  /// The concept that a coded value of that field means, by word, standard code or retired code; nullptr for
  /// words only, unknown codes, and anything that is no code.
  const terms::Concept* meaning(record::FieldId id, const record::Value* value) const;
  /// Whether a concept is in a set (of the set's own domain); false for nullptr.
  bool in(WordSet set, const terms::Concept* meant) const {
    return meant != nullptr && places_[static_cast<std::size_t>(set)][meant->index] != 0;
  }
  /// 1, 2, 3 … by the order of the set's rows; 0 when it is not in it.
  int place(WordSet set, const terms::Concept* meant) const {
    return meant == nullptr ? 0 : places_[static_cast<std::size_t>(set)][meant->index];
  }

  /// The slot that a concept of the domain `slot` means, or nullptr.
  const Slot* slot(const terms::Concept* meant) const;
  /// The largest score of a pain scale; empty when the scale has none.
  std::string_view pain_most(const terms::Concept* scale) const;
  /// What a text compares a size with, or nullptr ("about the size of a dime").
  const ComparedObject* compared(std::string_view text) const;
  std::span<const ComparedObject> objects() const { return objects_; }
  /// Whether charts commonly use that unit where a field measures one of `dimensions` ("L|L2").
  bool usual(std::string_view dimensions, std::string_view unit) const;
  /// The standard question that a code is, if a field of the record answers it; nullptr otherwise. `display`
  /// of own questions is found too.
  std::string_view question(std::string_view system, std::string_view code) const;

  const terms::Terms& terms() const { return *terms_; }
  const units::Units& units() const { return *units_; }

 private:
  friend class RuleLoader;
  RuleBook() = default;
  struct LimitValue {
    ExactDecimal value;
    std::string text, unit;
    long long whole = 0;
  };
  const terms::Terms* terms_ = nullptr;
  const units::Units* units_ = nullptr;
  std::vector<record::Grade> grades_;
  std::array<LimitValue, static_cast<std::size_t>(Limit::count)> limits_;
  std::array<const terms::Domain*, static_cast<std::size_t>(record::FieldId::count)> domains_{};
  std::array<std::vector<int>, static_cast<std::size_t>(WordSet::count)> places_;
  std::vector<Slot> slots_;             // by concept index of the domain `slot`; step 0 when there is none
  std::vector<std::string> pain_most_;  // by concept index of the domain `pain-scale`
  std::vector<ComparedObject> objects_;
  std::vector<std::string> comparing_;
  std::vector<std::pair<std::string, std::string>> usual_;  // dimension, unit
  std::unordered_map<std::string, std::string> questions_;  // system|code -> display
};

/// What a run asks for beside the rules of the book.
struct CheckOptions {
  std::string_view as_of{};  // a time: what lies after it is in the future; empty = there is no clock
  bool derive = false;       // report derived measures too
};

/// Checks records, one after the other: one for each thread.
class RecordChecks {
 public:
  /// `book` must outlive it.
  explicit RecordChecks(const RuleBook& book, const CheckOptions& options = {});
  RecordChecks(RecordChecks&&) noexcept;
  ~RecordChecks();

  /// Reports what is to be noticed on one record. `findings` must have been told of the record and of the
  /// book's grades. Reports nothing that RecordReader already has.
  void check(const record::Record& record, record::Findings& findings);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace charpie::rules
