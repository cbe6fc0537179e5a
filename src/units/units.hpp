// Unit codes by UCUM 2.2 (case-sensitive): checked, explained, compared, converted exactly.
//
// All is read from the tables in mappings/units/ once; afterwards a Units is immutable and safe for all
// threads.
#pragma once
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "units/convert.hpp"
#include "units/dimension.hpp"
#include "units/fault.hpp"
#include "units/table.hpp"
#include "units/unit.hpp"

namespace charpie::units {

class Slips;

/// A valid code that is seldom what was meant.
struct Warning {
  std::string message;
  std::string meant;  // the code that was probably meant, or empty
};

/// What `units check` tells of one code.
struct Check {
  bool valid = false;
  std::string canonical;  // empty when not valid
  std::string dimension;  // empty when not valid
  std::string message;    // why not valid, in words
  std::vector<std::string> suggestions;
  std::vector<Warning> warnings;
};

/// A code explained: one step an atom, in the order met, down to base units.
struct Explanation {
  struct Step {
    std::string symbol;
    std::string name;
    std::string kind;
    std::string definition;  // "12 [in_i]"; "base unit"; "arbitrary: compares with itself alone"
    std::string note;        // what to know about it, or empty
  };
  std::string reading;  // the code in words
  std::string canonical;
  std::string factor;  // to the canonical unit: "0.3048", "1/3", "1/180 × pi"; empty for a special unit
  std::string dimension;
  std::string kind;  // what it measures, as far as known
  std::vector<Step> steps;
};

class Units {
 public:
  /// Reads units/*.csv. Error::mapping_broken with file and line when a table is not understood.
  static Result<Units> load(const Tables& tables);

  /// Whether the code is a valid unit code. No memory taken.
  bool valid(std::string_view code) const;
  /// The same, with the reason.
  Fault validate(std::string_view code) const;

  /// The code reduced to base units; nothing when it is not valid or needs more than 128 bits. No memory
  /// taken.
  std::optional<Unit> reduce(std::string_view code) const;

  /// Whether the code is valid and of that dimension, without arbitrary units. No memory taken.
  bool measures(std::string_view code, const Dimension& dimension) const;
  /// The same for words of a dictionary: "L", "pressure", or alternatives "L|L2".
  bool measures(std::string_view code, std::string_view dimensions) const;

  /// Whether amounts of one can be told in the other; false when one is not valid. No memory taken.
  bool commensurable(std::string_view a, std::string_view b) const;

  /// `value` is decimal text; see Converter for errors and Rounding for what is exact.
  Result<Conversion> convert(std::string_view value, std::string_view from, std::string_view to,
                             const Rounding& rounding = {}) const;
  /// The same, worked out once for many values. Must not outlive this Units.
  Result<Converter> converter(std::string_view from, std::string_view to) const;

  /// The base units of a valid code in ASCII order with dots and signed exponents ("kg.m-1.s-2" has none of
  /// the scale: "g.m-1.s-2"), arbitrary units by symbol, "1" for a pure number; empty when not valid.
  std::string canonical(std::string_view code) const;
  /// "L2", "L-1.M.T-2", "1"; empty when not valid.
  std::string dimension(std::string_view code) const;
  /// What a valid code measures, in words ("pressure"); of a product, what the first unit of the same
  /// dimension measures; empty when not known.
  std::string kind(std::string_view code) const;
  /// The annotations of a valid code in order, with braces: "{score}". They carry no meaning in UCUM (6), so
  /// records compare them apart.
  std::string annotations(std::string_view code) const;

  /// What may have been meant by a text that is no valid code, best first; every suggestion is a valid code.
  std::vector<std::string> suggest(std::string_view code) const;
  /// What makes a valid code doubtful.
  std::vector<Warning> warnings(std::string_view code) const;
  Check check(std::string_view code) const;

  /// The meaning of a valid code, step by step; Error::invalid otherwise.
  Result<Explanation> explain(std::string_view code) const;

  const AtomTable& table() const { return *table_; }

 private:
  Units(std::shared_ptr<const AtomTable> table, std::shared_ptr<const Slips> slips);
  std::shared_ptr<const AtomTable> table_;
  std::shared_ptr<const Slips> slips_;
};

}  // namespace charpie::units
