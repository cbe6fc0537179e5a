// A site's files as a draft looks at them (flow/draft.hpp): a few rows as they stand, and what the rows of a
// file may be: a visit each, a finding each, or an element of a list each.
#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"

namespace charpie::flow {

/// How sure a proposal is.
enum class Confidence : unsigned char { none, low, medium, high };
std::string_view confidence_name(Confidence confidence);

/// A file of the site, in its own bytes.
struct SampleFile {
  std::string name;  // without its folder
  std::string text;
};

/// Small letters and digits only: "Wound_Length (cm)" is woundlengthcm.
std::string plain(std::string_view text);

/// A name as messages show it: 'name'.
std::string in_quotes(std::string_view text);

/// The different cells of a column.
struct Cells {
  static constexpr std::size_t most = 40;  // a coded column has no more different ones
  std::vector<std::string> different;      // in the order they come; one more than `most` when there are more
  bool all_numbers = true, with_comma = false;
  void add(std::string_view cell);
  bool any() const { return !different.empty(); }
  bool too_many() const { return different.size() > most; }
};

/// The first rows of a CSV file.
struct SampleTable {
  static constexpr std::size_t most_rows = 1000;
  std::string file;
  char delimiter = ',';
  bool is_utf8 = true;  // else it was read as WINDOWS-1252, which takes any bytes
  std::vector<std::string> columns;
  std::vector<std::vector<std::string>> rows;

  static constexpr std::size_t no_column = static_cast<std::size_t>(-1);
  /// The cells of a column; with `finding` only those of rows where that column has `name`.
  Cells cells(std::size_t column, std::size_t finding = no_column, std::string_view name = {}) const;
  bool is_filled(std::size_t column) const;  // in each row
  std::size_t count_different(std::size_t column) const;
};

/// Error::invalid with line and column, and the file, for what is no CSV. The delimiter is the sign that
/// stands most often in the header.
Result<SampleTable> read_sample(const SampleFile& file);

/// What somebody who knows the site says a row is.
enum class Row : unsigned char { guess, visit, finding };

/// Which column of a file is what, when several rows are one visit. SampleTable::no_column where none is.
struct RowShape {
  std::size_t key = SampleTable::no_column;  // the rows of one visit have it in common
  std::size_t finding =
      SampleTable::no_column;  // names what the row is about; none: rows are elements of a list
  std::size_t answer = SampleTable::no_column;
  std::size_t unit = SampleTable::no_column;
  std::vector<std::size_t> common;  // the same in all rows of a visit, the key apart
  Confidence key_confidence = Confidence::none, finding_confidence = Confidence::none;
  std::string key_reason, finding_reason, answer_reason;
};

/// The shape of a file that stands alone; nothing when a row is a visit.
std::optional<RowShape> rows_of_visits(const SampleTable& table, Row row);
/// The columns of a file whose key is known.
RowShape rows_by_key(const SampleTable& table, std::size_t key, Row row = Row::guess);

/// How files belong together.
struct Join {
  std::size_t first = 0;          // the file that has one row a visit
  std::vector<std::size_t> keys;  // the column of each file that names the visit
  Confidence confidence = Confidence::none;
  std::string reason;
};
/// Error::invalid when no column of one file is found in all the others.
Result<Join> join(std::span<const SampleTable> tables);

/// A unit that a word of a chart means, as UCUM: "inches", "cm"; empty when it is none that is told apart so
/// simply. Capitals tell units apart (UCUM is case-sensitive): "ML" is no mL.
std::string_view unit_of_word(std::string_view word);
/// The same without regard to capitals, for a person to decide.
std::string_view nearest_unit(std::string_view word);
/// Whether a column or member holds units, by its heading or because all its cells are such words.
bool holds_units(std::string_view heading, const Cells& cells);

}  // namespace charpie::flow
