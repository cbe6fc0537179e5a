// Segments of a message nested by their groups, and laid flat again: which OBX belongs to which OBR is not in
// the message, but in the structure that the standard gives it.
//
//   {"MSH": {"3": …},
//    "patients": [{"PID": {…}, "PV1": {…},
//      "orders": [{"OBR": {…}, "NTE": [{…}],
//        "observations": [{"OBX": {…}, "NTE": [{…}]}]}]}]}
//
// A group, and a segment that may repeat, is a list however many there are; a segment that may not is an
// object.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "base/arena.hpp"
#include "base/result.hpp"
#include "syntax/er7.hpp"
#include "syntax/tree.hpp"

namespace charpie::syntax {

/// The list of segments without a place, in the group that was open.
inline constexpr std::string_view er7_others = "others";

/// The structures of messages, as a table holds them (mappings/sites/er7-groups.csv): a row for each place
/// where a segment may stand, in the order of the structure.
class Er7Structures {
 public:
  /// Reads the table. Error::invalid with line: a column missing, a word that is none of those below, a
  /// segment that stands in one group twice.
  ///   structure  ORU_R01
  ///   group      the names of the groups around it, "patients/orders"; empty for the message itself
  ///   segment    OBR
  ///   repeats    "many" or "one"
  ///   opens      "yes" when the segment begins a new group where it does not fit the open one
  static Result<Er7Structures> load(std::string_view table, std::string_view file_name);

  /// Nests the segments of a message (in place) by the rows of its structure: MSH-9.3, else MSH-9.1 and 9.2.
  /// False, and nothing changed, when there are none for it. A segment that fits no row where it stands goes,
  /// with its member "segment", to the list er7_others of the innermost group that is open: nothing is
  /// dropped.
  bool group(Node& message, Arena& arena, const Names& names) const;

 private:
  struct Place {
    std::string group, segment;
    bool many = false, opens = false;
  };
  struct Structure {
    std::string name;
    std::vector<Place> places;
  };
  friend class Er7Grouping;
  std::vector<Structure> structures_;
};

/// Lays a grouped message flat again (in place), members in the order in which they stand; a flat one stays
/// as it is. What was grouped comes back in its order, except that segments of one list follow each other,
/// with what was between them behind. Error::invalid when the tree is of another shape; it must not be used
/// then.
Outcome flatten_er7(Node& message, Arena& arena, const Names& names);

}  // namespace charpie::syntax
