// The instances of one input: recognised by their codes and put together to visits, before any field is read.
#pragma once
#include <deque>
#include <list>
#include <map>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/arena.hpp"
#include "mapping/mapping.hpp"
#include "mapping/plan.hpp"
#include "mapping/read.hpp"
#include "record/finding.hpp"

namespace charpie::mapping {

/// A copy to be compared when the record is complete. `node` is nullptr where the instance has nothing there.
struct Copy {
  const Part* part;
  syntax::Node* node;
  syntax::Node* parent;
  Scope scope;
  int alternative = -1;  // of a choice: which one the instance shows
  Copy* next = nullptr;
};

/// The copies of an instance, in the order in which they were met. They live in the arena of the reading.
struct Copies {
  Copy* first = nullptr;
  Copy* last = nullptr;
  void add(Copy& copy) {
    (last == nullptr ? first : last->next) = &copy;
    last = &copy;
  }
};

struct Visit;

struct Instance {
  Reader::Resource* resource = nullptr;
  const Template* made_from = nullptr;
  const Template* elsewhere = nullptr;  // how it is read in a visit that others wrote, where that differs
  std::string_view type;
  std::string_view system, record_key;  // of the visit it belongs to, by its own identifier
  std::uint32_t index = 0;
  bool indexed = false;
  bool keyed = false;  // carries our business identifier
  bool ours = false;   // carries a code of ours, or that identifier: copies are expected in it
  Visit* visit = nullptr;
  record::Value* element = nullptr;
  Copies copies;
  const Planned* planned = nullptr;
  bool is_of_visit() const { return made_from != nullptr && made_from->lifetime == Lifetime::visit; }
};

struct Visit {
  std::string_view system, record_key;
  Instance* panel = nullptr;  // the instance that stands for it
  bool ours = true;           // written by this program: its panel is there
  std::vector<Instance*> members;
  std::vector<Instance*> shared;
  std::vector<const Instance*> of_another_patient;  // what it refers to, and is not read into it
  std::string refs =
      "identifier";  // how the sender wrote references: what the alternatives with an option show
  record::Record record;
};

class Instances {
 public:
  /// All must outlive this.
  Instances(const Mapping& mapping, const Options& options, Arena& arena, record::Findings& findings,
            std::vector<Unread>* unread = nullptr);

  /// Recognises resources, those contained in them too, and puts them together to visits (decisions of
  /// design: by our identifiers; else by explicit links, or the same wound and the identical effective
  /// instant).
  void gather(std::vector<Reader::Resource>& resources);

  std::deque<Instance>& all() { return instances_; }
  std::list<Visit>& visits() { return visits_; }
  /// Whether the entries say how to load them.
  bool is_transaction() const { return transaction_; }
  /// The instance that a reference leads to, or nullptr. `from` is the instance that holds it.
  const Instance* resolve(std::string_view reference, const Instance* from) const;
  /// Whether a reference by identifier names this instance.
  bool is_identified(const syntax::Node& reference, const Instance& instance) const;
  /// Whether an instance refers to another, anywhere in it.
  bool refers_to(const Instance& from, const Instance& to) const;
  /// Tells a finding about a node of a resource, by its FHIRPath.
  void report(record::FindingId id, const Reader::Resource& resource, const syntax::Node* node,
              std::initializer_list<std::string_view> values, std::string_view record_key = {});
  /// Where a node stands: Bundle.entry[3].resource.component[0].
  static std::string path_of(const Reader::Resource& resource, const syntax::Node* node);

 private:
  void documents(std::vector<Reader::Resource>& resources);
  void recognise(Reader::Resource& resource);
  const Template* by_codings(const Template* (Mapping::*find)(std::string_view, std::string_view,
                                                              std::string_view) const,
                             std::string_view type, const syntax::Node& code, bool own_only,
                             bool& ours) const;
  void identify(Instance& instance);
  void visits_of_ours();
  void visits_of_others();
  void attach_shared();
  void join(Instance& instance, Visit& visit);
  template <class Visitor>
  void each_target(const syntax::Node& node, const Instance& from, const Visitor& visit) const;
  std::string identifier_text(const syntax::Node& identifier) const;
  std::string_view key_of(const syntax::Node* link, const Instance& from) const;
  std::string_view key_of_target(const Instance& target) const;
  std::string_view key_of_identifier(const syntax::Node& identifier) const;
  bool is_withdrawn(const Instance& instance) const;
  bool is_of_another_patient(const Instance& instance, const Visit& visit) const;
  bool name_two(const syntax::Node& a, const Instance& from_a, const syntax::Node& b,
                const Instance& from_b) const;
  const Instance* bearer_of(const syntax::Node& link, const Instance& from) const;
  void name_references(syntax::Node& node, const Instance& from);
  syntax::Node* name_of(const Instance& target) const;
  syntax::Node* add_member(syntax::Node& object, std::string_view name, syntax::Node content);

  class Grouping;
  const Mapping& mapping_;
  const Options& options_;
  Arena& arena_;
  record::Findings& findings_;
  std::vector<Unread>* unread_;
  std::deque<Reader::Resource> contained_;
  std::deque<Instance> instances_;
  std::list<Visit> visits_;  // instances point to them: they stay where they are when one goes
  std::unordered_map<std::string_view, const Instance*> by_url_;
  std::unordered_multimap<std::string, const Instance*>
      by_identifier_;  // "system|value" of what visits share
  bool transaction_ = false;
  std::uint32_t name_coding_ = 0, name_system_ = 0, name_code_ = 0, name_value_ = 0, name_identifier_ = 0,
                name_reference_ = 0;
};

}  // namespace charpie::mapping
