// Rules across the visits of one wound: visits are noted as records pass, put in order (on disk when they do
// not fit the memory allowed), and looked at wound by wound.
//
// A wound is told apart by patient and wound key, both with their namespaces. Records entered in error,
// planned visits that were not done, and versions that a later one amends are left out.
#pragma once
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "base/result.hpp"
#include "record/finding.hpp"
#include "record/record.hpp"
#include "rules/rules.hpp"

namespace charpie::rules {

struct HistoryOptions {
  std::size_t memory = std::size_t{256}
                       << 20;  // bytes for visits at most; what is beyond goes to temporary files
  bool derive = false;         // report measures of change too
};

/// Takes what the history needs from records. One for each thread.
class VisitNotes {
 public:
  explicit VisitNotes(const RuleBook& book);
  VisitNotes(VisitNotes&&) noexcept;
  ~VisitNotes();
  /// Appends the notes of one record (bytes for History::add; nothing when the record has no place in a
  /// history).
  void append(const record::Record& record, std::string& out);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// Collects notes and looks at them once all are there. For one thread at a time.
class History {
 public:
  /// `book` must outlive it.
  explicit History(const RuleBook& book, const HistoryOptions& options = {});
  ~History();

  /// Takes notes, in the order of the records. Error::unwritable when a temporary file cannot be written.
  Outcome add(std::string_view notes);

  /// Tells the findings of all wounds, wound by wound in the order of their keys: the same for any memory
  /// allowed. The history is empty afterwards. Error::unreadable when a temporary file cannot be read.
  Outcome finish(const std::function<void(std::vector<record::Finding>)>& tell);

  /// How often visits had to go to disk.
  std::size_t spills() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace charpie::rules
