#include "flow/record_keys.hpp"

#include <algorithm>
#include <initializer_list>
#include <string>
#include <string_view>

#include "base/digest.hpp"

namespace charpie::flow {

using record::FieldId;
using record::FindingId;

namespace {

// Texts one after the other, each with its length, so that no two lists of texts are alike. Never 0.
std::uint64_t hash_of(std::initializer_list<std::string_view> texts) {
  Sha256 digest;
  for (const auto text : texts) {
    digest.update(std::to_string(text.size()));
    digest.update(":");
    digest.update(text);
  }
  const auto number = digest.first_64_bits();
  return number == 0 ? 1 : number;
}

// Doubled ten times this is 24 MiB.
constexpr std::size_t first_size = 1536;

}  // namespace

KeptKey key_of(const record::Record& record, std::string_view name_space, std::uint64_t place) {
  const auto system = record.text(FieldId::source_system);
  const auto status = record.text(FieldId::status);
  return {hash_of({system.empty() ? name_space : system, record.text(FieldId::id)}),
          hash_of({record.text(FieldId::patient_system), record.text(FieldId::patient_id),
                   record.text(FieldId::wound_system), record.text(FieldId::wound_id)}),
          place, status == "amended" || status == "corrected" || status == "entered-in-error"};
}

// Where the key stands, or would.
RecordKeys::Entry& RecordKeys::place_of(std::uint64_t key) {
  auto at = static_cast<std::size_t>(key % entries_.size());
  while (entries_[at].key != 0 && entries_[at].key != key) at = at + 1 == entries_.size() ? 0 : at + 1;
  return entries_[at];
}

void RecordKeys::grow() {
  const auto before = std::exchange(entries_, std::vector<Entry>(std::max(first_size, 2 * entries_.size())));
  for (const auto& one : before) {
    if (one.key != 0) place_of(one.key) = one;
  }
}

RecordKeys::Met RecordKeys::meet(std::uint64_t key, std::uint64_t wound) {
  if (count_ >= entries_.size() / 8 * 7 && count_ < most_) grow();
  if (entries_.empty()) return Met::not_kept;
  auto& entry = place_of(key);
  if (entry.key == key) return entry.wound == wound ? Met::again : Met::elsewhere;
  if (count_ >= most_) return Met::not_kept;
  entry = {key, wound};
  if (listing_) new_.insert(new_.end(), {key, wound});
  return ++count_ == most_ ? Met::last : Met::first;
}

bool RecordKeys::review(Batch& batch) {
  for (const auto& one : batch.keys) {
    switch (meet(one.key, one.wound)) {
      case Met::elsewhere:
        batch.told.push_back({one.place, FindingId::key_of_another_wound});
        break;
      case Met::last:
        batch.told.push_back({one.place, FindingId::keys_not_kept});
        break;
      case Met::again:
        batch.told.push_back({one.place, FindingId::record_twice, one.amends});
        break;
      case Met::first:
      case Met::not_kept:
        break;
    }
  }
  return !batch.told.empty();
}

void RecordKeys::restore(const std::vector<std::uint64_t>& listed) {
  const bool listing = std::exchange(listing_, false);
  for (std::size_t i = 0; i + 1 < listed.size(); i += 2) meet(listed[i], listed[i + 1]);
  listing_ = listing;
}

}  // namespace charpie::flow
