// What may have been meant: slips of the trade, look-alikes, the case-insensitive codes, near spellings; and warnings
// for codes that are valid but seldom meant. Read from units/slips.csv and units/warnings.csv.
#pragma once
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "base/result.hpp"
#include "base/tables.hpp"
#include "units/table.hpp"

namespace charpie::units {

struct Warning;

class Slips {
 public:
  /// Error::mapping_broken when a table is not understood, or suggests what is no valid code. `table` must outlive it.
  static Result<std::shared_ptr<const Slips>> load(const Tables& tables, const AtomTable& table);

  /// See Units::suggest.
  std::vector<std::string> suggest(std::string_view code) const;
  /// See Units::warnings.
  std::vector<Warning> warnings(std::string_view code) const;
  /// What to know about an atom of that symbol, or empty.
  std::string_view note(std::string_view symbol) const;

 private:
  explicit Slips(const AtomTable& table) : table_(table) {}
  using Codes = std::vector<std::string>;

  std::string without_look_alikes(std::string_view text) const;
  std::vector<std::string> rewritten(std::string_view text) const;
  std::vector<std::string> component(std::string_view text) const;
  std::string case_insensitive(std::string_view text) const;
  std::string case_insensitive_symbol(std::string_view text) const;
  std::vector<std::string> near(std::string_view text) const;
  bool is_valid(std::string_view code) const;

  struct Caution {
    std::string message;
    std::string meant;
  };
  const AtomTable& table_;
  std::unordered_map<std::string, Codes> whole_;      // a whole code, small letters → codes
  std::unordered_map<std::string, Codes> parts_;      // one component, small letters → codes
  std::vector<std::pair<std::string, std::string>> look_alikes_;  // UTF-8 → ASCII, longest first
  std::vector<std::string> common_;                   // codes that near spellings are drawn from, commonest first
  std::unordered_map<std::string, Caution> cautions_;
  std::unordered_map<std::string, std::string> notes_;
};

}  // namespace charpie::units
