#include "rules/due_list.hpp"

#include <algorithm>
#include <array>
#include <map>

#include "base/arena.hpp"
#include "record/write.hpp"
#include "rules/visit.hpp"
#include "syntax/json.hpp"

namespace charpie::rules {

using record::FieldId;
using record::Record;
using record::Value;

namespace {

constexpr char between = '\x1f';  // no text of a record holds it: XML 1.0 has no such character

// What the arithmetic asks for; the rest of a record is not kept.
constexpr std::array kept_parts = {FieldId::format, FieldId::id,        FieldId::status,
                                   FieldId::source, FieldId::patient,   FieldId::wound,
                                   FieldId::order,  FieldId::performed, FieldId::plan};

std::optional<Time> changed_at(const Record& record) {
  auto time = Visit::time(record.at(FieldId::performed_start));
  return time ? time : Visit::time(record.at(FieldId::performed_end));
}

std::int64_t moment(const Time& time) {
  return time.has_clock() ? seconds_since_epoch(time) : days_since_epoch(time) * 86400;
}

void append_number(std::uint64_t value, std::string& out) {
  for (int shift = 56; shift >= 0; shift -= 8) out += static_cast<char>(value >> shift);
}

bool is_change(const Record& record, const RuleBook& book) {
  const auto is = [&](WordSet set, FieldId id) { return book.in(set, book.meaning(id, record.at(id))); };
  return is(WordSet::dressing_changes, FieldId::performed_kind) &&
         !is(WordSet::not_done, FieldId::performed_outcome);
}

}  // namespace

DueList::DueList(const RuleBook& book, std::size_t memory) : book_(&book), notes_(memory) {}

Outcome DueList::add(const Record& record) {
  if (record.root == nullptr) return std::monostate{};
  std::vector<Value*> children(record.root->count, nullptr);
  for (const auto id : kept_parts) {
    const auto slot = record::field(id).slot;
    children[slot] = record.root->children[slot];
  }
  Value root = *record.root;
  root.children = children.data();
  Record kept = record;
  kept.root = &root;
  body_.clear();
  record::write_record(kept, body_);

  key_.clear();
  // Sites number patients alike: without a system the source tells them apart.
  if (record.text(FieldId::patient_system).empty()) key_.append(record.text(FieldId::source_system));
  for (const auto id :
       {FieldId::patient_system, FieldId::patient_id, FieldId::wound_system, FieldId::wound_id}) {
    key_.append(record.text(id)).append(1, between);
  }
  append_number(order_++, key_);
  return notes_.add(key_, body_);
}

Result<std::vector<DueWound>> DueList::finish() {
  std::vector<DueWound> wounds;
  std::vector<std::string> versions;
  std::string wound;
  auto drained = notes_.drain([&](const SortedEntry& entry) {
    const auto key = entry.key.substr(0, entry.key.size() - 8);
    if (key != wound) {
      look(versions, wounds);
      versions.clear();
      wound = key;
    }
    versions.emplace_back(entry.body);
  });
  if (!drained) return drained.error();
  look(versions, wounds);
  std::stable_sort(wounds.begin(), wounds.end(), [](const DueWound& a, const DueWound& b) {
    const bool a_has = a.due.kind == Due::at, b_has = b.due.kind == Due::at;
    return a_has != b_has ? a_has : a_has && a.due.seconds < b.due.seconds;
  });
  return wounds;
}

// `versions`: all records of one wound, in the order in which they came.
void DueList::look(const std::vector<std::string>& versions, std::vector<DueWound>& wounds) const {
  Arena arena;
  record::Findings unused;
  std::map<std::string, Record> last_version;
  for (const auto& bytes : versions) {
    const auto node = syntax::read_json(bytes, arena, reader_.names());
    if (!node) continue;  // was written here: cannot be
    unused.begin({}, {}, bytes, 1);
    auto record = reader_.read(**node, bytes, arena, unused);
    auto key =
        std::string(record.text(FieldId::source_system)) + between + std::string(record.text(FieldId::id));
    last_version.insert_or_assign(std::move(key), record);
  }
  struct Change {
    std::int64_t moment;
    Record record;
  };
  std::vector<Change> changes;
  for (const auto& [key, record] : last_version) {
    const auto time = changed_at(record);
    if (book_->in(WordSet::in_error, book_->meaning(FieldId::status, record.at(FieldId::status)))) continue;
    if (time && is_change(record, *book_)) changes.push_back({moment(*time), record});
  }
  std::stable_sort(changes.begin(), changes.end(),
                   [](const Change& a, const Change& b) { return a.moment < b.moment; });

  std::optional<DueWound> last;
  std::string without_order;
  for (const auto& [at, record] : changes) {
    auto due = next_due(record, *book_);
    if (due.kind == Due::no_order) {
      without_order =
          std::string(changed_at(record)->text) + " (record " + std::string(record.text(FieldId::id)) + ")";
      continue;
    }
    // An early change does not move slots; a late one counts from itself when its slot has gone by.
    const auto before = last ? parse_time(last->due.text) : parse_time({});
    if (before && moment(before.time) > at) due = next_due(record, *book_, before.time);
    last.emplace();
    last->patient = record.text(FieldId::patient_id);
    last->wound = record.text(FieldId::wound_id);
    last->record_key = record.text(FieldId::id);
    last->changed = changed_at(record)->text;
    last->charted = record.text(FieldId::plan_nextDue);
    last->due = std::move(due);
    without_order.clear();
  }
  if (!last) return;
  if (!without_order.empty())
    last->due.notes.push_back("the change of " + without_order + " names no order and is not counted from");
  if (const auto charted = parse_time(last->charted))
    last->comparison = compare_due(last->due, charted.time, *book_);
  wounds.push_back(std::move(*last));
}

}  // namespace charpie::rules
