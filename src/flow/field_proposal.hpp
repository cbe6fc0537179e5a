// Which field a column of a site's files, or a finding that its rows name, may be: by the name and by the
// cells. A proposal for a person, with its reason; nothing rests on it alone.
#pragma once
#include <map>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <utility>

#include "flow/sample.hpp"
#include "record/dictionary.hpp"
#include "terms/terms.hpp"

namespace charpie::flow {

/// What a name may stand for.
enum class Place : unsigned char {
  visit,   // a column of a row that is a visit, or that is the same in all its rows
  finding  // a row of its own: an element of a list, too
};

struct Proposal {
  const record::Field* field = nullptr;
  Confidence confidence = Confidence::none;
  std::string reason{};
};

class FieldProposals {
 public:
  /// `terms` must outlive it.
  explicit FieldProposals(const terms::Terms& terms);

  /// For a name without its unit, and the cells below it. Of a list of groups only a member that says which
  /// element it is. No field when nothing speaks for one.
  Proposal propose(std::string_view name, const Cells& cells, Place place) const;
  /// For a column of a file whose rows are elements of a list: a member of its groups.
  Proposal propose_member(const record::Field& list, std::string_view name, const Cells& cells) const;
  /// The list that something holds the elements of, by its name and by what the elements are made of: names
  /// and cells.
  Proposal propose_list(std::string_view name, std::span<const std::pair<std::string, Cells>> members) const;

 private:
  std::string_view domain_of(const Cells& cells, std::size_t& known) const;
  std::map<std::string, std::set<std::string_view>, std::less<>> domains_;  // that have a word, by plain()
};

/// The list around a field, or the list that it is; nullptr when there is none.
const record::Field* list_of(const record::Field& field);

/// The word of a domain that a cell may mean: `same` when it is that but for capitals and signs, else the
/// nearest; empty when none is near.
std::string nearest_word(const terms::Domain& domain, std::string_view cell, bool& same);

}  // namespace charpie::flow
