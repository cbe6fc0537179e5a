// A layout in the making, whatever the syntax: what was proposed and told, the holes, the tables of words,
// and set.json around the template. What only a person knows is marked (flow/undecided.hpp).
#pragma once
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <string_view>

#include "flow/draft.hpp"
#include "flow/field_proposal.hpp"

namespace charpie::flow {

using DraftJson = nlohmann::ordered_json;

/// "DECIDE " before what is sure to less than `medium`, else nothing.
std::string decide_if_low(Confidence confidence);
/// Whether a name means itself in a template: no parameter, no hole, no directive.
bool can_stand_in_template(std::string_view name);
/// A unit that a name says itself, as UCUM; `rest` is the name without it. Empty when there is none.
std::string unit_in_name(std::string_view name, std::string& rest);

/// How sure the surest proposal for a field is, or for a list, by path.
using Surest = std::map<std::string_view, Confidence>;

class ProposedLayout {
 public:
  /// A draft is made twice: the first time only shows in `surest` which place of the sample speaks most for a
  /// field, so that the second time a place that comes before does not take it away. Both must outlive the
  /// layout.
  ProposedLayout(const terms::Terms& terms, Surest& surest)
      : terms_(terms), proposals_(terms), surest_(surest) {}
  const FieldProposals& proposals() const { return proposals_; }

  void tell(std::string name, std::string hole, std::string reason, Confidence confidence);
  void leave_out(std::string name, std::string reason) {
    tell(std::move(name), {}, std::move(reason), Confidence::none);
  }

  /// Whether the field may be proposed at `place`: each once, where most speaks for it, and of a list one
  /// member only; else that is told.
  bool take(const Proposal& proposed, const std::string& place);

  /// The hole of the visit's key, told.
  std::string key_hole(std::string place, Confidence confidence, std::string reason);
  /// The hole of a field, told. `way` is how the template names the field there, `name` what its table of
  /// words is called after, `unit` what is known of a quantity's unit, as UCUM.
  std::string hole(Proposal proposed, const std::string& place, std::string_view way, const std::string& name,
                   const Cells& cells, std::string_view unit);
  /// The same for a quantity whose unit has a place of its own, called `unit_name`, with these cells: places
  /// of one name have one table of units.
  struct WithUnit {
    std::string value, unit;
  };
  WithUnit hole_with_unit(Proposal proposed, const std::string& place, std::string_view way,
                          const std::string& name, const Cells& cells, const std::string& unit_name,
                          const Cells& units);
  /// A field of the visit below a name of the template, into `holes`, or told why not. `way` comes before the
  /// field's path: "each record.".
  void add_field(const Proposal& proposed, const std::string& place, const std::string& name,
                 const Cells& cells, std::string_view unit, std::string_view way, DraftJson& holes);

  /// set.json around the template, and all that is left to declare.
  static DraftJson beginning(std::string_view syntax);
  Draft finished(DraftJson set, DraftJson frames, DraftJson holes) &&;

 private:
  bool is_needed(const record::Field& field) const;
  std::string new_table(std::string_view column);
  std::string hole_of(Proposal& proposed, std::string_view way, const std::string& name, const Cells& cells);

  const terms::Terms& terms_;
  FieldProposals proposals_;
  Surest& surest_;
  Draft draft_;
  std::set<record::FieldId> said_;    // fields that have a hole
  std::set<std::string_view> taken_;  // fields that were proposed, and of lists the lists
  struct Units {
    std::string table;
    Cells cells;
  };
  std::map<std::string, Units> units_;  // by the name of the place that holds them
};

}  // namespace charpie::flow
