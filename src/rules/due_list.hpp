// The wounds of many records by when their next change is due. Records come in any order; of a wound the
// changes are looked at in order of time, because an early change does not move slots that the change before
// it gave.
#pragma once
#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "base/external_sort.hpp"
#include "base/result.hpp"
#include "record/read.hpp"
#include "record/record.hpp"
#include "rules/due.hpp"
#include "rules/rules.hpp"

namespace charpie::rules {

/// The last charted change of one wound, and what follows from it. Holds the patient's key: show it only when
/// asked.
struct DueWound {
  std::string patient, wound;
  std::string record_key;  // of the change counted from
  std::string changed;     // when that was, as charted
  std::string charted;     // the next change as charted in that record, or empty
  Due due;
  DueComparison comparison;  // of `charted` with `due`
};

class DueList {
 public:
  /// `book` must outlive it. `memory`: bytes for what waits to be sorted; beyond that it goes to temporary
  /// files. One wound's visits are held at once, and the list that comes out.
  explicit DueList(const RuleBook& book, std::size_t memory = std::size_t{256} << 20);

  /// Notes one record; nothing is kept of it. Error::unwritable when a temporary file cannot be written.
  Outcome add(const record::Record& record);

  /// All wounds with an order that a change was charted under: first those with a due time, the earliest
  /// first. Of a record's versions (same source and key) the one that came last counts, and none when that is
  /// entered in error. The list is empty afterwards. Error::unreadable when a temporary file cannot be read.
  Result<std::vector<DueWound>> finish();

 private:
  void look(const std::vector<std::string>& versions, std::vector<DueWound>& wounds) const;

  const RuleBook* book_;
  record::RecordReader reader_;
  ExternalSort notes_;
  std::uint64_t order_ = 0;
  std::string key_, body_;
};

}  // namespace charpie::rules
