// What may have been meant: slips of the trade, look-alikes, the case-insensitive codes, near spellings; and
// warnings for codes that are valid but seldom meant. Read from units/slips.csv and units/warnings.csv.
#pragma once
#include <cstdint>
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
  /// Error::mapping_broken when a table is not understood, or suggests what is no valid code. `table` must
  /// outlive it.
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

  Outcome read_slips(const Tables& tables);
  Outcome read_warnings(const Tables& tables);
  bool is_valid(std::string_view code) const;

  std::string without_look_alikes(std::string_view text) const;
  const Codes* whole(std::string_view text) const;
  const Codes* part(std::string_view text) const;
  std::string case_insensitive(std::string_view text) const;
  std::string case_insensitive_symbol(std::string_view text) const;
  Codes rewritten(std::string_view text) const;
  Codes mended_component(std::string_view text) const;
  Codes mended_symbol(std::string_view text) const;
  Codes near(std::string_view text, std::size_t most) const;

  struct Caution {
    std::string message;
    std::string meant;
    bool part = false;  // also as a part of a longer code
  };
  const AtomTable& table_;
  std::unordered_map<std::string, Codes> whole_;  // a text that stands alone, small letters → codes
  std::unordered_map<std::string, Codes> parts_;  // one component, small letters → codes
  std::unordered_map<std::string, std::string> look_alikes_;  // a character beyond ASCII → plain text
  struct Spelling {
    std::string code;
    std::uint32_t characters;  // see character_set()
  };
  std::vector<Spelling>
      spellings_;  // what near spellings are drawn from: common codes, commonest first, then all atoms
  std::unordered_map<std::string, const Atom*> other_codes_;  // case-insensitive code (UCUM 3.4) → atom
  std::unordered_map<std::string, Caution> cautions_;
  std::unordered_map<std::string, std::string> notes_;
};

}  // namespace charpie::units
