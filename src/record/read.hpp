// From a JSON tree to a record: driven by the dictionary, strict, and forgiving about what to do next. A
// field that is wrong is reported and left out; the other fields and records go on.
#pragma once
#include <array>
#include <cstdint>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "record/finding.hpp"
#include "record/leaf.hpp"
#include "record/record.hpp"
#include "syntax/tree.hpp"

namespace charpie::record {

/// Reads records. Made once, then safe to use from any thread.
class RecordReader {
 public:
  RecordReader();

  /// The member names that the trees given to read() must have been read with (syntax::read_json, which
  /// refuses a name twice in one object).
  const syntax::Names& names() const { return names_; }

  /// The record of one JSON value. `bytes` are those that the nodes' offsets count in; `findings` must have
  /// been told of the record's file and bytes (Findings::begin), its key is set here. The record's texts are
  /// views into the tree's bytes and `arena`. `root` is never null: after findings that block it holds what
  /// could be read. `file` and `line` of the record are the caller's to set.
  Record read(const syntax::Node& node, std::string_view bytes, Arena& arena, Findings& findings) const;

 private:
  friend class RecordWalk;
  static constexpr std::size_t field_count = static_cast<std::size_t>(FieldId::count);

  const Field* member_of(const Field& group, std::uint32_t name) const {
    const std::uint16_t id =
        name < row_length_ ? members_[row_of_[static_cast<std::size_t>(group.id)] + name] : 0;
    return id == 0 ? nullptr : &field(static_cast<FieldId>(id));
  }

  syntax::Names names_;
  // Which field a name means in a group: one row a group, one column a name number; 0 when it means none.
  std::vector<std::uint16_t> members_;
  std::array<std::size_t, field_count> row_of_{};
  std::array<std::uint64_t, field_count> required_{};  // one bit a member, by slot
  std::size_t row_length_ = 0;
  struct {
    std::uint32_t absent, code, text, also, system, display, value, unit, comparator, estimated, id;
  } name_{};
};

}  // namespace charpie::record
