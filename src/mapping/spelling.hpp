// How a site spells a value in a cell where it does not spell it as the record does: words of its own, a
// decimal comma, a unit that stands in the heading, local times. Each row serves both ways.
#pragma once
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/zone.hpp"
#include "record/finding.hpp"

namespace charpie::mapping {

/// One row of a site's table of words (NAME.csv: cell,means,direction).
struct SiteWord {
  std::string cell;     // as it stands at the site
  std::string means;    // the text of the field ("sacrum", "true"); empty for the two below
  std::string absent;   // "(absent not-performed)": the reason
  bool none = false;    // "(none)"
  bool read = true;     // direction `both` or `in`
  bool written = true;  // direction `both` or `out`
  std::uint32_t line = 0;
};

/// A site's words for the values of a field.
class SiteWords {
 public:
  /// Reads the table. Error::mapping_broken with file and line for a column that is missing, a cell that is
  /// read twice, a meaning that is written twice, an unknown direction. Whether a field can hold the meanings
  /// is asked where the table is used.
  static Result<SiteWords> load(std::string_view text, const std::string& file);
  /// The row that a cell is read by, or nullptr.
  const SiteWord* reading(std::string_view cell) const;
  /// The row that is written for a text, a reason of absence, or none; nullptr when there is none.
  const SiteWord* writing(std::string_view means) const;
  const SiteWord* writing_absent(std::string_view reason) const;
  const SiteWord* writing_none() const;
  const std::vector<SiteWord>& rows() const { return rows_; }
  /// "site-words.csv", for messages.
  const std::string& name() const { return name_; }
  /// Where the table stands: "sites/northmoor/side.csv".
  const std::string& file() const { return file_; }

 private:
  std::string name_, file_;
  std::vector<SiteWord> rows_;
  std::map<std::string, std::size_t, std::less<>> by_cell_, by_means_;
};

/// How a site writes times: patterns, and the zone of those without an offset.
///
/// A pattern is text with YYYY, MM or M, DD or D, hh or h, mm, ss, AP (AM or PM; hh then counts to 12), and
/// +hhmm or +hh:mm for an offset. Anything else stands for itself.
class TimeForm {
 public:
  /// Error::usage with a message for a pattern that is none, or has a time of day with neither offset nor
  /// zone.
  static Result<TimeForm> make(std::string name, std::vector<std::string> patterns, std::string zone);

  enum class Outcome : std::uint8_t { good, no_time, never, twice };
  /// The record's text of a cell, by the first pattern that fits it whole. Nothing is guessed: a local time
  /// that never was, or was twice, gives no text.
  Outcome read(std::string_view cell, std::string& text) const;
  /// The cell that read() would give this text for, and in `back` what it does give; false when there is
  /// none. For a time of offset "Z", one that gives "+00:00" will do.
  bool write(std::string_view text, std::string& cell, std::string& back) const;

  const std::string& name() const { return name_; }
  const std::string& zone_name() const { return zone_name_; }
  /// "DD.MM.YYYY hh:mm, DD.MM.YYYY", for messages.
  std::string patterns_text() const;

 private:
  enum class Piece : std::uint8_t { literal, year, month, day, hour, minute, second, half, offset };
  struct Token {
    Piece piece = Piece::literal;
    std::uint8_t digits = 0;  // 2: padded; 1: as many as needed
    bool colon = false;       // of an offset
    std::string text{};
  };
  struct Pattern {
    std::string text;
    std::vector<Token> tokens;
    bool has(Piece piece) const;
  };
  static std::optional<Pattern> parse(const std::string& text);
  Outcome read(const Pattern& pattern, std::string_view cell, std::string& text) const;
  bool write(const Pattern& pattern, std::string_view text, std::string& cell) const;
  std::string name_, zone_name_;
  std::optional<Zone> zone_;
  std::vector<Pattern> patterns_;
};

/// The number forms of cells, each a row: what stands for the decimal point.
struct NumberForm {
  std::string_view name;
  char mark;
};
/// The row of that name ("text", "decimal-comma"), or nullptr.
const NumberForm* find_number_form(std::string_view name);

/// A URI of an object identifier or UUID, and the root of an HL7 version 3 instance identifier:
/// `urn:oid:2.999.1` is `2.999.1`; `urn:uuid:` has small letters, the root capitals. Empty for a text that is
/// neither.
std::string uri_of_root(std::string_view root);
std::string root_of_uri(std::string_view uri);

/// All that a hole says of spelling. What is not set is as in the record.
struct Spelling {
  const SiteWords* words = nullptr;
  const NumberForm* number = nullptr;
  const TimeForm* time = nullptr;
  bool is_root = false;     // of an HL7 version 3 identifier
  std::string_view unit{};  // declared: the cell holds the number alone
  bool any() const {
    return words != nullptr || number != nullptr || time != nullptr || is_root || !unit.empty();
  }
};

}  // namespace charpie::mapping
