// Which instances a record becomes, and what they are called: worked out before anything is written, because
// a panel names its members.
#pragma once
#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "base/uuid.hpp"
#include "mapping/condition.hpp"
#include "mapping/mapping.hpp"

namespace charpie::mapping {

/// One instance to be.
struct Planned {
  const Template* made_from = nullptr;
  record::Value* element = nullptr;  // of the template's loop; nullptr without one
  std::uint32_t index = 0;           // of the element in its list
  bool indexed = false;              // the element is one of a list (not the list's "none" or "absent")
  bool again = false;  // the same shared resource as an earlier one: referred to, not written twice
  std::array<char, uuid_text_length> uuid{};
  std::string_view uuid_text() const { return {uuid.data(), uuid.size()}; }
};

/// The plan of one record. Reused from record to record so that it stops allocating.
class Plan {
 public:
  explicit Plan(const Mapping& mapping) : mapping_(&mapping) {}
  /// Works it out. Ids are name-based UUIDs (RFC 4122 section 4.3) over the namespace and the source's keys.
  void make(const record::Record& record, const Options& options);
  const std::vector<Planned>& instances() const { return instances_; }
  /// The instance of a template without a loop, or the one at that place of a list; nullptr when not written.
  const Planned* find(std::uint32_t template_number) const;
  /// The instance of a template for an element of its loop, or nullptr.
  const Planned* find(std::uint32_t template_number, const record::Value* element) const;
  /// The instance of that UUID text, or nullptr.
  const Planned* find_uuid(std::string_view text) const;
  /// The system of identifiers that the source did not name itself.
  std::string_view identity_system() const { return identity_system_; }
  /// Appends the business identifier's value: record key, '#', template, '.', index.
  void append_key(const Planned& instance, std::string_view record_key, std::string& out) const;
  /// Its last piece: '.' and the index, of an element of a list.
  void append_index(const Planned& instance, std::string& out) const;
  record::Value* root() const { return root_; }
  std::string_view record_key() const { return record_key_; }

 private:
  void add(const Template& made_from, record::Value* element, std::uint32_t index, bool indexed,
           const Options& options);
  const Mapping* mapping_;
  std::vector<Planned> instances_;
  std::vector<std::uint32_t> first_;  // by template number: place + 1 of its first instance
  record::Value* root_ = nullptr;
  std::string_view identity_system_, record_key_;
  Uuid visit_space_, wound_space_, patient_space_, root_space_;
  std::string name_;
};

}  // namespace charpie::mapping
